"""Likelihood of the shared effects in one build, apart from any prior: what pooling adds up.

With scales, spreads and tails at their posterior means, the log likelihood of the effects b is quadratic,
-b' P b / 2 + h' b, with what only this build can share (drift, pairs, rates without a plan) integrated
out. P and h of many builds can be added up, or pooled (forecast/many).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EffortDraws
from forecast.learn.effort.priors import DRIFT_TASKS
from forecast.learn.effort.regression import Regression, build_regression

# The cost of two on one task is not pooled: tasks that run long attract more visitors, so a log shows more
# than sharing causes, and many logs would show that with false certainty.
SHARED = ("level", "size_slope", "learning", "learning_between_types", "repeat")


@dataclass(frozen=True, kw_only=True)
class EffortEvidence:
    """Likelihood of the effects of one build, and posterior means of spreads and scales.

    Attributes
    ----------
    effects : (p,) of (kind, type): kind one of `SHARED` with a blank type, or type_level, type_learning
    precision, pull : (p, p) and (p,): P and h above, of the effects themselves (nothing subtracted)
    finished : type -> number of finished tasks
    log_spread, spread_by_size : posterior mean and sd of the mean log spread and of its slope on size
    scales : name -> posterior mean of the standard deviation of pairs and of the drift
    """

    effects: tuple[tuple[str, str], ...]
    precision: np.ndarray
    pull: np.ndarray
    finished: dict[str, int]
    log_spread: tuple[float, float]
    spread_by_size: tuple[float, float]
    scales: dict[str, float]


def evidence_of(design: EffortDesign, posterior: EffortDraws) -> EffortEvidence:
    """Likelihood of the finished tasks; tasks under way are left out.

    Parameters
    ----------
    design : arrays of all tasks
    posterior : draws of the model fitted to them
    """
    regression = build_regression(design)
    count = len(regression.rows) - regression.open_count
    columns, effects = _pooled_effects(design, regression)
    x, nuisance = regression.x[:count, columns], _nuisance(design, regression, posterior, count)
    own = regression.x[:count, regression.slices["fixed"]][:, ~_shared(design)]
    prior_mean = regression.centre[regression.slices["fixed"]][~_shared(design)]
    y = regression.y[:count] + design.pooled_offset[regression.rows[:count]] - own @ prior_mean
    weight = _weights(regression, posterior, count)
    precision, pull = marginal(x, y, weight, *nuisance)
    finished = np.bincount(regression.type_of[:count], minlength=len(design.types))
    spread = np.log(posterior.spread[:, finished > 0]) if count else np.log(posterior.spread)
    return EffortEvidence(
        effects=effects,
        precision=precision,
        pull=pull,
        finished={t: int(n) for t, n in zip(design.types, finished, strict=True) if n},
        log_spread=_mean_sd(spread.mean(axis=1)),
        spread_by_size=_mean_sd(posterior.spread_by_size),
        scales={
            "pair": float(posterior.scales["pair"].mean()),
            "drift": float(posterior.drift_scale.mean()),
        },
    )


def marginal(
    x: np.ndarray, y: np.ndarray, weight: np.ndarray, nuisance: np.ndarray, prior_precision: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Precision (p, p) and pull (p,) of the effects of `x`, those of `nuisance` integrated out.

    Parameters
    ----------
    x : (row, p) columns
    y : (row,) responses
    weight : (row,) inverse variances
    nuisance : (row, q) columns of the effects that are integrated out
    prior_precision : (q, q) prior precision of those effects

    Examples
    --------
    Four rows of one effect, and a nuisance effect that its prior fixes at 0:

    >>> ones = np.ones((4, 1))
    >>> marginal(ones, np.full(4, 2.0), np.full(4, 0.5), ones, np.array([[1e12]]))[0].round(6).tolist()
    [[2.0]]
    """
    weighted = x * weight[:, None]
    cross = nuisance.T @ weighted
    solved = np.linalg.solve(nuisance.T @ (nuisance * weight[:, None]) + prior_precision, cross)
    precision = x.T @ weighted - cross.T @ solved
    pull = weighted.T @ y - solved.T @ (nuisance.T @ (weight * y))
    return (precision + precision.T) / 2, pull


def _shared(design: EffortDesign) -> np.ndarray:
    """(f,) True for the effects that builds have in common."""
    return np.array([name in SHARED for name in design.fixed_names])


def _pooled_effects(
    design: EffortDesign, regression: Regression
) -> tuple[np.ndarray, tuple[tuple[str, str], ...]]:
    """Columns of the effects that builds have in common, and the name and type of each."""
    columns = np.flatnonzero(_shared(design)).tolist()
    effects = [(design.fixed_names[i], "") for i in columns]
    for group in ("level", "learning"):
        start = regression.slices[group].start
        for i, kind in enumerate(regression.types_of[group]):
            columns.append(start + i)
            effects.append((f"type_{group}", design.types[kind]))
    return np.array(columns), tuple(effects)


def _nuisance(
    design: EffortDesign, regression: Regression, posterior: EffortDraws, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Columns of the effects that only this build has, and their prior precision."""
    from scipy.linalg import block_diag

    r = regression
    own = ~_shared(design)
    rate, drift = r.x[:count, r.slices["rate"]], r.x[:count, r.slices["drift"]]
    pair = (r.pair_of[:count, None] == np.arange(design.pairs)).astype(float)
    step = np.exp(-1.0 / np.median(-1.0 / np.log(posterior.drift_step)))
    length = int(np.argmin(np.abs(np.exp(-1.0 / DRIFT_TASKS) - step)))
    parts = [
        (r.x[:count, r.slices["fixed"]][:, own], np.diag(r.fixed_precision[own])),
        (rate, np.eye(rate.shape[1]) / np.median(posterior.scales["rate"]) ** 2),
        (drift, r.drift_precision[length] / np.median(posterior.drift_scale) ** 2),
        (pair, np.eye(design.pairs) / np.median(posterior.scales["pair"]) ** 2),
    ]
    full = [(x, p) for x, p in parts if x.shape[1]]
    return np.column_stack([x for x, _ in full]), np.asarray(block_diag(*[p for _, p in full]))


def _weights(regression: Regression, posterior: EffortDraws, count: int) -> np.ndarray:
    """(row,) expected inverse variance of the finished tasks."""
    r = regression
    by_size = posterior.spread_by_size[:, None] * r.size[:count]
    unplanned = posterior.unplanned_spread[:, None] * r.unplanned[:count]
    sd = posterior.spread[:, r.type_of[:count]] * np.exp(unplanned - by_size - r.narrower[:count])
    tail = posterior.tail[:, None]
    mix = (tail + 1.0) / (tail + posterior.residual[:, :count] ** 2)
    return np.asarray((mix / sd**2).mean(axis=0))


def _mean_sd(draws: np.ndarray) -> tuple[float, float]:
    return float(draws.mean()), float(draws.std(ddof=1))
