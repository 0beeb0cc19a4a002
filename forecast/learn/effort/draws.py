"""What the sampler needs to know of open tasks, and what it hands on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# How far above the hours so far a total may lie, on the log scale: from a thousandth to e**9.
LOG_MORE = np.linspace(-7.0, 2.2, 64)
MORE_GRID = np.exp(LOG_MORE)
_FOUR_TIMES = float(np.log(4.0))


@dataclass(frozen=True, kw_only=True)
class EffortDraws:
    """Posterior draws; s draws, k types, f fixed effects, g pairs, m observed rows, b blocks.

    Attributes
    ----------
    fixed (s, f), type_level (s, k), type_learning (s, k), type_rate (s, k), pair (s, g)
    drift : (s, b) common level in each block of positions that was worked in
    drift_scale, drift_step : (s,) its stationary sd, and correlation from one task to the next
    spread : (s, k) scale of the luck of each type for a task of typical size
    mean_spread, type_spread : (s,) mean of its log over types, and how far types differ
    spread_by_size, unplanned_spread : (s,) exponents of the spread: per unit of size, and for rows
        without planned hours
    tail : (s,) degrees of freedom of the luck
    rows : (m,) positions in the design of the observed rows
    residual : (s, m) luck of the observed rows in units of its scale
    scales : name -> (s,) standard deviations between types, pairs
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
        """How many draws."""
        return len(self.tail)


@dataclass(frozen=True, kw_only=True)
class OpenEvidence:
    """What the open tasks that are under way say: a floor, and a report of how far they are.

    Attributes
    ----------
    log_floor : (o,) log person-hours spent so far
    report_log_density : (o, point) log likelihood of the report when the total is
        floor * exp(more), for `more` in `MORE_GRID`; zeros where nothing was reported
    """

    log_floor: np.ndarray
    report_log_density: np.ndarray


def beyond_belief(luck: np.ndarray) -> np.ndarray:
    """Which totals on the grid are never believed of a task under way: (..., point) of its luck.

    Both three spreads above expectation and four times what was spent so far. Without an end, a heavy
    tail would have a task that ran over its plan go on for years.
    """
    return (luck > 3.0) & (_FOUR_TIMES < MORE_GRID)
