"""How numbers, dates and lists are written: one function per kind, used by every answer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

WHOLE_BUILD = "Whole build"
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
_DAYS_PER_MONTH = 30.44  # a twelfth of a year
_DAYS_PER_YEAR = 365.25  # leap years included
# Up to three weeks a builder counts days, up to a quarter weeks, up to two years months: a judgement.
_SPANS = (("day", 1.0, 21.0), ("week", 7.0, 91.0), ("month", _DAYS_PER_MONTH, 720.0))


def format_percent(share: float) -> str:
    """A share in percent.

    Examples
    --------
    >>> format_percent(0.824), format_percent(0.004)
    ('82 %', '0 %')
    """
    return f"{100 * share:.0f} %"


def format_percent_range(low: float, high: float) -> str:
    """A range of shares.

    Examples
    --------
    >>> format_percent_range(0.029, 0.091)
    '3 to 9 %'
    """
    return f"{100 * low:.0f} to {format_percent(high)}"


def format_odds(chance: float) -> str:
    """A chance in tenths, for a figure that is no more certain than that.

    Examples
    --------
    >>> [format_odds(c) for c in (0.02, 0.31, 0.951)]
    ['hardly any chance', '3 in 10', 'nearly certain']
    """
    # Half a tenth from either end, the nearest tenth would be 0 or 10 of 10: a certainty nobody has.
    if chance < 0.05:
        return "hardly any chance"
    return "nearly certain" if chance > 0.95 else f"{min(max(round(10 * chance), 1), 9)} in 10"


def format_chance(chance: float) -> str:
    """A chance in hundredths, never quite 0 or 1: a simulation rules nothing out.

    Examples
    --------
    >>> [format_chance(c) for c in (0.004, 0.31, 0.995)]
    ['next to no chance', 'a chance of 31 in 100', 'as good as certain']
    """
    if chance < 0.01:
        return "next to no chance"
    return "as good as certain" if chance > 0.99 else f"a chance of {round(chance * 100)} in 100"


def format_date(day: date | None, *, mentioned: date | None = None) -> str:
    """A date in full.

    Parameters
    ----------
    day : the date; None = past the horizon
    mentioned : a date mentioned just before; its year is not repeated

    Examples
    --------
    >>> format_date(date(2027, 3, 14)), format_date(date(2027, 2, 2), mentioned=date(2027, 3, 14))
    ('14 March 2027', '2 February')
    >>> format_date(None)
    'past the horizon'
    """
    if day is None:
        return "past the horizon"
    year = "" if mentioned is not None and mentioned.year == day.year else f" {day.year}"
    return f"{day.day} {_MONTHS[day.month - 1]}{year}"


def format_short_date(day: date | None) -> str:
    """A date for a table or a label; pandas timestamps are dates, NaT counts as None.

    Examples
    --------
    >>> format_short_date(date(2027, 3, 14)), format_short_date(None)
    ('14 Mar 2027', 'past horizon')
    """
    if day is None or day != day:
        return "past horizon"
    return f"{day.day} {_MONTHS[day.month - 1][:3]} {day.year}"


def format_hours(hours: float) -> str:
    """Hours: to the nearest ten from 200 on, to the nearest one below.

    Examples
    --------
    >>> format_hours(1234.6), format_hours(87.3)
    ('1,230', '87')
    """
    # Ten hours of two hundred are 5 %: more digits would claim what no forecast knows. A judgement.
    return f"{round(hours, -1):,.0f}" if hours >= 200 else f"{hours:.0f}"


def format_day(day: date, seen_from: date) -> str:
    """A day by its weekday within a week from `seen_from`, otherwise by its date.

    >>> format_day(date(2026, 3, 5), date(2026, 3, 3)), format_day(date(2026, 4, 5), date(2026, 3, 3))
    ('Thursday 5 March', '5 April 2026')
    """
    if 0 <= (day - seen_from).days < 7:
        return f"{day:%A} {day.day} {day:%B}"
    return f"{day.day} {day:%B} {day.year}"


def format_days(days: float) -> str:
    """A number of days.

    >>> format_days(1), format_days(2.5)
    ('1 day', '2.5 days')
    """
    return f"{days:g} day" if abs(days) == 1 else f"{days:g} days"


def format_clock(hours: float) -> str:
    """Clock hours to the quarter.

    Examples
    --------
    >>> [format_clock(h) for h in (0.05, 0.66, 2.34, 3.0)]
    ['15 min', '45 min', '2 h 15', '3 h']
    """
    quarters = max(round(4 * hours), 1)
    whole, rest = divmod(quarters, 4)
    if whole == 0:
        return f"{15 * rest} min"
    return f"{whole} h" if rest == 0 else f"{whole} h {15 * rest}"


def format_span(days: float) -> str:
    """A length of time in the unit that suits it; the sign is ignored.

    Examples
    --------
    >>> [format_span(d) for d in (0.6, 1, 12, 45, 200, 900)]
    ['1 day', '1 day', '12 days', '6 weeks', '7 months', '2.5 years']
    """
    days = abs(days)
    for unit, length, until in _SPANS:
        if days < until:
            return plural(max(round(days / length), 1), unit)
    return f"{days / _DAYS_PER_YEAR:.1f} years"


def format_shift(days: float) -> str:
    """By how much a date moved.

    Examples
    --------
    >>> format_shift(12), format_shift(-40), format_shift(0.3)
    ('12 days later', '6 weeks earlier', 'unchanged')
    """
    if abs(days) < 0.5:  # rounds to no day
        return "unchanged"
    return f"{format_span(days)} {'later' if days > 0 else 'earlier'}"


def plural(count: int, noun: str) -> str:
    """A count with its noun.

    Examples
    --------
    >>> plural(1, "problem"), plural(3, "problem")
    ('1 problem', '3 problems')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def join_words(words: Sequence[str], last: str = "and", *, most: int | None = None) -> str:
    """A list in a sentence.

    Parameters
    ----------
    words : what to list, one or more
    last : the word before the last one
    most : how many to name when there are two more or above; the rest are counted

    Examples
    --------
    >>> join_words(["a", "b", "c"]), join_words(["a"]), join_words(["a", "b", "c", "d"], most=2)
    ('a, b and c', 'a', 'a, b and 2 others')
    """
    if most is not None and len(words) > most + 1:
        words = [*words[:most], f"{len(words) - most} others"]
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def capitalise(text: str) -> str:
    """A text with its first letter in upper case and the rest unchanged.

    Examples
    --------
    >>> capitalise("wings"), capitalise("")
    ('Wings', '')
    """
    return text[:1].upper() + text[1:]


def target_name(stage: str | None) -> str:
    """A stage as a title, or (None) the whole build.

    Examples
    --------
    >>> target_name("wings"), target_name(None)
    ('Wings', 'Whole build')
    """
    return WHOLE_BUILD if stage is None else capitalise(stage)
