"""Which days of a worked week see a session, and how the week's hours fall on them.

    chance of a session on a day of kind k | the week has H hours
        = logistic(logit habit[k] + stretch (log H - log of the usual H))

A kind of day that was never worked stays so; a fuller week spreads over more days. The hours are split
over the days in proportion to gamma-distributed session lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logit

import forecast.learn.bench_time.priors as priors
from forecast.learn.bench_time.history import History
from forecast.learn.bench_time.logistic import logistic_posterior

# Judgements: twice the hours, twice the odds of each day; sessions by weekday differ in length only once some
# weeks of log show it.
_STRETCH, _STRETCH_SD = 1.0, 0.5
_LENGTH_PRIOR_DAYS = 8.0


@dataclass(frozen=True, kw_only=True)
class Habit:
    """Posterior of the days of the week.

    Attributes
    ----------
    worked, idle : (7,) Beta parameters of the chance that a day of this kind in a worked week has a
        session, Monday to Sunday
    stretch, stretch_sd : slope of that chance's logit on the log of the week's hours
    usual_log_hours : mean log of the weekly hours of a worked week
    length : (7,) hours of a session on a day of this kind, relative to the others
    longest_day : no day gets more clock hours than this
    observed : number of weeks used
    """

    worked: np.ndarray
    idle: np.ndarray
    stretch: float
    stretch_sd: float
    usual_log_hours: float
    length: np.ndarray
    longest_day: float
    observed: int

    @property
    def chance(self) -> np.ndarray:
        """(7,) chance that a day of this kind in a worked week has a session."""
        return np.asarray(self.worked / (self.worked + self.idle))

    def sample(self, draws: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
        """(draw, 7) odds of a session by kind of day, and (draw,) stretch, by name."""
        # Odds of a day never or always worked stay finite.
        chance = np.clip(rng.beta(self.worked, self.idle, size=(draws, 7)), 1e-9, 1 - 1e-9)
        stretch = np.maximum(self.stretch + self.stretch_sd * rng.standard_normal(draws), 0.0)
        return {"odds": chance / (1 - chance), "stretch": stretch}


def fit_habit(history: History, prior: priors.BenchPriors = priors.BUILT_IN) -> Habit:
    """Fit the habit to the worked weeks.

    Parameters
    ----------
    history : the log as days; weeks with a row over several days are left out, for want of weekdays
    prior : of the chance of each weekday, and of the usual hours
    """
    day_chance = np.array(prior.day_chance)
    days = history.household.reshape(-1, 7)
    week_hours = days.sum(axis=1)
    kinds = history.kinds.reshape(-1, 7)
    free = (history.open_days & history.known).reshape(-1, 7)
    usable = (week_hours > 0) & ~history.spread.reshape(-1, 7).any(axis=1)
    age = np.arange(history.weeks)[::-1]
    weight = np.where(usable, 0.5 ** (age / priors.HABIT_HALF_LIFE_WEEKS), 0.0)
    seen = weight[:, None] * free
    came = days > 0
    worked = _by_kind(kinds, seen * came) + prior.day_weeks * day_chance
    idle = _by_kind(kinds, seen * ~came) + prior.day_weeks * (1 - day_chance)
    usual = float(np.log(week_hours[usable]).mean()) if usable.any() else prior.weekly_log_hours
    stretch, stretch_sd = _fit_stretch(
        came, kinds, free & usable[:, None], np.log(np.where(usable, week_hours, 1.0)) - usual, worked, idle
    )
    return Habit(
        worked=worked,
        idle=idle,
        stretch=stretch,
        stretch_sd=stretch_sd,
        usual_log_hours=usual,
        length=_relative_length(days, kinds, seen * came),
        longest_day=float(max(priors.LONGEST_DAY_HOURS, days[usable].max(initial=0.0))),
        observed=int(usable.sum()),
    )


def _by_kind(kinds: np.ndarray, values: np.ndarray) -> np.ndarray:
    """(7,) sum of the values by kind of day."""
    return np.asarray(np.bincount(kinds.ravel(), weights=values.ravel(), minlength=7), dtype=float)


def _fit_stretch(
    came: np.ndarray,
    kinds: np.ndarray,
    used: np.ndarray,
    excess: np.ndarray,
    worked: np.ndarray,
    idle: np.ndarray,
) -> tuple[float, float]:
    """Mean and sd of the slope, given the mean habit."""
    mean, covariance, _ = logistic_posterior(
        np.broadcast_to(excess[:, None], used.shape)[used][:, None],
        came[used].astype(float),
        np.array([_STRETCH]),
        np.array([_STRETCH_SD]),
        offset=logit(worked / (worked + idle))[kinds[used]],
    )
    return float(mean[0]), float(covariance[0, 0] ** 0.5)


def _relative_length(days: np.ndarray, kinds: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(7,) mean session hours by kind of day over the mean of all, shrunk towards 1."""
    total = float((days * weight).sum())
    if total <= 0:
        return np.ones(7)
    mean = total / float(weight.sum())
    hours, count = _by_kind(kinds, days * weight), _by_kind(kinds, weight)
    return np.asarray((hours + _LENGTH_PRIOR_DAYS * mean) / (count + _LENGTH_PRIOR_DAYS) / mean)
