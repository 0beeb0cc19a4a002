"""The hours still to do on each open task, drawn for every run.

One posterior draw a run, shared by all its tasks; then the drift is carried forward over the open
positions, and each task gets its own luck: that of a finished task, or one from the learned tail
while few are finished.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import LOG_MORE, MORE_GRID, EffortDraws, OpenEvidence, beyond_belief

_LUCK_FROM_PRIOR = 20.0  # a prior worth of so many finished tasks' luck
_MOST_LUCK = 3.0
_LUCK_BOUNDS = (-4.0, 3.0)  # on the log scale: no task takes more than 20 times what was expected
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
    reopening_hours : (run, task) of the hours, rework that is found when the task has been called done and
        opens it again `reopening_after_days` days later
    shared_penalty : hours that a task takes when two share all of it, over `hours`, which already hold
        what is shared by habit
    """

    tasks: tuple[str, ...]
    hours: np.ndarray
    parts: dict[str, np.ndarray]
    reopening_hours: np.ndarray
    reopening_after_days: np.ndarray
    shared_penalty: float

    @cached_property
    def expected_hours(self) -> np.ndarray:
        """(task,) mean over the runs: what the builders may reckon with."""
        return np.asarray(self.hours.mean(axis=0))


def range_shares(parts: dict[str, np.ndarray]) -> dict[str, float]:
    """Which part of the range of a total comes from which: covariance with it over its variance.

    The shares add up to 1; a part that tends to be large when the others are small counts below 0.

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
    apart = total - total.mean()
    return {name: float(np.mean(hours * apart)) / variance for name, hours in parts.items()}


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
    mean += _drift(design, posterior, pick, rows, rng)
    spread = _spreads(design, posterior, rows)[pick]
    log_hours = mean + np.clip(spread * _luck(posterior, pick, len(rows), rng), *_LUCK_BOUNDS)
    begun = design.under_way[rows]
    if begun.any():
        log_hours[:, begun] = _above_floor(
            mean[:, begun], spread[:, begun], posterior.tail[pick], evidence, rng
        )
    reopened = design.reopened[rows]
    log_hours[:, reopened] = design.log_hours[rows][reopened]
    return np.exp(log_hours)


def expected_first_time_hours(
    design: EffortDesign, posterior: EffortDraws, rng: np.random.Generator
) -> np.ndarray:
    """(draw, task) first-time hours to be expected of every task, finished or not, luck averaged out.

    What a task of this kind takes under each posterior draw, not what this one took.
    """
    rows = np.arange(len(design.tasks))
    pick = np.arange(posterior.count)
    mean = design.offset + _means(design, posterior, rows) + _drift(design, posterior, pick, rows, rng)
    return np.exp(mean) * _mean_luck(posterior, _spreads(design, posterior, rows))


def _mean_luck(posterior: EffortDraws, spread: np.ndarray) -> np.ndarray:
    """(draw, task) mean of exp(spread * luck), read between points of a grid of spreads."""
    grid = np.linspace(0.0, max(float(spread.max(initial=0.0)), 0.1), 24)
    seen = posterior.residual.shape[1]
    share = seen / (seen + _LUCK_FROM_PRIOR)
    luck = _centred(posterior) if seen else np.zeros((posterior.count, 1))
    factor = np.stack([share * np.exp(g * luck).mean(axis=1) for g in grid], axis=1)
    points = np.linspace(-_MOST_LUCK, _MOST_LUCK, 61)
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


def _drift(
    design: EffortDesign,
    posterior: EffortDraws,
    pick: np.ndarray,
    rows: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """(run, row) common level where each task was or will be worked: as learned, then carried forward."""
    if not len(rows):
        return np.zeros((len(pick), 0))
    block = design.block_of[rows]
    known = np.unique(design.block_of[design.observed_rows])
    step, scale = posterior.drift_step[pick] ** design.block_tasks, posterior.drift_scale[pick]
    last = int(known[-1]) if len(known) else int(block.min()) - 1
    path = np.zeros((len(pick), max(int(block.max()), last) + 1))
    path[:, known] = posterior.drift[pick]
    level = posterior.drift[pick, -1] if len(known) else scale * rng.standard_normal(len(pick))
    noise = scale * np.sqrt(1.0 - step**2)
    for ahead in range(last + 1, path.shape[1]):
        level = step * level + noise * rng.standard_normal(len(pick))
        path[:, ahead] = level
    return path[:, block]


def _luck(posterior: EffortDraws, pick: np.ndarray, tasks: int, rng: np.random.Generator) -> np.ndarray:
    """(run, open task) luck in units of its scale: a finished task's, or a draw from the tail."""
    tail = posterior.tail[pick][:, None]
    luck = rng.standard_normal((len(pick), tasks))
    luck /= np.sqrt(rng.gamma(tail / 2, size=luck.shape) * 2 / tail)
    np.clip(luck, -_MOST_LUCK, _MOST_LUCK, out=luck)
    seen = posterior.residual.shape[1]
    if not seen:
        return luck
    from_seen = rng.random(luck.shape) < seen / (seen + _LUCK_FROM_PRIOR)
    which = rng.integers(seen, size=luck.shape)
    return np.where(from_seen, _centred(posterior)[pick[:, None], which], luck)


def _centred(posterior: EffortDraws) -> np.ndarray:
    """(draw, row) luck of the rows seen, with the same mean in every draw.

    A draw whose level is high has low luck left over; kept, the two would cancel, and with them the
    uncertainty of the level.
    """
    luck = posterior.residual
    return luck - luck.mean(axis=1, keepdims=True) + luck.mean()


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
        log_density[beyond_belief(z)] = -np.inf
        mass = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
        u = rng.random(len(mean)) * mass[:, -1]
        at = np.minimum((mass < u[:, None]).sum(axis=1), len(MORE_GRID) - 1)
        more = np.exp(LOG_MORE[at] + rng.uniform(-half_step, half_step, size=len(mean)))
        out[:, task] = evidence.log_floor[task] + more
    return out


def hours_left(total_hours: np.ndarray, begun_hours: np.ndarray) -> np.ndarray:
    """(run, open task) first-time hours still to do: the total less what was spent, never nothing."""
    return np.maximum(total_hours - begun_hours, _LEAST_LEFT)
