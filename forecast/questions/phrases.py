"""Names, days and numbers as the questions put them into sentences, tables and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd


def capitalise(text: str) -> str:
    """The text with a capital first letter, the rest unchanged.

    >>> capitalise("drill RV-type ribs")
    'Drill RV-type ribs'
    """
    return text[:1].upper() + text[1:]


def join_words(words: Sequence[str], *, most: int = 3, last: str = "and") -> str:
    """A list in words; where there are more than `most`, the rest by number.

    Parameters
    ----------
    words : one or more
    most : how many words, or words and the number of the others, are listed
    last : the word before the last one

    Examples
    --------
    >>> join_words(["a", "b"]), join_words(["a", "b", "c", "d"])
    ('a and b', 'a, b and 2 others')
    """
    if len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} others"]
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


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


def rounded(value: float, digits: int) -> float | None:
    """A number for JSON; None where it is not finite.

    >>> rounded(1.26, 1), rounded(float("inf"), 1)
    (1.3, None)
    """
    return round(float(value), digits) if np.isfinite(value) else None


def date_column(days: Sequence[date | None]) -> pd.Series:
    """Days as a column of dates, for frames with or without rows; None becomes NaT."""
    column: Any = pd.Series(list(days), dtype="object")
    return pd.Series(pd.to_datetime(column)).astype("datetime64[us]")
