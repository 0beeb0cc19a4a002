"""Posterior draws of the effort model, and the data of the tasks under way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Grid of the log of (log total - log hours so far) of a task under way: totals from a thousandth above the
# hours so far to e**9 times them. 64 points are 0.15 apart, finer than any report or spread resolves.
LOG_EXCESS = np.linspace(-7.0, 2.2, 64)
EXCESS = np.exp(LOG_EXCESS)
_LOG_FOUR = float(np.log(4.0))


@dataclass(frozen=True, kw_only=True)
class EffortDraws:
    """Posterior draws; s draws, k types, f fixed effects, g pairs, m observed rows, b blocks.

    Attributes
    ----------
    fixed (s, f), type_level (s, k), type_learning (s, k), type_rate (s, k), pair (s, g)
    drift : (s, b) common level in each block of positions that was worked in
    drift_scale, drift_step : (s,) its stationary sd, and correlation from one task to the next
    spread : (s, k) scale of the residuals of each type for a task of typical size
    mean_spread, type_spread : (s,) mean of its log over types, and sd between types
    spread_by_size, unplanned_spread : (s,) exponents of the spread: per unit of size, and for rows
        without planned hours
    tail : (s,) degrees of freedom of the residuals
    rows : (m,) rows of the design that are observed
    residual : (s, m) residuals of the observed rows in units of their scale
    scales : name -> (s,) standard deviations between types (level, learning, rate) and pairs
    """

    fixed: np.ndarray
    type_level: np.ndarray
    type_learning: np.ndarray
    type_rate: np.ndarray
    pair: np.ndarray
    drift: np.ndarray
    drift_scale: np.ndarray
    drift_step: np.ndarray
    spread: np.ndarray
    mean_spread: np.ndarray
    type_spread: np.ndarray
    spread_by_size: np.ndarray
    unplanned_spread: np.ndarray
    tail: np.ndarray
    rows: np.ndarray
    residual: np.ndarray
    scales: dict[str, np.ndarray]

    @property
    def count(self) -> int:
        """Number of draws."""
        return len(self.tail)


@dataclass(frozen=True, kw_only=True)
class OpenEvidence:
    """The data of the tasks under way: o tasks.

    Attributes
    ----------
    log_floor : (o,) log person-hours so far, which the total exceeds
    report_log_density : (o, point) log likelihood of the report when the log of the total is
        log_floor + excess, for `excess` in `EXCESS`; zeros where nothing was reported
    """

    log_floor: np.ndarray
    report_log_density: np.ndarray


def implausible_totals(residual: np.ndarray) -> np.ndarray:
    """Grid totals ruled out for a task under way: (..., point) by the residual that each would mean.

    Both three spreads above expectation and four times the hours so far (a judgement). Without such a
    bound, a heavy tail would keep a task that has overrun its plan going for years.
    """
    return (residual > 3.0) & (_LOG_FOUR < EXCESS)
