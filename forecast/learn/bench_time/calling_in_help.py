"""How many days two-person work waits before somebody who builds alone calls in a second pair of hands.

On each day at the bench since such work could have been started, a visitor came or did not. Up to some
number of days visitors come by chance; after it they are called, and nearly always come. That number is
weighed on a grid by how well it explains the days of the log, with both chances integrated out
(Beta-binomial, in closed form).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betaln

import forecast.learn.bench_time.priors as priors
from forecast.files.plan import Delivery, Plan
from forecast.learn.bench_time.history import History
from forecast.learn.progress import Progress
from forecast.learn.task_windows import workable_since

# Steps of 19 %, from two days (any wait at all) to five years (never).
_GRID = np.geomspace(2.0, 2000.0, 40)
_STEP = float(np.log(_GRID[1] / _GRID[0]))
_COMES_WHEN_CALLED = (9.0, 1.0)  # Beta prior, mean nine days in ten; an assumption


@dataclass(frozen=True, kw_only=True)
class CallingIn:
    """Posterior of the days until a call.

    Attributes
    ----------
    weight : (grid,) posterior weight of each number of days
    came, alone : (grid,) days with and without a visitor (recent ones weigh more) on which, given that
        number, one had been called
    observed : days at the bench on which two-person work waited and there was other work
    """

    weight: np.ndarray
    came: np.ndarray
    alone: np.ndarray
    observed: int

    @property
    def days(self) -> tuple[float, float, float]:
        """Quantiles of the days at 10, 50 and 90 %."""
        at = np.searchsorted(np.cumsum(self.weight), [0.1, 0.5, 0.9])
        low, middle, high = _GRID[np.minimum(at, len(_GRID) - 1)]
        return float(low), float(middle), float(high)

    def sample(
        self, draws: int, visits: tuple[float, float] | None, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """(draw,) days until a call, and (draw,) chance of a visitor who was not called.

        Parameters
        ----------
        draws : number of draws
        visits : Beta parameters of the chance of any visitor, called or not; None = nobody comes
        rng : source of randomness
        """
        which, within, chance = rng.spawn(3)
        at = which.choice(len(_GRID), size=draws, p=self.weight)
        days = _GRID[at] * np.exp(_STEP * within.uniform(-0.5, 0.5, draws))
        if visits is None:
            return days, np.zeros(draws)
        return days, chance.beta(visits[0] - self.came[at], visits[1] - self.alone[at])


def fit_calling_in(
    history: History,
    fade: np.ndarray,
    progress: Progress,
    plan: Plan | None,
    deliveries: Sequence[Delivery],
    visits: tuple[float, float] | None,
) -> CallingIn:
    """Fit to the days of somebody who builds alone; for anybody else, the prior.

    Parameters
    ----------
    history : the log as days
    fade : (day,) weight of each day of `history`
    progress, plan, deliveries : determine which work could be started on which day
    visits : Beta parameters of the chance of any visitor, prior and days together
    """
    prior = np.exp(-0.5 * (np.log(_GRID / priors.CALL_DAYS) / priors.CALL_LOG_SD) ** 2)
    nothing = np.zeros(len(_GRID))
    if visits is None or len(history.people) > 1:
        return CallingIn(weight=prior / prior.sum(), came=nothing, alone=nothing, observed=0)
    days = np.flatnonzero(history.household > 0)
    waited = _waited(np.datetime64(history.origin, "D") + days, progress, plan, deliveries)
    tells = waited >= 0
    days, waited = days[tells], waited[tells]
    called = waited[None, :] >= _GRID[:, None]
    visited = history.helper_hours[days] > 0
    came, alone = called @ (fade[days] * visited), called @ (fade[days] * ~visited)
    log_weight = np.log(prior) + betaln(visits[0] - came, visits[1] - alone)
    log_weight += betaln(_COMES_WHEN_CALLED[0] + came, _COMES_WHEN_CALLED[1] + alone)
    weight = np.exp(log_weight - log_weight.max())
    return CallingIn(weight=weight / weight.sum(), came=came, alone=alone, observed=len(days))


def _waited(
    days: np.ndarray, progress: Progress, plan: Plan | None, deliveries: Sequence[Delivery]
) -> np.ndarray:
    """(day,) days that the first two-person task had waited; -1 with none, or without other work."""
    begin, end = workable_since(progress, plan, deliveries)
    for_two = (progress.tasks["crew"] == "two").to_numpy(dtype=bool)
    can = (begin <= days[:, None]) & (end >= days[:, None])
    waits, other = can & for_two, (can & ~for_two).any(axis=1)
    tells = waits.any(axis=1) & other
    since = np.maximum(begin, days[0])[waits.argmax(axis=1)] if len(days) else days
    return np.where(tells, (days - since) / np.timedelta64(1, "D"), -1.0)
