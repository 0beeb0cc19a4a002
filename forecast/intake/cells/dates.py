"""Dates as people write them, read by one rule for the whole file.

ISO dates need no rule. Whether `3/4/2023` is in March or in April cannot be told from the cell: one order
counts for the whole file, shown by a number above 12 somewhere or given by the builder, never chosen row by
row. A missing or impossible year is asked about, not guessed.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from forecast.intake.cells.date_forms import DATE_FORM, Order, WrittenDate, plain_words, written_date
from forecast.intake.sheet_cells import Cell, Unread, cell_text

EARLIEST, LATEST = date(1950, 1, 1), date(2199, 12, 31)  # the bounds of schemas/log.json
MISSING = "is missing: the row gives no day"
NO_YEAR = "has no year"
NO_ORDER = "could be two different days: say whether the day or the month comes first in this file"
MIXED_ORDER = "is in a file that writes some dates day first and some month first: say which of them counts"
IMPOSSIBLE_YEAR = "lies in the year"
FUTURE = "lies in the future"
NO_SUCH_DAY = "is a day that does not exist"
_NO_DATE = "is not a date in a known form"
# Day 1 of a spreadsheet is 1900-01-01, and its calendar has a 29 February 1900: counting from here is right
# from March 1900.
_SPREADSHEET_DAY_ZERO = date(1899, 12, 30)
_UNSURE = re.compile(r"\s*(?:\(\?\)|\?+|\((?:approx|about|guess)\.?\))\s*$")
_ABOUT = re.compile(r"^(?:~|about|around|approx\.?|ca\.?|circa)\s*")
_CLOCK = re.compile(r"[t ,]\s*(?:at\s+)?(\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?\s*(am|pm)?\s*(?:z|utc)?$")
_THROUGH = re.compile(r"\s*(?:through|thru|to|until|till|bis|-|–|—|\.\.\.?|/)\s*")
_AND = re.compile(r"\s*(?:and|und|et|y|&|,|;|\+)\s*|\s+")
How = Literal["day", "range", "two days", "months"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysRead:
    """The day or days of one cell.

    Attributes
    ----------
    start, end : first and last day, equal for a single day
    clock : time of day as HH:MM, or ""
    unsure : marked as uncertain in the cell
    how : what the cell is
    short_year : the year has two digits
    """

    start: date
    end: date
    clock: str = ""
    unsure: bool = False
    how: How = "day"
    short_year: bool = False

    @property
    def count(self) -> int:
        """Number of days."""
        return (self.end - self.start).days + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class DateRules:
    """The rules for the dates of one file.

    Attributes
    ----------
    today : no session lies after it
    order : order of day and month; None if unknown
    first_year : year of the first date without a year; None if unknown
    day_numbers : plain numbers count days as spreadsheets do (45035 is 2023-04-19)
    answers : text of a cell -> the day that the builder says it means
    """

    today: date
    order: Order | None = None
    first_year: int | None = None
    day_numbers: bool = False
    answers: Mapping[str, date] = field(default_factory=dict)


def read_date(cell: Cell, rules: DateRules, previous: date | None = None) -> DaysRead | Unread:
    """Read the day or days of one cell.

    Parameters
    ----------
    cell : as the file holds it
    rules : the rules for the file
    previous : the last day read above; a date without a year takes the year that brings it nearest to it,
        once the builder has given the year of the first one

    Returns
    -------
    The days, or the reason why they cannot be read.

    Examples
    --------
    >>> rules = DateRules(today=date(2026, 9, 1), order="month_first")
    >>> read_date("4/19/2023", rules).start
    datetime.date(2023, 4, 19)
    >>> read_date("May and June 2023", rules).end, read_date("2023-04-19(?)", rules).unsure
    (datetime.date(2023, 6, 30), True)
    >>> read_date("0203-05-06", rules).reason
    'lies in the year 203, in which nobody built: say the day that is meant'
    """
    answer = rules.answers.get(cell_text(cell))
    if answer is not None:
        return _in_bounds(DaysRead(start=answer, end=answer), rules)
    if isinstance(cell, datetime):
        clock = f"{cell.hour:02d}:{cell.minute:02d}" if cell.time() != time() else ""
        return _in_bounds(DaysRead(start=cell.date(), end=cell.date(), clock=clock), rules)
    if isinstance(cell, date):
        return _in_bounds(DaysRead(start=cell, end=cell), rules)
    if cell is None or cell_text(cell) == "":
        return Unread(MISSING)
    if isinstance(cell, float) and rules.day_numbers and is_day_number(cell):
        day = _SPREADSHEET_DAY_ZERO + timedelta(days=int(cell))
        return _in_bounds(DaysRead(start=day, end=day), rules)
    if not isinstance(cell, str):
        return Unread("is a number and not a day")
    return _read_text(cell, rules, previous)


def is_day_number(cell: Cell) -> bool:
    """Whether a number could be a spreadsheet's count of days for a date that the log may hold.

    Examples
    --------
    >>> is_day_number(45035.0), is_day_number(2.5)
    (True, False)
    """
    first, last = ((day - _SPREADSHEET_DAY_ZERO).days for day in (EARLIEST, LATEST))
    return isinstance(cell, float) and first <= cell <= last


def _read_text(cell: str, rules: DateRules, previous: date | None) -> DaysRead | Unread:
    text = plain_words(cell)
    unsure = bool(_UNSURE.search(text) or _ABOUT.match(text))
    text = _ABOUT.sub("", _UNSURE.sub("", text))
    clock = _CLOCK.search(text)
    if clock:
        text = text[: clock.start()]
    split = _split(text)
    if split is None:
        return Unread(_NO_DATE)
    dates, how = split
    dates = _with_later_years(dates)
    days: list[tuple[date, date]] = []
    for written in dates:
        day = _resolve(written, rules, days[-1][0] if days else previous)
        if isinstance(day, Unread):
            return day
        days.append(day)
    start, end = days[0][0], days[-1][1]
    if dates[0].last_day is not None:
        last = _day(start.year, start.month, dates[0].last_day)
        if last is None:
            return Unread(NO_SUCH_DAY)
        end, how = last, "range"
    if end < start:
        return Unread("ends before it begins")
    read = DaysRead(
        start=start,
        end=end,
        clock=_time_of_day(clock),
        unsure=unsure,
        how="months" if any(d.day is None and d.first is None for d in dates) else how,
        short_year=any(d.short_year for d in dates),
    )
    return _in_bounds(read, rules)


def _split(text: str) -> tuple[list[WrittenDate], How] | None:
    """The dates of a cell and how they are joined; None where the cell has any other word."""
    found = list(DATE_FORM.finditer(text))
    if not found or text[: found[0].start()].strip() or text[found[-1].end() :].strip(" .,"):
        return None
    dates = [written_date(m) for m in found]
    between = [text[m.end() : n.start()] for m, n in zip(found, found[1:], strict=False)]
    if not between:
        return dates, "day"
    if len(between) == 1 and _THROUGH.fullmatch(between[0]):
        return dates, "range"
    return (dates, "two days") if all(_AND.fullmatch(b) for b in between) else None


def _with_later_years(dates: list[WrittenDate]) -> list[WrittenDate]:
    """`May and June 2023`: a date without a year takes the year of a later one in the same cell."""
    completed: list[WrittenDate] = []
    year = None
    for written in reversed(dates):
        year = written.year if written.year is not None else year
        completed.append(replace(written, year=year))
    return completed[::-1]


def _resolve(written: WrittenDate, rules: DateRules, previous: date | None) -> tuple[date, date] | Unread:
    """First and last day of one date."""
    month, day, first, second = written.month, written.day, written.first, written.second
    if first is not None and second is not None:
        if rules.order is None and first != second:
            return Unread(MIXED_ORDER if max(first, second) > 12 else NO_ORDER)
        day, month = (first, second) if rules.order == "day_first" else (second, first)
    if month is None:
        return Unread(_NO_DATE)
    year = written.year if written.year is not None else _nearest_year(month, day or 1, rules, previous)
    if year is None:
        return Unread(f"{NO_YEAR}: say the year of the first such day")
    if not 1 <= year <= 9999:
        return _impossible_year(year)
    start = _day(year, month, day or 1)
    if start is None:
        known_order = rules.order if first is not None else None
        why = f" ({known_order.replace('_', ' ')}, as the rest of the file)" if known_order else ""
        return Unread(NO_SUCH_DAY + why)
    end = start if day is not None else date(year, month, calendar.monthrange(year, month)[1])
    return start, end


def _impossible_year(year: int) -> Unread:
    return Unread(f"{IMPOSSIBLE_YEAR} {year}, in which nobody built: say the day that is meant")


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _nearest_year(month: int, day: int, rules: DateRules, previous: date | None) -> int | None:
    """The year that the builder gave, or in which this day is nearest to the row above."""
    if rules.first_year is None:
        return None
    if previous is None:
        return rules.first_year
    candidates = [_day(previous.year + step, month, day) for step in (-1, 0, 1)]
    distances = [(abs((d - previous).days), d) for d in candidates if d is not None]
    return min(distances)[1].year if distances else rules.first_year


def _in_bounds(read: DaysRead, rules: DateRules) -> DaysRead | Unread:
    """The days if a session can have them; whole months are cut at today."""
    for day in (read.start, read.end):
        if day < EARLIEST:
            return _impossible_year(day.year)
    if read.start > rules.today:
        return Unread(f"{FUTURE} (today is {rules.today}): say the day that is meant")
    if read.how == "months" and read.end > rules.today:
        return replace(read, end=rules.today)
    if read.end > rules.today:
        return Unread(f"ends in the future (today is {rules.today}): say the day that is meant")
    return read


def _time_of_day(found: re.Match[str] | None) -> str:
    if found is None:
        return ""
    hour, minute = int(found[1]), int(found[2])
    if found[3] == "pm" and hour < 12:
        hour += 12
    if found[3] == "am" and hour == 12:
        hour = 0
    return f"{hour:02d}:{minute:02d}" if hour < 24 and minute < 60 else ""
