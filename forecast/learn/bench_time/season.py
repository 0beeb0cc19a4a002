"""Annual terms of the season, used only where a log shows one."""

from __future__ import annotations

from datetime import date

import numpy as np

_YEAR_DAYS = 365.2425


def season_terms(first_monday: date, weeks: int, *, seasonal: bool) -> np.ndarray:
    """(week, 2) cosine and sine of the time of the year in mid-week, or (week, 0) without a season.

    Parameters
    ----------
    first_monday : first day of the first week
    weeks : number of weeks
    seasonal : whether there is a season

    Examples
    --------
    >>> season_terms(date(2026, 1, 5), 40, seasonal=True)[[0, 13, 26, 39]].round(1).tolist()
    [[1.0, 0.1], [-0.1, 1.0], [-1.0, -0.1], [0.1, -1.0]]
    """
    if not seasonal:
        return np.empty((weeks, 0))
    day = first_monday.timetuple().tm_yday + 2 + 7.0 * np.arange(weeks)
    angle = 2 * np.pi * day / _YEAR_DAYS
    return np.column_stack([np.cos(angle), np.sin(angle)])
