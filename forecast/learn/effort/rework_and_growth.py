"""Work on top of first-time work on the planned tasks: rework, work outside the plan, growth.

rework    part of a task is redone with some chance; the part is a share of its first-time hours; some of it
          is found only when more work has been done, and reopens a task that was called done
outside   days with work outside the plan come at some rate per person-hour of planned work
growth    days on which tasks are added to the plan come at some rate per person-hour of planned work, which
          may rise along the build; what is added brings additions of its own

Rework that reopens a task is found while building, so that its delay is counted in person-hours worked since
the task was called done, and what would be found after the last hour is not found at all. Counted in days,
one repair after years would keep every build open for years.

Chances and rates have Beta and Gamma posteriors, so that a short log leaves them uncertain; sizes are
resampled from those seen and a few from the prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from forecast.learn.effort.finished_work import FinishedWork, worked_until
from forecast.learn.effort.priors import ReworkAndGrowthPriors
from forecast.learn.progress import Progress

# Common practice, no source, all of them. Half of the rework is found after the task was called done, some
# four evenings of work later in the median, and sometimes near the end of the build.
_FOUND_LATER = (2.0, 2.0)
_LATER_LOG_HOURS = (np.log(12.0), 1.3)
_SAME_EVENT_DAYS = (
    14  # rework of several finished tasks within a fortnight is one event: an inspection, a misfit
)
_GENERATIONS = 5  # additions to additions to ...: at half an hour added per hour worked, 3 % are left out
_MOST_GROWTH = 0.8  # hours added per hour worked in one generation: more would never end
_RISE_GRID = np.linspace(
    -1.0, 3.0, 17
)  # log of the growth rate at the end of the build over that at its start
_RISE_PRIOR = (0.3, 0.7)  # judgement: wiring and fitting out bring more forgotten work than structure
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
    later_hours : (l,) person-hours worked from then until it was found, of the tasks reopened so far
    batch : mean number of finished tasks that one event reopens
    outside_rate, growth_rate : (s,) days with such work per person-hour of planned work; growth at the start
    growth_rise : (s,) log of the growth rate at the end of the build over that at its start
    progress : share of the planned work that is done, 0 to 1
    outside_hours, growth_hours : person-hours of each such day so far
    rework_share : (s, k) expected rework over first-time hours
    outside_share : (s,) expected hours outside the plan over hours of planned work
    counts : the data behind chances and rates
    priors : priors of all of these
    """

    rework_chance: np.ndarray
    rework_shares: np.ndarray
    later_chance: np.ndarray
    later_hours: np.ndarray
    batch: float
    outside_rate: np.ndarray
    outside_hours: np.ndarray
    growth_rate: np.ndarray
    growth_hours: np.ndarray
    growth_rise: np.ndarray
    progress: float
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
        """(run, task) rework that reopens a finished task, and (run, task) person-hours worked until it does.

        Parameters
        ----------
        rework : (run, task) person-hours of rework
        index : (run,) posterior draw that each run uses
        rng : source of randomness
        """
        later = (rework > 0) & (rng.random(rework.shape) < self.later_chance[index][:, None])
        hours = np.zeros(rework.shape)
        from_prior = np.exp(rng.normal(*_LATER_LOG_HOURS, size=int(later.sum())))
        hours[later] = _seen_or_prior(self.later_hours, from_prior, rng)
        return np.where(later, rework, 0.0), hours

    def draw_reopening(
        self, finished: FinishedWork, ahead: np.ndarray, index: np.ndarray, rng: np.random.Generator
    ) -> np.ndarray:
        """(run, stage) person-hours of rework that will reopen what is finished today.

        A task called done `since` hours of work ago and not reopened so far is reopened within the `ahead`
        hours to come with chance c (F(since + ahead) - F(since)) / (1 - c F(since)), where c is the chance of
        rework found later and F the distribution of the hours until then.

        Parameters
        ----------
        finished : the tasks that are done and were never reopened
        ahead : (run,) person-hours of work to come
        index : (run,) posterior draw that each run uses
        rng : source of randomness
        """
        out = np.zeros((len(ahead), finished.stages))
        if not len(finished.hours):
            return out
        chance = self.rework_chance.mean(axis=0)[finished.type_of] * self.later_chance.mean()
        times = (self.rework_chance.mean(axis=1) * self.later_chance)[index]
        times = times / (self.rework_chance.mean() * self.later_chance.mean())
        grid = np.linspace(0.0, float(ahead.max(initial=1.0)), 25)
        before = self._found_by(finished.since)
        gone = self._found_by(finished.since[:, None] + grid) - before[:, None]
        hazard = chance[:, None] * gone / (1 - chance * before)[:, None]
        share = self.priors.rework_log_share
        typical = float(np.mean(self.rework_shares)) if len(self.rework_shares) else np.exp(share.centre)
        for stage in np.unique(finished.stage_of):
            mine = finished.stage_of == stage
            expected = times * np.interp(ahead, grid, hazard[mine].sum(axis=0)) / self.batch
            hours = float(np.average(finished.hours[mine], weights=hazard[mine, -1] + 1e-12))
            out[:, stage] = _compound(expected, np.empty(0), self.batch * hours * typical, rng)
        return out

    def _found_by(self, hours: np.ndarray) -> np.ndarray:
        """Share of the rework found later that is found within so many person-hours of work."""
        from_prior = ndtr((np.log(np.maximum(hours, 1e-9)) - _LATER_LOG_HOURS[0]) / _LATER_LOG_HOURS[1])
        seen = len(self.later_hours)
        if not seen:
            return np.asarray(from_prior)
        so_far = np.searchsorted(np.sort(self.later_hours), hours, side="right") / seen
        return np.asarray((seen * so_far + _PRIOR_SIZES * from_prior) / (seen + _PRIOR_SIZES))

    def draw_outside(self, worked: np.ndarray, index: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours outside the plan; `worked` (run,) hours of planned work, `index` as above."""
        expected = self.outside_rate[index] * worked
        return _compound(expected, self.outside_hours, self.priors.outside_hours, rng)

    def draw_growth(self, worked: np.ndarray, index: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run,) hours of tasks that will be added; `worked` (run,) hours of planned work."""
        rate = self.growth_rate[index] * _mean_rise(self.growth_rise[index], self.progress, 1.0)
        grown, more = np.zeros(len(worked)), worked
        for _ in range(_GENERATIONS):
            added = _compound(rate * more, self.growth_hours, self.priors.growth_hours, rng)
            more = np.minimum(added, _MOST_GROWTH * more)
            grown = grown + more
        return grown


def _mean_rise(rise: np.ndarray, begin: float, end: float) -> np.ndarray:
    """Mean of exp(rise * p) for p from `begin` to `end`, shares of the build."""
    middle = begin + (end - begin) * (np.arange(9) + 0.5) / 9
    return np.asarray(np.exp(np.multiply.outer(rise, middle)).mean(axis=-1))


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
    shares = np.minimum(rework[redone] / np.maximum(first[redone], 1e-9), _MOST_REWORK)
    share = priors.rework_log_share
    prior_shares = np.exp(rng.normal(share.centre, share.sd, size=(draws, _PRIOR_SIZES)))
    prior_shares = np.minimum(prior_shares, _MOST_REWORK)
    worked = float((first + rework).sum())
    outside = progress.outside.groupby("date")["person_hours"].sum().to_numpy(dtype=float)
    growth = _added_hours(progress, expected_hours)
    hours_later, events = _hours_until_rework(progress)
    later, sooner = int((hours_later > 0).sum()), int((hours_later == 0).sum())
    batch = later / events if events else 1.0
    # Tasks that one inspection reopens say as much about chances as one task does.
    told = (events + sooner) / (later + sooner) if later + sooner else 1.0
    done_share = _share_done(tasks, expected_hours)
    growth_rate, growth_rise = _growth_rates(progress, expected_hours, growth, worked, draws, rng, priors)
    chance = _chances(
        told * np.bincount(type_of, redone, types),
        np.bincount(type_of, could, types) * told,
        draws,
        rng,
        priors,
    )
    outside_rate = _rates(priors.outside_per_hour, len(outside), worked, draws, rng)
    prior_outside = rng.gamma(_SIZE_SHAPE, priors.outside_hours / _SIZE_SHAPE, size=(draws, _PRIOR_SIZES))
    return ReworkAndGrowth(
        rework_chance=chance,
        rework_shares=shares,
        later_chance=rng.spawn(1)[0].beta(
            _FOUND_LATER[0] + told * later, _FOUND_LATER[1] + told * sooner, size=draws
        ),
        later_hours=hours_later[hours_later > 0],
        batch=batch,
        outside_rate=outside_rate,
        outside_hours=outside,
        growth_rate=growth_rate,
        growth_hours=growth,
        growth_rise=growth_rise,
        progress=done_share,
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


def _hours_until_rework(progress: Progress) -> tuple[np.ndarray, int]:
    """(redone task,) person-hours worked from the day it was first called done until its rework, and events.

    0 for a task that was reworked before it was called done. Tasks reopened within a fortnight from the first
    of them are one event.
    """
    every = progress.sessions
    rows = every.loc[every["task"] != ""]
    redone = rows.loc[rows["rework"]].groupby("task")["date"].min()
    called_done = rows.loc[rows["done"]].groupby("task")["until"].min().reindex(redone.index)
    later = (called_done < redone).to_numpy(dtype=bool)
    worked = worked_until(every)
    day_before = (redone - pd.Timedelta(days=1)).to_numpy()
    hours = np.zeros(len(redone))
    hours[later] = worked(day_before[later]) - worked(called_done.to_numpy()[later])
    return np.where(later, np.maximum(hours, 0.1), 0.0), _count_events(redone.to_numpy()[later])


def _count_events(days: np.ndarray) -> int:
    """Number of fortnights that cover the days; each begins with a day that the one before leaves out.

    Chained by their gaps instead, rework found every week of a year would be one event.
    """
    events, until = 0, None
    for day in np.sort(days):
        if until is None or day > until:
            events, until = events + 1, day + np.timedelta64(_SAME_EVENT_DAYS, "D")
    return events


def _share_done(tasks: pd.DataFrame, expected_hours: np.ndarray) -> float:
    """Share of the hours of the plan as it is now that is done."""
    done = np.where(tasks["done"], expected_hours, np.minimum(tasks["hours_first"], expected_hours))
    return float(done.sum() / max(float(expected_hours.sum()), 1e-9))


def _growth_rates(
    progress: Progress,
    expected_hours: np.ndarray,
    growth: np.ndarray,
    worked: float,
    draws: int,
    rng: np.random.Generator,
    priors: ReworkAndGrowthPriors,
) -> tuple[np.ndarray, np.ndarray]:
    """(draw,) rate of growth at the start of the build, and how much it rises until its end.

    Days with additions are a Poisson process over person-hours worked, with rate r exp(rise p) at share p of
    the build. Given the rise, r is Gamma; the rise is integrated on a grid.
    """
    at = _places_of_growth(progress, expected_hours)
    so_far = _share_done(progress.tasks, expected_hours)
    shape, hours = priors.growth_per_hour
    exposure = hours + worked * _mean_rise(_RISE_GRID, 0.0, so_far)
    log_weight = _RISE_GRID * at.sum() - (shape + len(at)) * np.log(exposure)
    log_weight -= 0.5 * ((_RISE_GRID - _RISE_PRIOR[0]) / _RISE_PRIOR[1]) ** 2
    weight = np.exp(log_weight - log_weight.max())
    which = rng.choice(len(_RISE_GRID), size=draws, p=weight / weight.sum())
    return rng.gamma(shape + len(growth), size=draws) / exposure[which], _RISE_GRID[which]


def _places_of_growth(progress: Progress, expected_hours: np.ndarray) -> np.ndarray:
    """(day,) share of the build that was done on each day on which tasks were added."""
    if progress.started is None:
        return np.empty(0)
    added = progress.tasks["added"]
    days = np.unique(added[added > pd.Timestamp(progress.started)].to_numpy())
    worked = worked_until(progress.sessions)(days)
    so_far = _share_done(progress.tasks, expected_hours)
    return np.asarray(so_far * worked / max(float(progress.sessions["person_hours"].sum()), 1e-9))


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
