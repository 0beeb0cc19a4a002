"""Parse one row of a foreign sheet: its days, hours, people and words, or the reason why not."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, time
from functools import cached_property

from forecast.errors import Problem
from forecast.intake.cells.dates import DateRules, DaysRead, read_date
from forecast.intake.cells.durations import HoursPart, read_clock, read_duration
from forecast.intake.cells.people import People, read_helpers, read_people
from forecast.intake.columns import TIMES, SheetColumn, unit_of
from forecast.intake.sheet_cells import Cell, SheetRow, Unread, cell_text

_TOTAL = re.compile(r"^\W*(?:sub|grand |running )?\s*(?:totals?|sum|summe|gesamt)\b", re.IGNORECASE)
# What builders of several countries put into a column for done or rework.
_YES = frozenset(
    {"yes", "y", "x", "✓", "✔", "true", "done", "complete", "completed", "finished", "ja", "oui", "si"}
)
_NO = frozenset(
    {"", "no", "n", "false", "-", "–", "nein", "non", "open", "wip", "in progress", "not yet", "0"}
)
_ROUNDED_HOURS = 0.05  # 3 minutes: hours rounded to one decimal do not contradict start and end
_PERCENT = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*%")


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The columns of a sheet and the rules by which their cells are read.

    Attributes
    ----------
    columns : the columns, from left to right
    date_rules : the rules for dates
    blank_day_above : a row without a day belongs to the day of the row above
    minutes_after_point : `2.30` is 2 h 30 min
    percent_is_share : the percent column holds 0.5 for half
    """

    columns: tuple[SheetColumn, ...]
    date_rules: DateRules
    blank_day_above: bool = False
    minutes_after_point: bool = False
    percent_is_share: bool = False

    @cached_property
    def of_meaning(self) -> dict[str, list[SheetColumn]]:
        """The columns of each meaning, from left to right."""
        found: dict[str, list[SheetColumn]] = {}
        for column in self.columns:
            found.setdefault(column.meaning, []).append(column)
        return found

    def first(self, meaning: str) -> SheetColumn | None:
        """The first column of a meaning."""
        return next(iter(self.of_meaning.get(meaning, [])), None)

    @cached_property
    def hours_column(self) -> SheetColumn | None:
        """The column of durations."""
        return next((self.first(meaning) for meaning in TIMES if meaning in self.of_meaning), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedRow:
    """The content of one row, independent of all other rows.

    Attributes
    ----------
    row : the record
    days : first and last day
    start : time of day as HH:MM, or ""
    parts : one or more amounts of time, in clock hours or person-hours
    people, helpers : who was there, as written
    stage, task, type : labels, "" where blank
    texts, notes : words, in the order of the columns
    quantity, percent : None where unknown
    done, rework : None where no column has them
    left : cells that could not be used, as words for the note
    remarks : names of what is unusual about the row, for `doubts`
    """

    row: SheetRow
    days: DaysRead
    start: str
    parts: tuple[HoursPart, ...]
    people: People
    helpers: People
    stage: str
    task: str
    texts: tuple[str, ...]
    notes: tuple[str, ...]
    type: str
    quantity: float | None
    percent: float | None
    done: bool | None
    rework: bool | None
    left: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def words(self) -> str:
        """The text of the row, or its notes where it has none."""
        return "; ".join(self.texts) or "; ".join(self.notes)


def read_day(row: SheetRow, layout: Layout, *, known: date | None, above: date | None) -> DaysRead | Problem:
    """Read the day or days of one row.

    Parameters
    ----------
    row, layout : the row and how to read it
    known : the last day that could be read above, from which the year of a day without one is derived
    above : the day of the row directly above; None where that could not be read
    """
    column = layout.first("date")
    if column is None:
        return _problem(row, None, "cannot be taken: no column holds the days")
    cell = row.cell(column.position)
    read = read_date(cell, layout.date_rules, known)
    if isinstance(read, Unread) and any(_TOTAL.match(cell_text(c)) for c in row.cells):
        return _problem(row, None, "is a total and not a session")
    if not cell_text(cell) and layout.blank_day_above and above is not None:
        read = DaysRead(start=above, end=above)
    if isinstance(read, Unread):
        return _problem(row, column, read.reason)
    return _until(row, layout, read)


def read_row(row: SheetRow, layout: Layout, days: DaysRead) -> ParsedRow | Problem:
    """Read everything else in a row whose days have been read.

    Parameters
    ----------
    row, layout : the row and how to read it
    days : its days
    """
    cells = _RowCells(row=row, layout=layout)
    start, end = cells.clock("start"), cells.clock("end")
    parts = _parts(row, layout, start, end)
    if isinstance(parts, Problem):
        return parts
    too_long = _too_long(row, layout, days, parts)
    if too_long is not None:
        return too_long
    cells.note_unused_times(start, end, sum(p.hours for p in parts))
    return ParsedRow(
        row=row,
        days=days,
        start=f"{start.hour:02d}:{start.minute:02d}" if start else days.clock,
        parts=parts,
        people=cells.people("people", read_people),
        helpers=cells.people("helpers", read_helpers),
        stage=cells.text("stage"),
        task=cells.text("task"),
        texts=cells.texts("text"),
        notes=cells.texts("note"),
        type=cells.text("type"),
        quantity=cells.number("quantity"),
        percent=cells.number("percent"),
        done=cells.yes_or_no("done"),
        rework=cells.yes_or_no("rework"),
        # Last, because reading the cells above fills cells.left.
        left=(*cells.left, *_inexact_cells(row, layout, days, parts)),
        remarks=(*_remarks(days, parts), *(["left"] if cells.left else [])),
    )


def _problem(row: SheetRow, column: SheetColumn | None, reason: str) -> Problem:
    heading, cell = (column.heading, row.cell(column.position)) if column else ("", None)
    return Problem(row.file, row.line, heading, cell_text(cell), reason)


def _until(row: SheetRow, layout: Layout, days: DaysRead) -> DaysRead | Problem:
    """The days with the last day that a column of its own gives."""
    column = layout.first("until")
    cell = row.cell(column.position) if column else None
    if not cell_text(cell):
        return days
    last = read_date(cell, layout.date_rules, days.start)
    if isinstance(last, Unread):
        return _problem(row, column, last.reason)
    if last.end < days.start:
        return _problem(row, column, "lies before the first day of the row")
    return replace(
        days,
        end=last.end,
        unsure=days.unsure or last.unsure,
        how="range" if last.end > days.start else days.how,
        short_year=days.short_year or last.short_year,
    )


def minutes_between(start: time, end: time) -> int:
    """Minutes from one time of day to another, past midnight where the end is not after the start.

    Examples
    --------
    >>> minutes_between(time(20), time(22, 30)), minutes_between(time(22), time(1))
    (150, 180)
    """
    return ((end.hour - start.hour) * 60 + end.minute - start.minute) % (24 * 60) or 24 * 60


def _parts(
    row: SheetRow, layout: Layout, start: time | None, end: time | None
) -> tuple[HoursPart, ...] | Problem:
    column = layout.hours_column
    cell = row.cell(column.position) if column else None
    if not cell_text(cell) and start is not None and end is not None:
        return (HoursPart(hours=minutes_between(start, end) / 60, unit="hours"),)
    if column is None:
        return _problem(row, None, "cannot be taken: no column holds the hours, or a start and an end")
    read = read_duration(cell, unit_of(column.meaning), minutes_after_point=layout.minutes_after_point)
    return _problem(row, column, read.reason) if isinstance(read, Unread) else read


def _too_long(row: SheetRow, layout: Layout, days: DaysRead, parts: Sequence[HoursPart]) -> Problem | None:
    """More clock hours than the days have; person-hours are checked once the people are known."""
    hours = sum(p.hours for p in parts if p.unit != "person_hours")
    if hours <= 24 * days.count:
        return None
    rule = f"{hours:g} hours are too many for {'one day' if days.count == 1 else f'{days.count} days'}"
    reason = f"cannot be taken: {rule}: write the first and the last day (2026-05-01 to 2026-05-09)"
    return _problem(row, layout.hours_column, reason)


def _remarks(days: DaysRead, parts: Sequence[HoursPart]) -> Iterator[str]:
    if days.how != "day":
        yield days.how
    if days.unsure:
        yield "unsure day"
    if days.short_year:
        yield "short year"
    if any(p.about for p in parts):
        yield "about"
    if len(parts) > 1:
        yield "parts"


def _inexact_cells(
    row: SheetRow, layout: Layout, days: DaysRead, parts: Sequence[HoursPart]
) -> Iterator[str]:
    """Cells that say more than the columns of the log can hold, verbatim."""
    if days.unsure or days.how in ("two days", "months"):
        yield _cell_words(row, layout.first("date"))
    if any(p.about or p.what for p in parts):
        yield _cell_words(row, layout.hours_column)


def _cell_words(row: SheetRow, column: SheetColumn | None) -> str:
    return f"{column.heading}: {cell_text(row.cell(column.position))}" if column else ""


@dataclass(kw_only=True)
class _RowCells:
    """The optional cells of one row; cells that cannot be used are collected in `left`."""

    row: SheetRow
    layout: Layout
    left: list[str] = field(default_factory=list)

    def _cell(self, meaning: str) -> Cell:
        column = self.layout.first(meaning)
        return self.row.cell(column.position) if column else None

    def _leave(self, meaning: str) -> None:
        if cell_text(self._cell(meaning)):
            self.left.append(_cell_words(self.row, self.layout.first(meaning)))

    def text(self, meaning: str) -> str:
        return cell_text(self._cell(meaning))

    def texts(self, meaning: str) -> tuple[str, ...]:
        columns = self.layout.of_meaning.get(meaning, [])
        return tuple(filter(None, (cell_text(self.row.cell(c.position)) for c in columns)))

    def clock(self, meaning: str) -> time | None:
        return read_clock(self._cell(meaning)) if self.text(meaning) else None

    def people(self, meaning: str, read: Callable[[Cell], People | Unread]) -> People:
        found = read(self._cell(meaning)) if self.text(meaning) else People()
        if isinstance(found, Unread):
            self._leave(meaning)
            return People()
        return found

    def note_unused_times(self, start: time | None, end: time | None, hours: float) -> None:
        """Leave a start or end that cannot be read, and an end that contradicts the hours."""
        if start is None:
            self._leave("start")
        spanned = minutes_between(start, end) / 60 if start and end else None
        if spanned is None or abs(spanned - hours) > _ROUNDED_HOURS:
            self._leave("end")

    def number(self, meaning: str) -> float | None:
        text = self.text(meaning).replace(",", ".")
        percent = _PERCENT.fullmatch(text) if meaning == "percent" else None
        value = None
        if percent:
            value = float(percent[1])
        elif re.fullmatch(r"\d{1,9}(?:\.\d{1,6})?", text):
            value = float(text) * (100 if meaning == "percent" and self.layout.percent_is_share else 1)
        if value is None or (meaning == "percent" and value > 100):
            self._leave(meaning)
            return None
        return round(value, 4)

    def yes_or_no(self, meaning: str) -> bool | None:
        if self.layout.first(meaning) is None:
            return None
        word = self.text(meaning).casefold()
        if word not in _YES and word not in _NO:
            self._leave(meaning)
        return word in _YES
