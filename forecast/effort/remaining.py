"""The hours still to do on each open task, drawn for every run.

One posterior draw a run, shared by all its tasks; then the drift is carried forward over the open
positions, and each task gets its own luck: that of a finished task, or one from the learned tail
while few are finished.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.effort.design import EffortDesign
from forecast.effort.draws import LOG_MORE, MORE_GRID, EffortDraws, OpenEvidence

_LUCK_FROM_PRIOR = 20.0  # a prior worth of so many finished tasks' luck
_MOST_LUCK = 3.0
_LEAST_LEFT = 0.02


@dataclass(frozen=True, kw_only=True)
class RemainingWork:
    """Person-hours still to do.

    Attributes
    ----------
    tasks : ids of the open tasks, in plan order
    hours : (run, task) person-hours, with rework and the spread-out work outside the plan and not yet
        planned
    parts : name -> (run,) person-hours: planned, rework, outside, growth
    """

    tasks: tuple[str, ...]
    hours: np.ndarray
    parts: dict[str, np.ndarray]


def draw_first_time_hours(
    design: EffortDesign,
    posterior: EffortDraws,
    evidence: OpenEvidence,
    pick: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, open task) total first-time person-hours of each open task, hours so far included.

    Parameters
    ----------
    design : arrays of all tasks
    posterior : draws of the model
    evidence : floors and reports of the tasks under way
    pick : (run,) which posterior draw each run uses
    rng : source of randomness
    """
    rows = design.open_rows
    mean = design.offset[rows] + _means(design, posterior, rows)[pick]
    mean += _drift_ahead(design, posterior, pick, rows, rng)
    spread = _spreads(design, posterior, rows)[pick]
    log_hours = mean + spread * _luck(posterior, pick, len(rows), rng)
    begun = design.under_way[rows]
    if begun.any():
        log_hours[:, begun] = _above_floor(
            mean[:, begun], spread[:, begun], posterior.tail[pick], evidence, rng
        )
    return np.exp(log_hours)


def _means(design: EffortDesign, posterior: EffortDraws, rows: np.ndarray) -> np.ndarray:
    """(draw, open task) everything in the mean but offset and drift."""
    kind = design.type_of[rows]
    mean = posterior.fixed @ design.fixed[rows].T
    mean += posterior.type_level[:, kind]
    mean += posterior.type_learning[:, kind] * design.log_piece[rows]
    mean += posterior.type_rate[:, kind] * design.unplanned[rows]
    pair = design.pair_of[rows]
    member = pair >= 0
    mean[:, member] += posterior.pair[:, pair[member]]
    return mean


def _spreads(design: EffortDesign, posterior: EffortDraws, rows: np.ndarray) -> np.ndarray:
    """(draw, open task) scale of the luck."""
    exponent = -posterior.spread_by_size[:, None] * design.size[rows]
    exponent += posterior.unplanned_spread[:, None] * design.unplanned[rows]
    return posterior.spread[:, design.type_of[rows]] * np.exp(exponent)


def _drift_ahead(
    design: EffortDesign,
    posterior: EffortDraws,
    pick: np.ndarray,
    rows: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, open task) the common level where each open task will be worked, block after block."""
    if not len(rows):
        return np.zeros((len(pick), 0))
    block = design.block_of[rows]
    observed = design.observed_rows
    last = int(design.block_of[observed].max()) if len(observed) else int(block.min()) - 1
    step, scale = posterior.drift_step[pick], posterior.drift_scale[pick]
    level = posterior.level_now[pick]
    if not len(observed):
        level = scale * rng.standard_normal(len(pick))
    noise = scale * np.sqrt(1.0 - step**2)
    path = np.empty((len(pick), max(int(block.max()) - last, 0) + 1))
    path[:, 0] = level
    for ahead in range(1, path.shape[1]):
        path[:, ahead] = step * path[:, ahead - 1] + noise * rng.standard_normal(len(pick))
    return path[:, np.maximum(block - last, 0)]


def _luck(posterior: EffortDraws, pick: np.ndarray, tasks: int, rng: np.random.Generator) -> np.ndarray:
    """(run, open task) luck in units of its scale: a finished task's, or a draw from the tail."""
    tail = posterior.tail[pick][:, None]
    luck = rng.standard_normal((len(pick), tasks))
    luck /= np.sqrt(rng.gamma(tail / 2, size=luck.shape) * 2 / tail)
    np.clip(luck, -2 * _MOST_LUCK, _MOST_LUCK, out=luck)
    seen = posterior.residual.shape[1]
    if not seen:
        return luck
    centred = posterior.residual - posterior.residual.mean(axis=1, keepdims=True) + posterior.residual.mean()
    from_seen = rng.random(luck.shape) < seen / (seen + _LUCK_FROM_PRIOR)
    which = rng.integers(seen, size=luck.shape)
    return np.where(from_seen, centred[pick[:, None], which], luck)


def _above_floor(
    mean: np.ndarray, spread: np.ndarray, tail: np.ndarray, evidence: OpenEvidence, rng: np.random.Generator
) -> np.ndarray:
    """(run, task under way) log totals above the hours so far, in tune with what was reported."""
    out = np.empty_like(mean)
    half_step = 0.5 * (LOG_MORE[1] - LOG_MORE[0])
    for task in range(mean.shape[1]):
        z = (evidence.log_floor[task] + MORE_GRID - mean[:, task, None]) / spread[:, task, None]
        log_density = -0.5 * (tail[:, None] + 1) * np.log1p(z**2 / tail[:, None])
        log_density += LOG_MORE + evidence.report_log_density[task]
        mass = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
        u = rng.random(len(mean)) * mass[:, -1]
        at = np.minimum((mass < u[:, None]).sum(axis=1), len(MORE_GRID) - 1)
        more = np.exp(LOG_MORE[at] + rng.uniform(-half_step, half_step, size=len(mean)))
        out[:, task] = evidence.log_floor[task] + more
    return out


def hours_left(total_hours: np.ndarray, begun_hours: np.ndarray) -> np.ndarray:
    """(run, open task) first-time hours still to do: the total less what was spent, never nothing."""
    return np.maximum(total_hours - begun_hours, _LEAST_LEFT)
