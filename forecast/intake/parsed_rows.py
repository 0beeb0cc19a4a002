"""One row of a foreign sheet as read: its day, hours, people and words, or the one reason why not."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from functools import cached_property

from forecast.errors import Problem
from forecast.intake.cells.dates import DateRules, DaysRead, read_date
from forecast.intake.cells.durations import HoursPart, read_clock, read_duration
from forecast.intake.cells.people import People, read_helpers, read_people
from forecast.intake.columns import SheetColumn, unit_of
from forecast.intake.sheet_cells import Cell, SheetRow, Unread, cell_text

_TOTAL = re.compile(r"^\W*(?:sub|grand |running )?\s*(?:totals?|sum|summe|gesamt)\b", re.IGNORECASE)
_YES = frozenset(
    {"yes", "y", "x", "✓", "✔", "true", "done", "complete", "completed", "finished", "ja", "oui", "si"}
)
_NO = frozenset(
    {"", "no", "n", "false", "-", "–", "nein", "non", "open", "wip", "in progress", "not yet", "0"}
)
_PERCENT = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*%")


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where each meaning stands, and by which rules the cells are read.

    Attributes
    ----------
    columns : the columns of the sheet
    rules : of dates
    blank_day_above : a row without a day belongs to the day of the row above
    point_before_minutes : `2.30` is 2 h 30 min
    percent_is_share : the percent column holds 0.5 for half
    headings : of the sheet, to know them when they come again
    """

    columns: tuple[SheetColumn, ...]
    rules: DateRules
    blank_day_above: bool = False
    point_before_minutes: bool = False
    percent_is_share: bool = False

    @cached_property
    def of_meaning(self) -> dict[str, list[SheetColumn]]:
        """The columns of each meaning, from left to right."""
        found: dict[str, list[SheetColumn]] = {}
        for column in self.columns:
            found.setdefault(column.meaning, []).append(column)
        return found

    @cached_property
    def hours_column(self) -> SheetColumn | None:
        """The column that says how long."""
        of = self.of_meaning
        there = [m for m in ("hours", "minutes", "person_hours", "duration") if m in of]
        return of[there[0]][0] if there else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedRow:
    """What one row says, nothing joined with other rows yet.

    Attributes
    ----------
    row : where it stands
    day : the day or days
    parts : one amount of time or several, clock hours or person-hours as each says
    people, helpers : who was there, as written
    stage, task, texts, type : words, in the order of the columns
    quantity, percent : None where unknown
    done, rework : None where no column says
    left : cells that could not be used, as words for the note
    remarks : what was odd about the row, by name
    """

    row: SheetRow
    day: DaysRead
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
        """The text of the row, or its notes where there is none."""
        return "; ".join(self.texts) or "; ".join(self.notes)


def read_day(row: SheetRow, layout: Layout, *, known: date | None, above: date | None) -> DaysRead | Problem:
    """The day or days of one row.

    Parameters
    ----------
    known : the last day that was read above, to which a day without a year is nearest
    above : the day of the row right above, or None where that could not be read
    """
    columns = layout.of_meaning.get("date", [])
    if not columns:
        return _problem(row, None, "cannot be taken: no column holds the days")
    cell = _at(row, columns[0])
    read = read_date(cell, layout.rules, known)
    if isinstance(read, Unread) and any(_TOTAL.match(cell_text(c)) for c in row.cells):
        return _problem(row, None, "is a total and not a session")
    if not cell_text(cell) and layout.blank_day_above and above is not None:
        read = DaysRead(start=above, end=above)
    if isinstance(read, Unread):
        return _problem(row, columns[0], read.reason, cell)
    return _until(row, layout, read)


def read_row(row: SheetRow, layout: Layout, day: DaysRead) -> ParsedRow | Problem:
    """Everything else in a row whose day has been read."""
    of = layout.of_meaning
    cells = {meaning: _at(row, columns[0]) for meaning, columns in of.items()}
    start = _clock(cells.get("start"))
    parts = _parts(row, layout, cells, start)
    if isinstance(parts, Problem):
        return parts
    too_long = _too_long(row, layout, day, parts)
    if too_long is not None:
        return too_long
    optional = _Optional(row=row, of=of, percent_is_share=layout.percent_is_share)
    optional.times(start, _clock(cells.get("end")), parts)
    clock = f"{start.hour:02d}:{start.minute:02d}" if start else day.clock
    remarks = _remarks(day, parts)
    return ParsedRow(
        row=row,
        day=day,
        start=clock,
        parts=parts,
        people=optional.people("people", read_people),
        helpers=optional.people("helpers", read_helpers),
        stage=cell_text(cells.get("stage")),
        task=cell_text(cells.get("task")),
        texts=_texts(row, of.get("text", [])),
        notes=_texts(row, of.get("note", [])),
        type=cell_text(cells.get("type")),
        quantity=optional.number("quantity"),
        percent=optional.number("percent"),
        done=optional.yes_or_no("done"),
        rework=optional.yes_or_no("rework"),
        left=tuple(optional.left) + _kept_words(day, parts, cells, of),
        remarks=(*remarks, *(["left"] if optional.left else [])),
    )


def _at(row: SheetRow, column: SheetColumn) -> Cell:
    return row.cells[column.position] if column.position < len(row.cells) else None


def _texts(row: SheetRow, columns: Sequence[SheetColumn]) -> tuple[str, ...]:
    return tuple(filter(None, (cell_text(_at(row, c)) for c in columns)))


def _problem(row: SheetRow, column: SheetColumn | None, reason: str, cell: Cell = None) -> Problem:
    return Problem(row.file, row.line, column.heading if column else "", cell_text(cell), reason)


def _until(row: SheetRow, layout: Layout, day: DaysRead) -> DaysRead | Problem:
    column = next(iter(layout.of_meaning.get("until", [])), None)
    cell = _at(row, column) if column else None
    if column is None or not cell_text(cell):
        return day
    last = read_date(cell, layout.rules, day.start)
    if isinstance(last, Unread):
        return _problem(row, column, last.reason, cell)
    if last.end < day.start:
        return _problem(row, column, "lies before the first day of the row", cell)
    how = "range" if last.end > day.start else day.how
    return DaysRead(
        start=day.start, end=last.end, clock=day.clock, unsure=day.unsure or last.unsure, how=how,
        short_year=day.short_year or last.short_year,
    )  # fmt: skip


def _clock(cell: Cell) -> time | None:
    return read_clock(cell) if cell_text(cell) else None


def minutes_between(start: time, end: time) -> int:
    """Minutes from one time of day to the next, over midnight where the end is not after the start.

    Examples
    --------
    >>> minutes_between(time(20), time(22, 30)), minutes_between(time(22), time(1))
    (150, 180)
    """
    return ((end.hour - start.hour) * 60 + end.minute - start.minute) % (24 * 60) or 24 * 60


def _parts(
    row: SheetRow, layout: Layout, cells: Mapping[str, Cell], start: time | None
) -> tuple[HoursPart, ...] | Problem:
    column = layout.hours_column
    end = _clock(cells.get("end"))
    cell = _at(row, column) if column else None
    if not cell_text(cell) and start is not None and end is not None:
        return (HoursPart(hours=minutes_between(start, end) / 60, unit="hours"),)
    if column is None:
        return _problem(row, None, "cannot be taken: no column holds the hours, or a start and an end")
    read = read_duration(cell, unit_of(column.meaning), point_before_minutes=layout.point_before_minutes)
    return _problem(row, column, read.reason, cell) if isinstance(read, Unread) else read


def _too_long(row: SheetRow, layout: Layout, day: DaysRead, parts: Sequence[HoursPart]) -> Problem | None:
    """More clock hours than the days hold; person-hours are judged when the people are known."""
    days = (day.end - day.start).days + 1
    hours = sum(p.hours for p in parts if p.unit != "person_hours")
    if hours <= 24 * days:
        return None
    column = layout.hours_column
    said = f"{hours:g} hours are too many for {'one day' if days == 1 else f'{days} days'}"
    reason = f"cannot be taken: {said}: write the first and the last day (2026-05-01 to 2026-05-09)"
    return _problem(row, column, reason, _at(row, column) if column else None)


def _remarks(day: DaysRead, parts: Sequence[HoursPart]) -> list[str]:
    found: list[str] = [day.how] if day.how != "day" else []
    found += ["unsure day"] if day.unsure else []
    found += ["short year"] if day.short_year else []
    found += ["about"] if any(p.about for p in parts) else []
    found += ["parts"] if len(parts) > 1 else []
    return found


def _kept_words(
    day: DaysRead,
    parts: Sequence[HoursPart],
    cells: Mapping[str, Cell],
    of: Mapping[str, Sequence[SheetColumn]],
) -> tuple[str, ...]:
    """The cells that say more than the log's columns can hold, word for word."""
    kept = []
    if day.unsure or day.how in ("two days", "months"):
        kept.append(f"{of['date'][0].heading}: {cell_text(cells['date'])}")
    if any(p.about or p.what for p in parts):
        column = next(of[m][0] for m in ("hours", "minutes", "person_hours", "duration") if m in of)
        kept.append(f"{column.heading}: {cell_text(cells[column.meaning])}")
    return tuple(kept)


@dataclass(kw_only=True)
class _Optional:
    """The cells that a row can do without: what cannot be used is kept as words."""

    row: SheetRow
    of: Mapping[str, Sequence[SheetColumn]]
    percent_is_share: bool

    def __post_init__(self) -> None:
        self.left: list[str] = []

    def _cell(self, meaning: str) -> tuple[SheetColumn | None, Cell]:
        column = next(iter(self.of.get(meaning, [])), None)
        return column, _at(self.row, column) if column else None

    def _leave(self, column: SheetColumn | None, cell: Cell) -> None:
        if column is not None and cell_text(cell):
            self.left.append(f"{column.heading}: {cell_text(cell)}")

    def people(self, meaning: str, read: Callable[[Cell], People | Unread]) -> People:
        column, cell = self._cell(meaning)
        found = read(cell) if cell_text(cell) else People()
        if isinstance(found, Unread):
            self._leave(column, cell)
            return People()
        return found

    def times(self, start: time | None, end: time | None, parts: Sequence[HoursPart]) -> None:
        """Keep a start or end that cannot be read, and an end that is not where the hours lead."""
        hours = sum(p.hours for p in parts)
        for meaning, clock in (("start", start), ("end", end)):
            column, cell = self._cell(meaning)
            led = minutes_between(start, end) / 60 if meaning == "end" and start and end else None
            astray = meaning == "end" and (led is None or abs(led - hours) > 0.05)
            if clock is None or astray:
                self._leave(column, cell)

    def number(self, meaning: str) -> float | None:
        column, cell = self._cell(meaning)
        text = cell_text(cell).replace(",", ".")
        percent = _PERCENT.fullmatch(text)
        if meaning == "percent" and percent:
            value = float(percent[1])
        elif re.fullmatch(r"\d{1,9}(?:\.\d{1,6})?", text):
            value = float(text) * (100 if meaning == "percent" and self.percent_is_share else 1)
        else:
            self._leave(column, cell)
            return None
        if meaning == "percent" and value > 100:
            self._leave(column, cell)
            return None
        return round(value, 4)

    def yes_or_no(self, meaning: str) -> bool | None:
        column, cell = self._cell(meaning)
        if column is None:
            return None
        word = cell_text(cell).casefold()
        if word in _YES:
            return True
        if word not in _NO:
            self._leave(column, cell)
        return False
