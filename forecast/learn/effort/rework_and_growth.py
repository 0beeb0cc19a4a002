"""Work on top of first-time work on the planned tasks: rework, work outside the plan, growth.

rework    part of a task is redone with some chance; the part is a share of its first-time hours; some of it
          is found only days after the task was called done, and reopens it
outside   days with work outside the plan come at some rate per person-hour of planned work
growth    days on which tasks are added to the plan come at some rate per person-hour of planned work

Chances and rates have Beta and Gamma posteriors, so that a short log leaves them uncertain; sizes are
resampled from those seen and a few from the prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.learn.effort.priors import ReworkAndGrowthPriors
from forecast.learn.progress import Progress

# Common practice, no source, all of them. Half of the rework is found after the task was called done, a
# fortnight later in the median.
_FOUND_LATER = (2.0, 2.0)
_LATER_LOG_DAYS = (np.log(14.0), 0.8)
_COMMON_CHANCE_WORTH = 10.0  # weight of the chance common to all types, in tasks of one type
_PRIOR_SIZES = 4  # weight of the prior's sizes, in sizes seen
_MOST_REWORK = 3.0  # times the first-time hours: whoever redoes more than that plans a new task
_BUNCHING_SD = 0.5  # sd of the log of the rate between runs, since such work comes in bunches
_SIZE_SHAPE = 1.5  # of the Gamma distribution of sizes: between exponential and bell-shaped
_MOST_EVENTS = 1e6  # keeps the Poisson draw within its integers, whatever a short log leaves possible
_DRAWN_SINGLY = 300  # further events get the mean of these sizes: their sum hardly differs, memory does


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkCounts:
    """Counts: tasks redone, tasks that could have been, and person-hours of planned work."""

    redone: int
    could: int
    worked_hours: float


@dataclass(frozen=True, kw_only=True)
class ReworkAndGrowth:
    """Posterior of the work that no first-time estimate covers; s draws, k types.

    Attributes
    ----------
    rework_chance : (s, k) chance that part of a task is redone
    rework_shares : (r,) rework over first-time hours of the tasks redone so far
    later_chance : (s,) chance that rework is found after the task was called done
    later_days : (l,) days from then until it was found, of the tasks reopened so far
    outside_rate, growth_rate : (s,) days with such work per person-hour of planned work
    outside_hours, growth_hours : person-hours of each such day so far
    rework_share : (s, k) expected rework over first-time hours
    outside_share : (s,) expected hours outside the plan over hours of planned work
    counts : the data behind chances and rates
    priors : priors of all of these
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
        self, hours: np.ndarray, type_of: np.ndarray, index: np.ndarray, rng: np.random.Generator
    ) -> np.ndarray:
        """(run, task) person-hours of rework.

        Parameters
        ----------
        hours : (run, task) first-time person-hours
        type_of : (task,) index of the type
        index : (run,) posterior draw that each run uses
        rng : source of randomness
        """
        redone = rng.random(hours.shape) < self.rework_chance[index][:, type_of]
        out = np.zeros(hours.shape)
        out[redone] = hours[redone] * self.draw_rework_share(int(redone.sum()), rng)
        return out

    def draw_rework_share(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """(count,) rework over first-time hours of tasks that are redone."""
        share = self.priors.rework_log_share
        from_prior = np.exp(rng.normal(share.centre, share.sd, size=count))
        return np.minimum(_seen_or_prior(self.rework_shares, from_prior, rng), _MOST_REWORK)

    def draw_found_later(
        self, rework: np.ndarray, index: np.ndarray, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """(run, task) rework that reopens a finished task, and (run, task) days until it does.

        Parameters
        ----------
        rework : (run, task) person-hours of rework
        index : (run,) posterior draw that each run uses
        rng : source of randomness
        """
        later = (rework > 0) & (rng.random(rework.shape) < self.later_chance[index][:, None])
        days = np.zeros(rework.shape)
        from_prior = np.exp(rng.normal(*_LATER_LOG_DAYS, size=int(later.sum())))
        days[later] = _seen_or_prior(self.later_days, from_prior, rng)
        return np.where(later, rework, 0.0), days

    def draw_outside(self, worked: np.ndarray, index: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours outside the plan; `worked` (run,) hours of planned work, `index` as above."""
        expected = self.outside_rate[index] * worked
        return _compound(expected, self.outside_hours, self.priors.outside_hours, rng)

    def draw_growth(self, worked: np.ndarray, index: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours of tasks that will be added; `worked` (run,) hours of planned work."""
        expected = self.growth_rate[index] * worked
        return _compound(expected, self.growth_hours, self.priors.growth_hours, rng)


def _compound(expected: np.ndarray, seen: np.ndarray, typical: float, rng: np.random.Generator) -> np.ndarray:
    """(run,) sum of the sizes of a random number of events: a compound Poisson draw."""
    # exp(log_rate) has mean 1: bunching widens the count and leaves its expectation.
    log_rate = rng.normal(-0.5 * _BUNCHING_SD**2, _BUNCHING_SD, size=len(expected))
    count = rng.poisson(np.minimum(expected * np.exp(log_rate), _MOST_EVENTS))
    singly = np.minimum(count, _DRAWN_SINGLY)
    run = np.repeat(np.arange(len(count)), singly)
    sizes = _seen_or_prior(seen, rng.gamma(_SIZE_SHAPE, typical / _SIZE_SHAPE, size=len(run)), rng)
    total = np.bincount(run, sizes, minlength=len(count))
    return total * count / np.maximum(singly, 1)


def _seen_or_prior(seen: np.ndarray, from_prior: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Replace draws from the prior by resampled data, more of them the more data there are."""
    if not len(seen):
        return from_prior
    resampled = rng.random(len(from_prior)) < len(seen) / (len(seen) + _PRIOR_SIZES)
    return np.where(resampled, seen[rng.integers(len(seen), size=len(from_prior))], from_prior)


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
    """Fit chances, rates and sizes of rework, outside work and growth.

    Parameters
    ----------
    progress : sessions and plan as known on one day
    type_of : (task,) index of the type
    types : number of types
    expected_hours : (task,) total first-time person-hours of each task
    draws : number of posterior draws
    rng : source of randomness
    priors : priors of all of these
    """
    tasks = progress.tasks
    first = tasks["hours_first"].to_numpy(dtype=float)
    rework = tasks["hours_rework"].to_numpy(dtype=float)
    redone = (first > 0) & (rework > 0)
    could = redone | ((first > 0) & tasks["done"].to_numpy(dtype=bool))
    chance = _chances(
        np.bincount(type_of, redone, types), np.bincount(type_of, could, types), draws, rng, priors
    )
    shares = np.minimum(rework[redone] / np.maximum(first[redone], 1e-9), _MOST_REWORK)
    share = priors.rework_log_share
    prior_shares = np.exp(rng.normal(share.centre, share.sd, size=(draws, _PRIOR_SIZES)))
    prior_shares = np.minimum(prior_shares, _MOST_REWORK)
    worked = float((first + rework).sum())
    outside = progress.outside.groupby("date")["person_hours"].sum().to_numpy(dtype=float)
    growth = _added_hours(progress, expected_hours)
    days_later = _days_until_rework(progress)
    outside_rate = _rates(priors.outside_per_hour, len(outside), worked, draws, rng)
    prior_outside = rng.gamma(_SIZE_SHAPE, priors.outside_hours / _SIZE_SHAPE, size=(draws, _PRIOR_SIZES))
    return ReworkAndGrowth(
        rework_chance=chance,
        rework_shares=shares,
        later_chance=rng.spawn(1)[0].beta(
            _FOUND_LATER[0] + (days_later > 0).sum(), _FOUND_LATER[1] + (days_later == 0).sum(), size=draws
        ),
        later_days=days_later[days_later > 0],
        outside_rate=outside_rate,
        outside_hours=outside,
        growth_rate=_rates(priors.growth_per_hour, len(growth), worked, draws, rng),
        growth_hours=growth,
        rework_share=chance * _mean_sizes(shares, prior_shares, rng)[:, None],
        outside_share=outside_rate * _mean_sizes(outside, prior_outside, rng),
        counts=ReworkCounts(redone=int(redone.sum()), could=int(could.sum()), worked_hours=worked),
        priors=priors,
    )


def _chances(
    redone: np.ndarray, could: np.ndarray, draws: int, rng: np.random.Generator, priors: ReworkAndGrowthPriors
) -> np.ndarray:
    """(draw, type) chance of rework: each type's own, around a chance common to all."""
    yes, no = priors.rework_chance
    common = rng.beta(yes + redone.sum(), no + (could - redone).sum(), size=(draws, 1))
    worth = _COMMON_CHANCE_WORTH
    return rng.beta(worth * common + redone, worth * (1 - common) + could - redone)


def _days_until_rework(progress: Progress) -> np.ndarray:
    """(redone task,) days from the day it was first called done until its rework; 0 = reworked before."""
    rows = progress.sessions.loc[progress.sessions["task"] != ""]
    redone = rows.loc[rows["rework"]].groupby("task")["date"].min()
    called_done = rows.loc[rows["done"]].groupby("task")["until"].min().reindex(redone.index)
    return np.asarray((redone - called_done).dt.days.fillna(0.0).clip(lower=0.0), dtype=float)


def _rates(
    prior: tuple[float, float], events: int, worked: float, draws: int, rng: np.random.Generator
) -> np.ndarray:
    return rng.gamma(prior[0] + events, size=draws) / (prior[1] + worked)


def _mean_sizes(seen: np.ndarray, from_prior: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draw,) posterior of the mean size: a Bayesian bootstrap of the sizes seen and of the prior's."""
    draws = len(from_prior)
    sizes = np.concatenate([np.broadcast_to(seen, (draws, len(seen))), from_prior], axis=1)
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
