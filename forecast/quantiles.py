"""The quantiles and days of every answer, and how they are read from simulation runs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from math import ceil, isfinite
from typing import Any

import numpy as np
import pandas as pd

from forecast.errors import UsageError

QUANTILES = (0.05, 0.10, 0.25, 0.50, 0.75, 0.80, 0.90, 0.95)


def quantile_key(level: float) -> str:
    """The name of a quantile in every answer.

    >>> quantile_key(0.05), quantile_key(0.8)
    ('p05', 'p80')
    """
    return f"p{round(level * 100):02d}"


QUANTILE_KEYS = tuple(quantile_key(q) for q in QUANTILES)


def sample_quantile(values: np.ndarray, level: float) -> float:
    """The smallest value that at least a share `level` of all values does not exceed (no interpolation).

    Parameters
    ----------
    values : (run,) may be infinite
    level : from 0 to 1

    Examples
    --------
    >>> sample_quantile(np.array([1.0, 2.0, np.inf, np.inf]), 0.5)
    2.0
    """
    # Interpolation between a finite day and an infinite one (past the horizon) would give a day no run had.
    return float(np.quantile(values, level, method="inverted_cdf"))


def sample_quantiles(values: np.ndarray) -> dict[str, float]:
    """Every quantile of an answer, by its name.

    >>> sample_quantiles(np.arange(1.0, 101.0))["p80"]
    80.0
    """
    return {key: sample_quantile(values, level) for key, level in zip(QUANTILE_KEYS, QUANTILES, strict=True)}


def day_of(as_of: date, days: float) -> date | None:
    """The calendar day `days` after the end of `as_of`; None for infinity.

    Parameters
    ----------
    as_of : the last day that counts
    days : days after its end; a part of a day counts as the whole day

    Examples
    --------
    >>> day_of(date(2026, 3, 1), 0.4)
    datetime.date(2026, 3, 2)
    """
    return as_of + timedelta(days=ceil(days)) if isfinite(days) else None


def to_date(day: date | str, name: str) -> date:
    """A date, given as one or as ISO text.

    Parameters
    ----------
    day : a date, a date with a time, or ISO text
    name : of the argument, for the error

    Raises
    ------
    UsageError for anything else.

    Examples
    --------
    >>> to_date("2026-03-01", "as_of")
    datetime.date(2026, 3, 1)
    """
    if isinstance(day, datetime):
        return day.date()
    if isinstance(day, date):
        return day
    try:
        return date.fromisoformat(day)
    except (TypeError, ValueError):
        raise UsageError(f"{name} must be a day such as 2026-03-01. Got {day!r} instead.") from None


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
