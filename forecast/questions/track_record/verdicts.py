"""Forecast dates and hours, judged by what is known today."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.quantiles import quantile_key
from forecast.questions.scores import Coverage, coverage

SURE = 0.80


@dataclass(frozen=True, slots=True, kw_only=True)
class SureRecord:
    """How many outcomes were no later (or, for hours, no more) than the 80 % figure.

    Attributes
    ----------
    held : forecasts that held, of those `known`
    known : forecasts that can be judged
    open : forecasts that cannot be judged yet
    """

    held: int
    known: int
    open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MedianError:
    """The median error of the even-odds figures.

    Attributes
    ----------
    error : forecast less outcome, in days (below zero: the date was too early) or person-hours; NaN
        while nothing can be judged
    or_lower : True where outcomes that are still open can only lower it
    """

    error: float
    or_lower: bool


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Quantiles compared with outcomes.

    An open target counts where it can be judged already: a range whose upper end has passed has missed it,
    one that has not ended is undecided. Leaving out all open targets would flatter the record.

    Attributes
    ----------
    quantiles : p05 ... p95, one row per forecast, in days or person-hours; infinite past the horizon
    outcome : (forecast,) in the same unit; infinite where open
    known_until : (forecast,) the target is known not to have happened by then; NaN where nothing can be known
    """

    quantiles: pd.DataFrame
    outcome: np.ndarray
    known_until: np.ndarray

    def coverage(self, level: float) -> Coverage:
        """How often the central range of that level held, with the Clopper-Pearson band."""
        low, high = self._range(level)
        judged = self._judged(high)
        return coverage(low[judged], high[judged], self.outcome[judged], level=level)

    def undecided(self, level: float) -> int:
        """Forecasts whose central range of that level cannot be judged yet."""
        return int((~self._judged(self._range(level)[1])).sum())

    @property
    def held(self) -> SureRecord:
        """The record of the 80 % figures."""
        sure = self._at(SURE)
        judged = self._judged(sure)
        return SureRecord(
            held=int((self.outcome[judged] <= sure[judged]).sum()),
            known=int(judged.sum()),
            open=int((~judged).sum()),
        )

    @property
    def middle(self) -> MedianError:
        """The record of the even-odds figures."""
        even = self._at(0.50)
        judged = self._judged(even)
        if not judged.any():
            return MedianError(error=np.nan, or_lower=False)
        is_open = ~np.isfinite(self.outcome[judged])
        error = even[judged] - np.where(is_open, self.known_until[judged], self.outcome[judged])
        worst = np.where(is_open, -np.inf, error)
        median = _lower_median(error)
        return MedianError(error=median, or_lower=_lower_median(worst) < median)

    def _at(self, level: float) -> np.ndarray:
        return self.quantiles[quantile_key(level)].to_numpy(dtype=float)

    def _range(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        return self._at((1 - level) / 2), self._at((1 + level) / 2)

    def _judged(self, high: np.ndarray) -> np.ndarray:
        return np.isfinite(self.outcome) | (high <= self.known_until)


def _lower_median(values: np.ndarray) -> float:
    """The median, or the lower of two: the mean of two values could be of a finite and an infinite one.

    >>> _lower_median(np.array([3.0, -np.inf, 7.0, np.inf]))
    3.0
    """
    return float(np.quantile(values, 0.5, method="inverted_cdf"))
