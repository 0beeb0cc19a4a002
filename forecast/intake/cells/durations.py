"""Hours as people write them: `2.5`, `2,5`, `2:30`, `2h30`, `180` under a minutes heading, `~3 hours`.

General-purpose duration parsers are not safe here (one reads `1:30` as seconds, another `1,5h` as 15 hours),
so the forms are listed. A bare number needs a unit from the heading or from an answer. Any other text is
reported, not guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from forecast.intake.sheet_cells import Cell, Unread, cell_text, clean_text

Unit = Literal["hours", "minutes", "person_hours"]

_HOURS_WORD = r"(?:h|hs|hr|hrs|hour|hours|std|stunde|stunden|heure|heures|hora|horas|uur|uren|ore)\b\.?"
_MINUTES_WORD = r"(?:m|min|mins|minute|minutes|minuten|minuti|minutos)\b\.?"
_PERSON_WORD = rf"(?:person|people|man|labou?r)[ -]?{_HOURS_WORD}"
_NUMBER = r"(?:\d{1,6}(?:[.,]\d{1,4})?|[.,]\d{1,4})"
_ABOUT = re.compile(r"^(?:~|≈|about|approx(?:\.|imately)?|ca\.?|circa|around|roughly|maybe|almost|nearly)\s*")
_ABOUT_AFTER = re.compile(r"\s*(?:\?|\(\?\)|\+|-?ish|or so)$")
_CLOCK = re.compile(rf"(\d{{1,4}}):([0-5]\d)(?::([0-5]\d))?(?:\s*{_HOURS_WORD})?")
_HOURS_MINUTES = re.compile(
    rf"(\d{{1,4}})\s*(?:h|{_HOURS_WORD})\s*(?:(?:and\s+)?([0-5]?\d)\s*(?:{_MINUTES_WORD})?)"
)
_WITH_UNIT = re.compile(
    rf"({_NUMBER})\s*-?\s*(?:(?P<person>{_PERSON_WORD})|(?P<hours>{_HOURS_WORD})|(?P<minutes>{_MINUTES_WORD}))"
)
_BARE = re.compile(_NUMBER)
_MIXED_FRACTION = re.compile(r"(\d{1,4})?\s*(½|¼|¾|1/2|1/4|3/4)")
_FRACTIONS = {"½": 0.5, "1/2": 0.5, "¼": 0.25, "1/4": 0.25, "¾": 0.75, "3/4": 0.75}
_PART = re.compile(r"\s*[;\n]\s*|\s*,\s+|\s+(?:and|plus|\+)\s+")
_WORDS = re.compile(r"[^\W\d].*", re.DOTALL)
# A number before one of these is no number of hours.
_NOT_HOURS = re.compile(r"(?:am|pm|days?|weeks?|months?|evenings?|nights?|weekends?|sessions?|people|x)\b")
_THOUSANDS = re.compile(r"\d{1,3},\d{3}")
# A spreadsheet stores 30 h as 1900-01-01 06:00; from March 1900 on its calendar is a day off, and the cell is
# taken for a date.
_SPREADSHEET_DAY_ZERO = datetime(1899, 12, 31)
_SPREADSHEET_DAYS = (date(1899, 12, 31), date(1900, 3, 1))
NO_UNIT = "is a bare number, and neither the heading nor the cell says hours or minutes"
_NO_HOURS = Unread("is not a number of hours")
_SEVERAL = Unread("is more than one number of hours: which one counts?")
_PLACEHOLDER = Unread("is a placeholder: hours must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursPart:
    """One amount of time in a cell.

    Attributes
    ----------
    hours : clock hours, or person-hours if `unit` is "person_hours"; above 0
    unit : unit in which the number was read
    about : the cell marks it as approximate
    what : the words that belong to this amount, or ""
    """

    hours: float
    unit: Unit
    about: bool = False
    what: str = ""


def read_duration(
    cell: Cell, unit: Unit | None, *, minutes_after_point: bool = False
) -> tuple[HoursPart, ...] | Unread:
    """Read every amount of time in one cell.

    Parameters
    ----------
    cell : as the file holds it
    unit : unit of bare numbers, from the heading or an answer; None rejects them
    minutes_after_point : read `2.30` as 2 h 30 min, because the builder says so

    Returns
    -------
    The amounts, or the reason why the cell cannot be read.

    Examples
    --------
    >>> [p.hours for p in read_duration("2h30", None)], [p.hours for p in read_duration("180", "minutes")]
    ([2.5], [3.0])
    >>> [(p.hours, p.unit, p.what) for p in read_duration("41.75 person-hours building, 4 shopping", None)]
    [(41.75, 'person_hours', 'building'), (4.0, 'person_hours', 'shopping')]
    >>> read_duration("many hours", "hours").reason
    'is not a number of hours'
    """
    if isinstance(cell, bool):
        return _NO_HOURS
    if isinstance(cell, datetime | date | time | timedelta):
        return _from_clock(cell)
    if cell is None or (isinstance(cell, str) and not clean_text(cell)):
        return Unread("is missing: the row gives no hours")
    text = f"{cell:.10g}" if isinstance(cell, float) else clean_text(cell).casefold()
    parts = _read_text(text, unit, minutes_after_point)
    if not isinstance(parts, Unread) and any(p.hours <= 0 for p in parts):
        return _PLACEHOLDER
    return parts


def _from_clock(cell: datetime | date | time | timedelta) -> tuple[HoursPart, ...] | Unread:
    """A cell that the spreadsheet stores as a time."""
    if isinstance(cell, timedelta):
        hours = cell.total_seconds() / 3600
    elif isinstance(cell, time):
        hours = cell.hour + cell.minute / 60 + cell.second / 3600
    elif not isinstance(cell, datetime) or not (
        _SPREADSHEET_DAYS[0] <= cell.date() < _SPREADSHEET_DAYS[1] and cell.tzinfo is None
    ):
        return Unread("is a date where hours should be")
    else:
        hours = (cell - _SPREADSHEET_DAY_ZERO).total_seconds() / 3600
    return (HoursPart(hours=round(hours, 4), unit="hours"),) if hours > 0 else _PLACEHOLDER


def _read_text(text: str, unit: Unit | None, point: bool) -> tuple[HoursPart, ...] | Unread:
    whole = _one_part(text, unit, point)
    if not isinstance(whole, Unread):
        return (whole,)
    pieces = [p for p in _PART.split(text) if p]
    parts: list[HoursPart] = []
    for piece in pieces:
        before = parts[-1].unit if parts else None
        part = _one_part(piece, before or unit, point, words=before is not None)
        if isinstance(part, Unread) or len(pieces) == 1:
            return whole
        parts.append(part)
    if not parts:
        return whole
    # Without words, "1, 5" may be a decimal comma with a space.
    return _SEVERAL if "," in text and not any(p.what for p in parts) else tuple(parts)


def _one_part(text: str, unit: Unit | None, point: bool, *, words: bool = False) -> HoursPart | Unread:
    """One amount with the words after it; `words` allows them after a bare number."""
    about = bool(_ABOUT.match(text) or _ABOUT_AFTER.search(text))
    text = _ABOUT_AFTER.sub("", _ABOUT.sub("", text)).strip()
    for read in (_clock_form, _unit_form):
        found = read(text)
        if found is not None:
            part, rest = found
            return _with_words(part, rest, about)
    bare = _bare_form(text, unit, point)
    if isinstance(bare, Unread):
        return bare
    part, rest = bare
    if rest and (not words or _NOT_HOURS.match(rest)):
        return _NO_HOURS
    return _with_words(part, rest, about)


def _with_words(part: HoursPart, rest: str, about: bool) -> HoursPart | Unread:
    rest = rest.strip(" .:-")
    if rest and (not _WORDS.fullmatch(rest) or _NOT_HOURS.match(rest) or re.search(r"\d", rest)):
        return _SEVERAL
    return replace(part, what=rest, about=about)


# Hours are rounded to four decimals (0.4 s), which is what the log holds.
def _clock_form(text: str) -> tuple[HoursPart, str] | None:
    clock = _CLOCK.match(text)
    if clock and not re.match(r"\s*[ap]\.?m\b", text[clock.end() :]):
        hours = int(clock[1]) + int(clock[2]) / 60 + int(clock[3] or 0) / 3600
        return HoursPart(hours=round(hours, 4), unit="hours"), text[clock.end() :]
    both = _HOURS_MINUTES.match(text)
    if both:
        hours = int(both[1]) + int(both[2]) / 60
        return HoursPart(hours=round(hours, 4), unit="hours"), text[both.end() :]
    return None


def _unit_form(text: str) -> tuple[HoursPart, str] | None:
    fraction = _MIXED_FRACTION.match(text)
    if fraction:
        rest = text[fraction.end() :].lstrip()
        value = int(fraction[1] or 0) + _FRACTIONS[fraction[2]]
        word = re.match(rf"(?P<hours>{_HOURS_WORD})|(?P<minutes>{_MINUTES_WORD})", rest)
        if word:
            return _amount(value, "hours" if word["hours"] else "minutes"), rest[word.end() :]
        return None
    found = _WITH_UNIT.match(text)
    if found is None or _THOUSANDS.fullmatch(found[1]):
        return None
    unit: Unit = "person_hours" if found["person"] else "hours" if found["hours"] else "minutes"
    return _amount(_decimal(found[1]), unit), text[found.end() :]


def _bare_form(text: str, unit: Unit | None, point: bool) -> tuple[HoursPart, str] | Unread:
    fraction = _MIXED_FRACTION.match(text)
    number = fraction or _BARE.match(text)
    if number is None:
        return _NO_HOURS
    if unit is None:
        return Unread(NO_UNIT)
    rest = text[number.end() :]
    if rest and not rest[0].isspace():
        return _NO_HOURS
    if fraction:
        return _amount(int(fraction[1] or 0) + _FRACTIONS[fraction[2]], unit), rest.strip()
    if _THOUSANDS.fullmatch(number[0]):
        return Unread("may have a decimal comma or a thousands comma: write it without")
    if point and unit != "minutes":
        return _minutes_after_point(number[0], unit, rest)
    return _amount(_decimal(number[0]), unit), rest.strip()


def _minutes_after_point(number: str, unit: Unit, rest: str) -> tuple[HoursPart, str] | Unread:
    whole, _, minutes = number.replace(",", ".").partition(".")
    minutes = minutes.ljust(2, "0")
    if len(minutes) > 2 or int(minutes) > 59:
        return Unread("must have 00 to 59 minutes after the point, as you answered for this column")
    return _amount(int(whole or 0) + int(minutes) / 60, unit), rest.strip()


def _decimal(number: str) -> float:
    return float(number.replace(",", "."))


def _amount(value: float, unit: Unit) -> HoursPart:
    if unit == "minutes":
        return HoursPart(hours=round(value / 60, 4), unit="minutes")
    return HoursPart(hours=round(value, 4), unit=unit)


def read_clock(cell: Cell) -> time | None:
    """A time of day, or None.

    Examples
    --------
    >>> read_clock("7:30 pm"), read_clock("19:30"), read_clock("1930"), read_clock("25:00")
    (datetime.time(19, 30), datetime.time(19, 30), datetime.time(19, 30), None)
    """
    if isinstance(cell, datetime):
        return cell.time().replace(second=0, microsecond=0)
    if isinstance(cell, time):
        return cell.replace(second=0, microsecond=0)
    if isinstance(cell, timedelta):
        minutes = round(cell.total_seconds() / 60)
        return time(minutes // 60, minutes % 60) if 0 <= minutes < 24 * 60 else None
    found = re.fullmatch(
        r"(\d{1,2})(?:[:.h]?(\d{2}))?\s*([ap])?\.?m?\.?", cell_text(cell).casefold() if cell else ""
    )
    if found is None or (found[2] is None and found[3] is None):
        return None
    hour, minute = int(found[1]), int(found[2] or 0)
    if found[3] and not 1 <= hour <= 12:
        return None
    hour = hour % 12 + (12 if found[3] == "p" else 0) if found[3] else hour
    return time(hour, minute) if hour < 24 and minute < 60 else None
