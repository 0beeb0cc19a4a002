"""What comes on top of first-time work on the planned tasks: rework, work outside the plan, growth.

rework    a task is redone in part with some chance; the part is a share of its first-time hours; some of
          it is found only days after the task was called done, and opens it again
outside   days of work outside the plan come at some rate per person-hour of planned work
growth    days on which tasks are added to the plan come at some rate per person-hour of planned work

Chances and rates are Beta and Gamma posteriors, so that a short log leaves them uncertain; sizes are
those seen, mixed with a few of a prior's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.learn.effort.priors import ReworkAndGrowthPriors
from forecast.learn.progress import Progress

# Common practice, no source: half of the rework is found when the task has been called done, a fortnight
# later in the middle.
_FOUND_LATER = (2.0, 2.0)
_LATER_LOG_DAYS = (np.log(14.0), 0.8)
_TYPES_ALIKE = 10.0  # a type's own chance of rework counts from so many of its tasks
_PRIOR_WORTH = 4  # sizes: as if so many had been seen
_MOST_REWORK = 3.0
_BUNCHING_SD = 0.5  # such work comes in bunches: a rate wanders by this much on the log scale
_ONE_BY_ONE = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkCounts:
    """What was counted: tasks redone of those that could be, and person-hours of planned work."""

    redone: int
    could: int
    worked_hours: float


@dataclass(frozen=True, kw_only=True)
class ReworkAndGrowth:
    """What was learned about the work that no first-time estimate covers; s draws, k types.

    Attributes
    ----------
    rework_chance : (s, k) chance that a task is redone in part
    rework_shares : (r,) rework over first-time hours of the tasks redone so far
    later_chance : (s,) chance that what is redone is found after the task was called done
    later_days : (l,) days from then until it was found, of the tasks opened again so far
    outside_rate, growth_rate : (s,) days with such work per person-hour of planned work
    outside_hours, growth_hours : person-hours of each such day so far
    rework_share : (s, k) rework over first-time hours to be expected
    outside_share : (s,) hours outside the plan over hours of planned work to be expected
    counts : what the chances and rates were learned from
    priors : what was believed before
    """

    rework_chance: np.ndarray
    rework_shares: np.ndarray
    later_chance: np.ndarray
    later_days: np.ndarray
    outside_rate: np.ndarray
    outside_hours: np.ndarray
    growth_rate: np.ndarray
    growth_hours: np.ndarray
    rework_share: np.ndarray
    outside_share: np.ndarray
    counts: ReworkCounts
    priors: ReworkAndGrowthPriors

    def draw_rework(
        self, hours: np.ndarray, type_of: np.ndarray, pick: np.ndarray, rng: np.random.Generator
    ) -> np.ndarray:
        """(run, task) rework that so many first-time hours bring: most tasks none, some much."""
        redone = rng.random(hours.shape) < self.rework_chance[pick][:, type_of]
        out = np.zeros(hours.shape)
        out[redone] = hours[redone] * self.draw_rework_share(int(redone.sum()), rng)
        return out

    def draw_rework_share(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """(count,) rework over first-time hours of tasks that are redone."""
        believed = _believed_shares(self.priors, count, rng)
        return np.minimum(_seen_or_believed(self.rework_shares, believed, rng), _MOST_REWORK)

    def draw_found_later(
        self, rework: np.ndarray, pick: np.ndarray, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """(run, task) rework that opens a finished task again, and the days after which it does."""
        later = (rework > 0) & (rng.random(rework.shape) < self.later_chance[pick][:, None])
        days = np.zeros(rework.shape)
        believed = np.exp(rng.normal(*_LATER_LOG_DAYS, size=int(later.sum())))
        days[later] = _seen_or_believed(self.later_days, believed, rng)
        return np.where(later, rework, 0.0), days

    def draw_outside(self, worked: np.ndarray, pick: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours outside the plan that come with so many hours of planned work."""
        return _compound(self.outside_rate[pick] * worked, self.outside_hours, self.priors.outside_hours, rng)

    def draw_growth(self, worked: np.ndarray, pick: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours of tasks that will be added in so many hours of planned work."""
        return _compound(self.growth_rate[pick] * worked, self.growth_hours, self.priors.growth_hours, rng)


def _believed_shares(
    priors: ReworkAndGrowthPriors, size: int | tuple[int, int], rng: np.random.Generator
) -> np.ndarray:
    share = priors.rework_log_share
    return np.exp(rng.normal(share.centre, share.sd, size=size))


def _compound(expected: np.ndarray, seen: np.ndarray, typical: float, rng: np.random.Generator) -> np.ndarray:
    """(run,) sum of the sizes of a random number of events, of which so many are expected."""
    wander = rng.normal(-0.5 * _BUNCHING_SD**2, _BUNCHING_SD, size=len(expected))
    count = rng.poisson(np.minimum(expected * np.exp(wander), 1e6))
    singly = np.minimum(count, _ONE_BY_ONE)
    run = np.repeat(np.arange(len(count)), singly)
    sizes = _seen_or_believed(seen, rng.gamma(1.5, typical / 1.5, size=len(run)), rng)
    total = np.bincount(run, sizes, minlength=len(count))
    return total * count / np.maximum(singly, 1)


def _seen_or_believed(seen: np.ndarray, believed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    if not len(seen):
        return believed
    from_seen = rng.random(len(believed)) < len(seen) / (len(seen) + _PRIOR_WORTH)
    return np.where(from_seen, seen[rng.integers(len(seen), size=len(believed))], believed)


def fit_rework_and_growth(
    progress: Progress,
    type_of: np.ndarray,
    types: int,
    expected_hours: np.ndarray,
    draws: int,
    rng: np.random.Generator,
    *,
    priors: ReworkAndGrowthPriors,
) -> ReworkAndGrowth:
    """Learn chances, rates and sizes of rework, outside work and growth.

    Parameters
    ----------
    progress : sessions and plan as they stood on one day
    type_of : (task,) index of the type
    types : how many types
    expected_hours : (task,) total first-time person-hours of each task
    draws : how many posterior draws
    rng : source of randomness
    priors : beliefs before the log
    """
    tasks = progress.tasks
    first = tasks["hours_first"].to_numpy(dtype=float)
    again = tasks["hours_rework"].to_numpy(dtype=float)
    redone = (first > 0) & (again > 0)
    could = redone | ((first > 0) & tasks["done"].to_numpy(dtype=bool))
    chance = _chances(
        np.bincount(type_of, redone, types), np.bincount(type_of, could, types), draws, rng, priors
    )
    shares = np.minimum(again[redone] / np.maximum(first[redone], 1e-9), _MOST_REWORK)
    believed = np.minimum(_believed_shares(priors, (draws, _PRIOR_WORTH), rng), _MOST_REWORK)
    worked = float((first + again).sum())
    outside = progress.outside.groupby("date")["person_hours"].sum().to_numpy(dtype=float)
    growth = _added_hours(progress, expected_hours)
    found = _found_later(progress)
    outside_rate = _rates(priors.outside_per_hour, len(outside), worked, draws, rng)
    outside_believed = rng.gamma(1.5, priors.outside_hours / 1.5, size=(draws, _PRIOR_WORTH))
    return ReworkAndGrowth(
        rework_chance=chance,
        rework_shares=shares,
        later_chance=rng.spawn(1)[0].beta(
            _FOUND_LATER[0] + (found > 0).sum(), _FOUND_LATER[1] + (found == 0).sum(), size=draws
        ),
        later_days=found[found > 0],
        outside_rate=outside_rate,
        outside_hours=outside,
        growth_rate=_rates(priors.growth_per_hour, len(growth), worked, draws, rng),
        growth_hours=growth,
        rework_share=chance * _mean_sizes(shares, believed, rng)[:, None],
        outside_share=outside_rate * _mean_sizes(outside, outside_believed, rng),
        counts=ReworkCounts(redone=int(redone.sum()), could=int(could.sum()), worked_hours=worked),
        priors=priors,
    )


def _chances(
    redone: np.ndarray, could: np.ndarray, draws: int, rng: np.random.Generator, priors: ReworkAndGrowthPriors
) -> np.ndarray:
    """(draw, type) chance of rework: a common chance, and each type's own around it."""
    yes, no = priors.rework_chance
    common = rng.beta(yes + redone.sum(), no + (could - redone).sum(), size=(draws, 1))
    return rng.beta(_TYPES_ALIKE * common + redone, _TYPES_ALIKE * (1 - common) + could - redone)


def _found_later(progress: Progress) -> np.ndarray:
    """(task redone,) days from the day it was first called done until it was redone; 0 = it was not yet."""
    rows = progress.sessions.loc[progress.sessions["task"] != ""]
    redone = rows.loc[rows["rework"]].groupby("task")["date"].min()
    called_done = rows.loc[rows["done"]].groupby("task")["until"].min().reindex(redone.index)
    return np.asarray((redone - called_done).dt.days.fillna(0.0).clip(lower=0.0), dtype=float)


def _rates(
    prior: tuple[float, float], events: int, worked: float, draws: int, rng: np.random.Generator
) -> np.ndarray:
    return rng.gamma(prior[0] + events, size=draws) / (prior[1] + worked)


def _mean_sizes(seen: np.ndarray, believed: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draw,) mean size with its uncertainty: a Bayesian bootstrap of those seen and believed."""
    draws = len(believed)
    sizes = np.concatenate([np.broadcast_to(seen, (draws, len(seen))), believed], axis=1)
    weight = rng.exponential(size=sizes.shape)
    return (weight * sizes).sum(axis=1) / weight.sum(axis=1)


def _added_hours(progress: Progress, expected_hours: np.ndarray) -> np.ndarray:
    """(day,) expected hours of the tasks added on each day after the first session."""
    if progress.started is None:
        return np.empty(0)
    added = progress.tasks["added"]
    later = (added > pd.Timestamp(progress.started)).to_numpy(dtype=bool)
    hours = pd.Series(expected_hours[later]).groupby(added.to_numpy()[later]).sum()
    return hours.to_numpy(dtype=float)
