"""The tasks whose hours are data, as a regression: one row per task, one column per effect.

Columns, in this order: effects shared by all tasks | level of each type seen | its learning | its rate
without a plan | drift in each block of positions. Effects of pairs are kept apart (see posterior.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.learn.effort.censored import Penalty, fit_normal
from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.priors import DRIFT_TASKS, EffortPriors

GROUPS = ("level", "learning", "rate")
_MIDDLE_LENGTH = 2  # where the sampler starts: the third of six lengths, 40 tasks


@dataclass(frozen=True, kw_only=True)
class Regression:
    """m rows (finished tasks first, then those under way), p columns, k types, b blocks of drift.

    Attributes
    ----------
    rows : (m,) positions in the design; the last `open_count` of them are under way
    y : (m,) log hours less offset; for tasks under way a lower bound
    x : (m, p) columns; `slices` maps each group of effects to its columns, `types_of` to its types
    centre : (p,) prior centres; fixed_precision (f,) prior precisions of the shared effects
    drift_precision : (length, b, b) precision of the drift in units of its sd, per correlation length
    """

    rows: np.ndarray
    open_count: int
    y: np.ndarray
    offset: np.ndarray
    x: np.ndarray
    slices: dict[str, slice]
    types_of: dict[str, np.ndarray]
    centre: np.ndarray
    fixed_precision: np.ndarray
    drift_precision: np.ndarray
    type_of: np.ndarray
    seen: np.ndarray
    size: np.ndarray
    narrower: np.ndarray
    unplanned: np.ndarray
    pair_of: np.ndarray

    def precision(self, scale: dict[str, float], length: int) -> tuple[np.ndarray, np.ndarray]:
        """(p,) diagonal of the prior precision, zero at the drift; (b, b) block of the drift."""
        diagonal = np.zeros(len(self.centre))
        diagonal[self.slices["fixed"]] = self.fixed_precision
        for name in GROUPS:
            diagonal[self.slices[name]] = scale[name] ** -2
        return diagonal, self.drift_precision[length] / scale["drift"] ** 2


def build_regression(design: EffortDesign) -> Regression:
    """Regression of the finished tasks and those under way."""
    finished = np.flatnonzero(design.finished & np.isfinite(design.log_hours))
    rows = np.concatenate([finished, np.flatnonzero(design.under_way)])
    types, type_of = len(design.types), design.type_of[rows]
    unplanned, log_piece = design.unplanned[rows].astype(float), design.log_piece[rows]
    seen = np.bincount(type_of, minlength=types)
    known = np.flatnonzero(seen)
    # A type all of whose tasks have the same midpoint, rounding apart, cannot show learning.
    learns = np.bincount(type_of, np.abs(log_piece), types)[known] > 1e-9
    rates = np.bincount(type_of, unplanned, types)[known] > 0
    one_hot = (type_of[:, None] == known).astype(float)
    blocks, block_of = np.unique(design.block_of[rows], return_inverse=True)
    parts = {
        "fixed": design.fixed[rows],
        "level": one_hot,
        "learning": (one_hot * log_piece[:, None])[:, learns],
        "rate": (one_hot * unplanned[:, None])[:, rates],
        "drift": (block_of[:, None] == np.arange(len(blocks))).astype(float),
    }
    ends = np.cumsum([part.shape[1] for part in parts.values()])
    slices = {
        name: slice(int(end) - part.shape[1], int(end))
        for (name, part), end in zip(parts.items(), ends, strict=True)
    }
    centre = np.zeros(ends[-1])
    centre[slices["fixed"]] = [p.centre for p in design.fixed_priors]
    return Regression(
        rows=rows,
        open_count=len(rows) - len(finished),
        y=design.log_hours[rows] - design.offset[rows],
        offset=design.offset[rows],
        x=np.ascontiguousarray(np.column_stack(list(parts.values()))),
        slices=slices,
        types_of={"level": known, "learning": known[learns], "rate": known[rates]},
        centre=centre,
        fixed_precision=np.array([p.sd**-2 for p in design.fixed_priors]),
        drift_precision=_drift_precisions(blocks, design.block_tasks),
        type_of=type_of,
        seen=seen,
        size=design.size[rows],
        narrower=design.narrower[rows],
        unplanned=unplanned,
        pair_of=design.pair_of[rows],
    )


def _drift_precisions(blocks: np.ndarray, block_tasks: int) -> np.ndarray:
    """Precision of a stationary first-order autoregression of unit variance, at the blocks seen."""
    count, gap = len(blocks), np.diff(blocks)
    step = np.exp(-block_tasks * gap / DRIFT_TASKS[:, None])
    noise = 1.0 - step**2
    out = np.zeros((len(DRIFT_TASKS), count, count))
    at = np.arange(count)
    out[:, at, at] = 1.0
    out[:, at[:-1], at[:-1]] += step**2 / noise
    out[:, at[1:], at[1:]] += 1.0 / noise - 1.0
    out[:, at[:-1], at[1:]] = out[:, at[1:], at[:-1]] = -step / noise
    return out


def fit_penalised(regression: Regression, priors: EffortPriors) -> tuple[np.ndarray, float]:
    """(p,) most likely effects at the prior scales, and the spread of the residuals.

    A censored regression with every effect pulled to its prior: where the sampler starts.
    """
    if not len(regression.rows):
        return regression.centre.copy(), float(np.exp(priors.log_spread.centre))
    diagonal, drift = regression.precision(priors.scales, _MIDDLE_LENGTH)
    precision = np.diag(diagonal)
    precision[regression.slices["drift"], regression.slices["drift"]] = drift
    penalty = Penalty(
        centre=regression.centre,
        precision=precision,
        log_scale_centre=priors.log_spread.centre,
        log_scale_sd=priors.log_spread.sd,
    )
    under_way = np.arange(len(regression.rows)) >= len(regression.rows) - regression.open_count
    fit = fit_normal(regression.x, regression.y, under_way, penalty)
    return fit.coefficients, fit.scale


def type_slopes(design: EffortDesign, priors: EffortPriors) -> dict[str, float]:
    """Learning exponent of each type at the penalised fit."""
    regression = build_regression(design)
    effects, _ = fit_penalised(regression, priors)
    own = design.type_learning.copy()
    own[regression.types_of["learning"]] += effects[regression.slices["learning"]]
    slopes = effects[design.fixed_names.index("learning")] + own
    return dict(zip(design.types, slopes.tolist(), strict=True))
