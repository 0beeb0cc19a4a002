"""The waves of the year, used only where a log proves that it has a season."""

from __future__ import annotations

from datetime import date

import numpy as np

YEAR_DAYS = 365.2425


def year_waves(first_monday: date, weeks: int) -> np.ndarray:
    """(week, 2) cosine and sine of the time of the year, in the middle of each week.

    >>> year_waves(date(2026, 1, 5), 40)[[0, 13, 26, 39]].round(1).tolist()
    [[1.0, 0.1], [-0.1, 1.0], [-1.0, -0.1], [0.1, -1.0]]
    """
    day = first_monday.timetuple().tm_yday + 2 + 7.0 * np.arange(weeks)
    angle = 2 * np.pi * day / YEAR_DAYS
    return np.column_stack([np.cos(angle), np.sin(angle)])


def no_waves(weeks: int) -> np.ndarray:
    """(week, 0): a year without a season."""
    return np.empty((weeks, 0))


def waves_of(first_monday: date, weeks: int, *, seasonal: bool) -> np.ndarray:
    """(week, 2) the waves of the year where there is a season, else (week, 0)."""
    return year_waves(first_monday, weeks) if seasonal else no_waves(weeks)
