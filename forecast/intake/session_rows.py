"""One row of log.csv, as a take makes it and as the folder has it, and when two of them are the same."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from datetime import date as Day
from typing import Any

import pandas as pd

from forecast.files.logbook import split_people
from forecast.files.tables import CheckedTable

Content = tuple[object, ...]
_FROM_RECORD = (
    "hours", "start", "task", "stage", "type", "quantity", "percent", "done", "rework", "note",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """A session for log.csv or not_building.csv.

    Attributes
    ----------
    date, until : first and last day
    hours : clock hours
    builders, helpers : ids of the builders, and the number of unnamed helpers
    set_aside : the kind of work for which the row goes to not_building.csv; "" for work on the build
    the others : as the columns of log.csv
    """

    date: Day
    until: Day
    hours: float
    builders: tuple[str, ...]
    helpers: int = 0
    start: str = ""
    task: str = ""
    stage: str = ""
    type: str = ""
    quantity: float | None = None
    percent: float | None = None
    done: bool = False
    rework: bool = False
    note: str = ""
    set_aside: str = ""

    @property
    def people(self) -> int:
        """Number of builders and helpers."""
        return len(self.builders) + self.helpers

    @property
    def cells(self) -> dict[str, str]:
        """The row as texts by column of log.csv.

        Examples
        --------
        >>> day = Day(2026, 1, 2)
        >>> row = SessionRow(date=day, until=day, hours=2.5, builders=("A",), helpers=1)
        >>> {column: text for column, text in row.cells.items() if text}
        {'date': '2026-01-02', 'hours': '2.5', 'builders': 'A+1'}
        """
        return {
            "date": self.date.isoformat(),
            "until": "" if self.until == self.date else self.until.isoformat(),
            "start": self.start,
            "hours": number_text(self.hours),
            "builders": "+".join([*self.builders, *([str(self.helpers)] if self.helpers else [])]),
            "task": self.task,
            "stage": self.stage,
            "type": self.type,
            "quantity": "" if self.quantity is None else number_text(self.quantity),
            "percent": "" if self.percent is None else number_text(self.percent),
            "done": "yes" if self.done else "",
            "rework": "yes" if self.rework else "",
            "note": self.note,
        }

    @property
    def content(self) -> Content:
        """What two equal rows share, rounded so that writing and reading a row does not change it."""
        return (
            self.date,
            self.until,
            self.start,
            round(self.hours, 3),
            (self.builders, self.helpers),
            self.task,
            self.stage or "other",
            self.type or "general",
            None if self.quantity is None else round(self.quantity, 4),
            None if self.percent is None else round(self.percent, 4),
            self.done,
            self.rework,
            " ".join(self.note.split()),
        )


def number_text(value: float) -> str:
    """A number with at most four decimals, without trailing zeros.

    Examples
    --------
    >>> number_text(2.0), number_text(1 / 3)
    ('2', '0.3333')
    """
    return f"{value:.4f}".rstrip("0").rstrip(".")


def session_row(record: Mapping[Hashable, Any], builders: tuple[str, ...], helpers: int) -> SessionRow:
    """The row of one record of a log table or of the sessions frame.

    Parameters
    ----------
    record : cells by column; NaN and NaT where blank
    builders, helpers : who was there
    """
    known: dict[str, Any] = {c: None if pd.isna(record[c]) else record[c] for c in _FROM_RECORD}
    first, last = record["date"], record["date"] if pd.isna(record["until"]) else record["until"]
    return SessionRow(date=first.date(), until=last.date(), builders=builders, helpers=helpers, **known)


def contents_of(table: CheckedTable, first_builder: str) -> list[Content]:
    """The content of every readable row of a log table.

    Rows with bad cells are left out: `benchdays check` reports them, and no row of a take can equal them.

    Parameters
    ----------
    table : the log table
    first_builder : id that a row without names means
    """
    bad = {p.line for p in table.problems}
    contents: list[Content] = []
    for record, line in zip(table.frame.to_dict("records"), table.line.tolist(), strict=True):
        people = split_people(record["builders"], first_builder)
        if line not in bad and people is not None:
            row = session_row(record, *people)
            contents.append(replace(row, start=row.start.zfill(5) if row.start else "").content)
    return contents
