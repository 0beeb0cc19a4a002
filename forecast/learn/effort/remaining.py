"""The hours still to do on each open task, drawn for every run.

Each run uses one posterior draw for all its tasks; then the drift is carried forward over the open
positions, and each task gets its own residual: that of a finished task or, while few are finished, a draw
from the fitted tail.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EXCESS, LOG_EXCESS, EffortDraws, OpenEvidence, implausible_totals

# Judgements: they bound what a heavy tail may do to a single task, and matter in few runs.
_TAIL_WORTH = 20.0  # weight of the fitted tail, in residuals of finished tasks
_OTHER_TYPES_WORTH = 10.0  # weight of the residuals of all types, in residuals of the type itself
_LARGEST_RESIDUAL = 3.0  # in units of the spread
_LOG_BOUNDS = (-4.0, 3.0)  # no task takes more than 20 times what was expected
_LEAST_LEFT = 0.02  # person-hours: even the last minute of a task has to be worked


@dataclass(frozen=True, kw_only=True)
class RemainingWork:
    """Person-hours still to do.

    Attributes
    ----------
    tasks : ids of the open tasks, in plan order
    hours : (run, task) person-hours, rework included and a share of the work outside the plan and of the
        tasks not yet planned
    parts : name -> (run,) person-hours: planned, rework, outside, growth
    reopening_hours : (run, task) of the hours, rework that is found after the task was called done and
        reopens it when `reopening_after_hours` (run, task) person-hours more have been worked
    shared_penalty : person-hours of a task that two share throughout, as a multiple of `hours`, which
        already include the usual share of joint work
    """

    tasks: tuple[str, ...]
    hours: np.ndarray
    parts: dict[str, np.ndarray]
    reopening_hours: np.ndarray
    reopening_after_hours: np.ndarray
    shared_penalty: float

    @cached_property
    def expected_hours(self) -> np.ndarray:
        """(task,) mean over the runs, which the builders plan with."""
        return np.asarray(self.hours.mean(axis=0))


def range_shares(parts: dict[str, np.ndarray]) -> dict[str, float]:
    """Share of each part in the variance of their total: its covariance with the total over the variance.

    The shares add up to 1; a part that tends to be large when the others are small has a negative share.

    Parameters
    ----------
    parts : name -> (run,) person-hours that add up to the total

    Examples
    --------
    >>> parts = {"planned": np.array([-2.0, 2.0, -2.0, 2.0]), "rework": np.array([-1.0, -1.0, 1.0, 1.0])}
    >>> range_shares(parts)
    {'planned': 0.8, 'rework': 0.2}
    """
    total = np.sum(list(parts.values()), axis=0)
    variance = float(np.var(total))
    if variance == 0:
        return dict.fromkeys(parts, 0.0)
    deviation = total - total.mean()
    return {name: float(np.mean(hours * deviation)) / variance for name, hours in parts.items()}


def draw_first_time_hours(
    design: EffortDesign,
    posterior: EffortDraws,
    evidence: OpenEvidence,
    index: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, open task) total first-time person-hours of each open task, hours so far included.

    Parameters
    ----------
    design : arrays of all tasks
    posterior : draws of the model
    evidence : floors and reports of the tasks under way
    index : (run,) posterior draw that each run uses
    rng : source of randomness
    """
    rows = design.open_rows
    mean = design.offset[rows] + _means(design, posterior, rows)[index]
    mean += _drift(design, posterior, index, rows, rng)
    spread = _spreads(design, posterior, rows)[index]
    type_of, seen_type = design.type_of[rows], design.type_of[posterior.rows]
    residual = _residuals(posterior, index, type_of, seen_type, rng)
    log_hours = mean + np.clip(spread * residual, *_LOG_BOUNDS)
    begun = design.under_way[rows]
    if begun.any():
        log_hours[:, begun] = _above_floor(
            mean[:, begun], spread[:, begun], posterior.tail[index], evidence, rng
        )
    reopened = design.reopened[rows]
    log_hours[:, reopened] = design.log_hours[rows][reopened]
    return np.exp(log_hours)


def expected_first_time_hours(
    design: EffortDesign, posterior: EffortDraws, rng: np.random.Generator
) -> np.ndarray:
    """(draw, task) expected first-time hours of every task, finished or not.

    What a task of this kind takes on average under each posterior draw, not what this one took.

    Parameters
    ----------
    design : arrays of all tasks
    posterior : draws of the model
    rng : source of the drift beyond the last task worked on
    """
    rows = np.arange(len(design.tasks))
    index = np.arange(posterior.count)
    mean = design.offset + _means(design, posterior, rows) + _drift(design, posterior, index, rows, rng)
    return np.exp(mean) * _mean_factor(posterior, _spreads(design, posterior, rows))


def _mean_factor(posterior: EffortDraws, spread: np.ndarray) -> np.ndarray:
    """(draw, task) mean of exp(spread * residual), interpolated on a grid of spreads."""
    # Spreads reach 2.2 at most: points of the grid lie 0.1 apart, and so do those of the tail.
    grid = np.linspace(0.0, max(float(spread.max(initial=0.0)), 0.1), 24)
    seen = posterior.residual.shape[1]
    share = seen / (seen + _TAIL_WORTH)
    residual = np.zeros((posterior.count, 1))
    if seen:
        residual = np.clip(_centred(posterior.residual), -_LARGEST_RESIDUAL, _LARGEST_RESIDUAL)
    factor = np.stack([share * np.exp(g * residual).mean(axis=1) for g in grid], axis=1)
    points = np.linspace(-_LARGEST_RESIDUAL, _LARGEST_RESIDUAL, 61)
    tail = posterior.tail[:, None]
    weight = (1 + points**2 / tail) ** (-(tail + 1) / 2)
    weight /= weight.sum(axis=1, keepdims=True)
    factor += (1 - share) * weight @ np.exp(np.outer(points, grid))
    place = spread / grid[1]
    below = np.minimum(place.astype(np.int64), len(grid) - 2)
    draw = np.arange(posterior.count)[:, None]
    low, high = factor[draw, below], factor[draw, below + 1]
    return low + (place - below) * (high - low)


def _means(design: EffortDesign, posterior: EffortDraws, rows: np.ndarray) -> np.ndarray:
    """(draw, row) the mean without offset and drift."""
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
    """(draw, row) scale of the residuals."""
    exponent = -posterior.spread_by_size[:, None] * design.size[rows]
    exponent += posterior.unplanned_spread[:, None] * design.unplanned[rows] - design.narrower[rows]
    return posterior.spread[:, design.type_of[rows]] * np.exp(exponent)


def _drift(
    design: EffortDesign,
    posterior: EffortDraws,
    index: np.ndarray,
    rows: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, row) drift at each task's position: estimated where work was done, then carried forward."""
    if not len(rows):
        return np.zeros((len(index), 0))
    block = design.block_of[rows]
    known = np.unique(design.block_of[design.observed_rows])
    step, scale = posterior.drift_step[index] ** design.block_tasks, posterior.drift_scale[index]
    last = int(known[-1]) if len(known) else int(block.min()) - 1
    path = np.zeros((len(index), max(int(block.max()), last) + 1))
    path[:, known] = posterior.drift[index]
    level = posterior.drift[index, -1] if len(known) else scale * rng.standard_normal(len(index))
    noise = scale * np.sqrt(1.0 - step**2)
    for ahead in range(last + 1, path.shape[1]):
        level = step * level + noise * rng.standard_normal(len(index))
        path[:, ahead] = level
    return path[:, block]


def _residuals(
    posterior: EffortDraws,
    index: np.ndarray,
    type_of: np.ndarray,
    seen_type: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, open task) residuals in units of their scale: a finished task's, or a draw from the tail.

    Those of the task's own type first, because their shape is its own: a builder who books the planned
    hours has most of them at the plan and a few far off. In units of that narrow spread the few are
    enormous, so what is borrowed from other types ends where the fitted tail does.

    Parameters
    ----------
    posterior : draws of the model
    index : (run,) posterior draw that each run uses
    type_of : (open task,) index of the type
    seen_type : (row,) the same for the rows seen
    rng : source of randomness
    """
    tail = posterior.tail[index][:, None]
    residual = rng.standard_normal((len(index), len(type_of)))
    residual /= np.sqrt(rng.gamma(tail / 2, size=residual.shape) * 2 / tail)
    np.clip(residual, -_LARGEST_RESIDUAL, _LARGEST_RESIDUAL, out=residual)
    seen = len(seen_type)
    if not seen:
        return residual
    resampled = rng.random(residual.shape) < seen / (seen + _TAIL_WORTH)
    borrowed = _centred(posterior.residual)[index[:, None], rng.integers(seen, size=residual.shape)]
    residual = np.where(resampled, np.clip(borrowed, -_LARGEST_RESIDUAL, _LARGEST_RESIDUAL), residual)
    for kind in np.unique(type_of):
        rows, tasks = np.flatnonzero(seen_type == kind), np.flatnonzero(type_of == kind)
        if len(rows):
            own = _centred(posterior.residual[:, rows])
            which = rng.integers(len(rows), size=(len(index), len(tasks)))
            of_type = rng.random(which.shape) < len(rows) / (len(rows) + _OTHER_TYPES_WORTH)
            residual[:, tasks] = np.where(of_type, own[index[:, None], which], residual[:, tasks])
    return residual


def _centred(residual: np.ndarray) -> np.ndarray:
    """(draw, row) residuals with the same mean over the rows in every draw.

    A draw with a high level leaves low residuals. Resampled as they are, the two would cancel, and with
    them the uncertainty of the level.
    """
    return residual - residual.mean(axis=1, keepdims=True) + residual.mean()


def _above_floor(
    mean: np.ndarray, spread: np.ndarray, tail: np.ndarray, evidence: OpenEvidence, rng: np.random.Generator
) -> np.ndarray:
    """(run, task under way) log totals above the hours so far, weighed by the reports."""
    out = np.empty_like(mean)
    half_step = 0.5 * (LOG_EXCESS[1] - LOG_EXCESS[0])
    for task in range(mean.shape[1]):
        z = (evidence.log_floor[task] + EXCESS - mean[:, task, None]) / spread[:, task, None]
        log_density = -0.5 * (tail[:, None] + 1) * np.log1p(z**2 / tail[:, None])
        log_density += LOG_EXCESS + evidence.report_log_density[task]
        log_density[implausible_totals(z)] = -np.inf
        mass = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
        u = rng.random(len(mean)) * mass[:, -1]
        at = np.minimum((mass < u[:, None]).sum(axis=1), len(EXCESS) - 1)
        log_excess = LOG_EXCESS[at] + rng.uniform(-half_step, half_step, size=len(mean))
        out[:, task] = evidence.log_floor[task] + np.exp(log_excess)
    return out


def hours_left(total_hours: np.ndarray, spent_hours: np.ndarray) -> np.ndarray:
    """(run, open task) first-time hours still to do: total less hours so far, never nothing."""
    return np.maximum(total_hours - spent_hours, _LEAST_LEFT)
