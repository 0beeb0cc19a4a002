"""Dates as people write them, read by one rule for the whole file.

ISO days come first and need no rule. Of `3/4/2023` nobody can say alone whether it is in March or April:
one order counts for the whole file, either shown by a day above 12 somewhere or said by the builder,
never chosen row by row. A year that is missing or cannot be is asked about and not repaired.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from forecast.intake.cells.date_forms import DAY_FORM, Order, WrittenDate, plain_words, written_day
from forecast.intake.sheet_cells import Cell, Unread, cell_text

EARLIEST = date(1950, 1, 1)
NO_YEAR = "has no year"
NO_ORDER = "could be two different days: say whether the day or the month comes first in this file"
MIXED_ORDER = "is in a file that writes some dates day first and some month first: say which of them counts"
_SPREADSHEET_DAY_ZERO = date(1899, 12, 30)
_UNSURE = re.compile(r"\s*(?:\(\?\)|\?+|\((?:approx|about|guess)\.?\))\s*$")
_ABOUT = re.compile(r"^(?:~|about|around|approx\.?|ca\.?|circa)\s*")
_CLOCK = re.compile(r"[t ,]\s*(?:at\s+)?(\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?\s*(am|pm)?\s*(?:z|utc)?$")
_THROUGH = re.compile(r"\s*(?:through|thru|to|until|till|bis|-|–|—|\.\.\.?|/)\s*")
_AND = re.compile(r"\s*(?:and|und|et|y|&|,|;|\+)\s*|\s+")


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysRead:
    """One cell of dates: `end` is `start` unless it stands for several days."""

    start: date
    end: date
    clock: str = ""
    unsure: bool = False
    how: Literal["day", "range", "two days", "months"] = "day"
    short_year: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DateRules:
    """What one file's dates are read by.

    Attributes
    ----------
    today : no session lies after it
    order : of two-number dates; None while nobody has said
    first_year : of the first date without a year; None while nobody has said
    day_numbers : plain numbers are a spreadsheet's count of days (45035 is 2023-04-19)
    said : the builder's own reading of single cells: text of the cell -> day
    """

    today: date
    order: Order | None = None
    first_year: int | None = None
    day_numbers: bool = False
    said: dict[str, date] = field(default_factory=dict)


def read_date(cell: Cell, rules: DateRules, previous: date | None = None) -> DaysRead | Unread:
    """The day or days of one cell, or why they cannot be read.

    `previous` is the last day read above: once the builder has said the year of the first date that has
    none, each following one takes the year in which it comes nearest to the row above it.

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
    said = rules.said.get(cell_text(cell))
    if said is not None:
        return _within(DaysRead(start=said, end=said), rules)
    if isinstance(cell, datetime):
        clock = f"{cell.hour:02d}:{cell.minute:02d}" if cell.time() != time() else ""
        return _within(DaysRead(start=cell.date(), end=cell.date(), clock=clock), rules)
    if isinstance(cell, date):
        return _within(DaysRead(start=cell, end=cell), rules)
    if cell is None or cell_text(cell) == "":
        return Unread("is missing: the row says no day")
    if isinstance(cell, float) and rules.day_numbers and is_day_number(cell):
        day = _SPREADSHEET_DAY_ZERO + timedelta(days=int(cell))
        return _within(DaysRead(start=day, end=day), rules)
    if not isinstance(cell, str):
        return Unread("is a number and not a day")
    return _read_text(cell, rules, previous)


def is_day_number(cell: Cell) -> bool:
    """Whether a number could be a spreadsheet's count of days between 1950 and 2199.

    Examples
    --------
    >>> is_day_number(45035.0), is_day_number(2.5)
    (True, False)
    """
    return isinstance(cell, float) and 18_264 <= cell <= 109_574


def _read_text(cell: str, rules: DateRules, previous: date | None) -> DaysRead | Unread:
    text = plain_words(cell)
    unsure = bool(_UNSURE.search(text) or _ABOUT.match(text))
    text = _ABOUT.sub("", _UNSURE.sub("", text))
    clock = _CLOCK.search(text)
    if clock:
        text = text[: clock.start()]
    split = _split(text)
    if isinstance(split, Unread):
        return split
    raws, joined = split
    raws = _with_later_parts(raws)
    days: list[tuple[date, date]] = []
    for raw in raws:
        day = _resolve(raw, rules, days[-1][0] if days else previous)
        if isinstance(day, Unread):
            return day
        days.append(day)
    start, end = days[0][0], days[-1][1]
    if raws[0].last_day is not None:
        last = _day(start.year, start.month, raws[0].last_day)
        if last is None:
            return Unread("is a day that does not exist")
        end, joined = last, "range"
    if end < start:
        return Unread("ends before it begins")
    months = any(r.day is None and r.first is None for r in raws)
    read = DaysRead(
        start=start,
        end=end,
        clock=_time_of_day(clock),
        unsure=unsure,
        how="months" if months else joined,
        short_year=any(r.short_year for r in raws),
    )
    return _within(read, rules)


def _split(text: str) -> tuple[list[WrittenDate], Literal["day", "range", "two days"]] | Unread:
    """The dates of a cell and how they are joined; any other word makes it unreadable."""
    found = list(DAY_FORM.finditer(text))
    if not found or text[: found[0].start()].strip() or text[found[-1].end() :].strip(" .,"):
        return Unread("is not a day in any form that is known")
    if len(found) == 1:
        return [written_day(found[0])], "day"
    between = [text[m.end() : n.start()] for m, n in zip(found, found[1:], strict=False)]
    if len(found) == 2 and _THROUGH.fullmatch(between[0]):
        return [written_day(m) for m in found], "range"
    if all(_AND.fullmatch(b) for b in between):
        return [written_day(m) for m in found], "two days"
    return Unread("is not a day in any form that is known")


def _with_later_parts(raws: list[WrittenDate]) -> list[WrittenDate]:
    """`May and June 2023`: a date without a year takes the year of a later one in the same cell."""
    out: list[WrittenDate] = []
    year = None
    for raw in reversed(raws):
        year = raw.year if raw.year is not None else year
        out.append(replace(raw, year=year))
    return out[::-1]


def _resolve(raw: WrittenDate, rules: DateRules, previous: date | None) -> tuple[date, date] | Unread:
    """First and last day of one date as written."""
    month, day = raw.month, raw.day
    if raw.first is not None and raw.second is not None:
        if rules.order is None and raw.first != raw.second:
            return Unread(MIXED_ORDER if max(raw.first, raw.second) > 12 else NO_ORDER)
        day, month = (raw.first, raw.second) if rules.order == "day_first" else (raw.second, raw.first)
    if month is None:
        return Unread("is not a day in any form that is known")
    year = raw.year if raw.year is not None else _nearest_year(month, day or 1, rules, previous)
    if year is None:
        return Unread(f"{NO_YEAR}: say the year of the first such day")
    if not 1 <= year <= 9999:
        return Unread(f"lies in the year {year}, in which nobody built: say the day that is meant")
    start = _day(year, month, day or 1)
    if start is None:
        return Unread("is a day that does not exist" + _in_this_order(raw, rules))
    end = start if day is not None else date(year, month, calendar.monthrange(year, month)[1])
    return start, end


def _in_this_order(raw: WrittenDate, rules: DateRules) -> str:
    if raw.first is None or rules.order is None:
        return ""
    return f" ({rules.order.replace('_', ' ')}, as the rest of the file)"


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _nearest_year(month: int, day: int, rules: DateRules, previous: date | None) -> int | None:
    """The year said, or in which this day comes nearest to the row above."""
    if rules.first_year is None:
        return None
    if previous is None:
        return rules.first_year
    there = [(abs((d - previous).days), d) for d in _candidates(previous.year, month, day)]
    return min(there)[1].year if there else rules.first_year


def _candidates(year: int, month: int, day: int) -> Iterator[date]:
    for y in (year - 1, year, year + 1):
        found = _day(y, month, day)
        if found is not None:
            yield found


def _within(read: DaysRead, rules: DateRules) -> DaysRead | Unread:
    for day in (read.start, read.end):
        if day < EARLIEST:
            return Unread(f"lies in the year {day.year}, in which nobody built: say the day that is meant")
    if read.start > rules.today:
        return Unread(f"lies in the future (today is {rules.today}): say the day that is meant")
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
