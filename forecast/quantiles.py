"""The quantiles of every answer, and how one is read from simulation runs."""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil, isfinite

import numpy as np

QUANTILES = (0.05, 0.10, 0.25, 0.50, 0.75, 0.80, 0.90, 0.95)


def quantile_key(level: float) -> str:
    """The name of a quantile in every answer.

    >>> quantile_key(0.05), quantile_key(0.8)
    ('p05', 'p80')
    """
    return f"p{round(level * 100):02d}"


def sample_quantile(values: np.ndarray, level: float) -> float:
    """The smallest of the values that at least `level` of them do not exceed (no interpolation).

    >>> sample_quantile(np.array([1.0, 2.0, np.inf, np.inf]), 0.5)
    2.0
    """
    # Interpolation between a finite day and an infinite one (past the horizon) would give a day no run had.
    return float(np.quantile(values, level, method="inverted_cdf"))


def day_of(as_of: date, days: float) -> date | None:
    """The calendar day that lies so many days after the end of `as_of`; None for infinity.

    >>> day_of(date(2026, 3, 1), 0.4)
    datetime.date(2026, 3, 2)
    """
    return as_of + timedelta(days=ceil(days)) if isfinite(days) else None
