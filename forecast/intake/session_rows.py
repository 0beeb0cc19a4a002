"""One row of log.csv as the intake makes it, and how two such rows are known to be the same."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Day

from forecast.files.logbook import split_people
from forecast.files.tables import CheckedTable

Content = tuple[object, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """A session for log.csv or, where `apart` names its kind, for not_building.csv.

    `hours` are clock hours; `builders` are ids, `helpers` counts people without a name.
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
    apart: str = ""

    @property
    def people(self) -> int:
        """How many were there."""
        return len(self.builders) + self.helpers

    @property
    def cells(self) -> dict[str, str]:
        """The row as texts by column of log.csv.

        Examples
        --------
        >>> row = SessionRow(date=Day(2026, 1, 2), until=Day(2026, 1, 2), hours=2.5, builders=("A",), helpers=1)
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
        """What makes two log rows the same."""
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


def contents_of(table: CheckedTable, first_builder: str) -> list[Content]:
    """The content of every row of a log table that can be read.

    Rows with bad cells are skipped: `benchdays check` names them, and no row taken in can equal them.
    """
    bad = {p.line for p in table.problems}
    found: list[Content] = []
    for row, line in zip(table.frame.to_dict("records"), table.line.tolist(), strict=True):
        people = split_people(row["builders"], first_builder)
        if line in bad or people is None:
            continue
        said = SessionRow(
            date=row["date"].date(),
            until=(row["date"] if row["until"] != row["until"] else row["until"]).date(),
            hours=row["hours"],
            builders=people[0],
            helpers=people[1],
            start=row["start"].zfill(5) if row["start"] else "",
            task=row["task"],
            stage=row["stage"],
            type=row["type"],
            quantity=_known(row["quantity"]),
            percent=_known(row["percent"]),
            done=row["done"],
            rework=row["rework"],
            note=row["note"],
        )
        found.append(said.content)
    return found


def _known(value: float) -> float | None:
    return None if value != value else value
