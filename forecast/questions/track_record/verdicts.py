"""Dates and hours that were forecast, judged by what is known by now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.quantiles import quantile_key
from forecast.questions.scores import Coverage, coverage

SURE = 0.80


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """How many outcomes did not come later than (or, of hours, exceed) the 80 % figure.

    Attributes
    ----------
    held, known : of the forecasts whose verdict is known
    open : forecasts that cannot be judged yet
    """

    held: int
    known: int
    open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Middle:
    """The error of the even-odds figure that half of the judged forecasts exceed.

    Attributes
    ----------
    error : forecast less outcome, in days (below zero: the date was too early) or person-hours; NaN
        while nothing can be judged
    or_lower : True where outcomes that are still open can only bring it further down
    """

    error: float
    or_lower: bool


@dataclass(frozen=True, kw_only=True)
class Judged:
    """Quantiles beside outcomes. A target that is still open counts wherever it is judged already.

    A range whose upper end has passed with the target still open has failed, and is counted so; one
    that still runs is undecided. Leaving out all open targets would flatter the record.

    Attributes
    ----------
    quantiles : p05 ... p95, one row a forecast, on any line (days, person-hours); infinite past the
        horizon
    outcome : the same line, infinite where open
    known_until : up to where it is known that it has not happened; NaN where nothing can be known
    """

    quantiles: pd.DataFrame
    outcome: np.ndarray
    known_until: np.ndarray

    def coverage(self, level: float) -> Coverage:
        """How often the central range of that level held, with the band of Clopper and Pearson."""
        low, high = self._range(level)
        judged = self._judged(high)
        return coverage(low[judged], high[judged], self.outcome[judged], level=level)

    def undecided(self, level: float) -> int:
        """Forecasts whose central range of that level cannot be judged yet."""
        return int((~self._judged(self._range(level)[1])).sum())

    @property
    def held(self) -> Held:
        """The record of the 80 % figures."""
        sure = self._at(SURE)
        judged = self._judged(sure)
        return Held(
            held=int((self.outcome[judged] <= sure[judged]).sum()),
            known=int(judged.sum()),
            open=int((~judged).sum()),
        )

    @property
    def middle(self) -> Middle:
        """The record of the even-odds figures."""
        even = self._at(0.50)
        judged = self._judged(even)
        if not judged.any():
            return Middle(error=np.nan, or_lower=False)
        is_open = ~np.isfinite(self.outcome[judged])
        error = even[judged] - np.where(is_open, self.known_until[judged], self.outcome[judged])
        worst = np.where(is_open, -np.inf, error)
        middle = _median(error)
        return Middle(error=middle, or_lower=_median(worst) < middle)

    def _at(self, level: float) -> np.ndarray:
        return self.quantiles[quantile_key(level)].to_numpy(dtype=float)

    def _range(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        return self._at((1 - level) / 2), self._at((1 + level) / 2)

    def _judged(self, high: np.ndarray) -> np.ndarray:
        return np.isfinite(self.outcome) | (high <= self.known_until)


def _median(values: np.ndarray) -> float:
    """The lower of the two middle values where their number is even, so that infinity can stand among them.

    >>> _median(np.array([3.0, -np.inf, 7.0, np.inf]))
    3.0
    """
    return float(np.quantile(values, 0.5, method="inverted_cdf"))
