"""Coming weeks, drawn: worked or silent, and how many hours.

Weeks are drawn in blocks, each from its own stream, so that a longer horizon keeps the first weeks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.bench_time.level import LevelDraws
from forecast.bench_time.silences import ChainDraws, given_nothing_yet


@dataclass(kw_only=True)
class WeekState:
    """Where each draw stands: (draw,) silent weeks so far (0 = the last was worked) and level."""

    silent: np.ndarray
    x: np.ndarray


@dataclass(frozen=True, kw_only=True)
class CurrentWeek:
    """The week of `as_of` when it is not over: was it worked yet, and can it still become so.

    `chance_of_later` is the chance that a worked week has all its sessions in the days left.
    """

    worked: bool
    chance_of_later: np.ndarray


def play_weeks(
    state: WeekState,
    chain: ChainDraws,
    level: LevelDraws,
    open_weeks: np.ndarray,
    waves: np.ndarray,
    most_hours: float,
    rng: np.random.Generator,
    current: CurrentWeek | None = None,
) -> np.ndarray:
    """(draw, week) clock hours, 0 in silent weeks; `state` moves on.

    Parameters
    ----------
    open_weeks : (week,) False where nobody can come: the chain stands still, nothing is worked
    waves : (week, 2) the waves of the year, or (week, 0)
    most_hours : no week has more
    current : set when the first week is the rest of a week that has begun
    """
    draws, weeks = len(state.x), len(open_weeks)
    u = rng.random((weeks, draws))
    z = rng.standard_normal((weeks, draws))
    worked = np.zeros((weeks, draws), dtype=bool)
    x = np.empty((weeks, draws))
    for t in range(weeks):
        # The level of a week that has begun is known as well as it can be already.
        if t or current is None:
            state.x = level.keep * state.x + level.move * z[t]
        x[t] = state.x
        if not open_weeks[t]:
            continue
        chance = chain.chance_worked(state.silent, state.x, waves[t])
        if t == 0 and current is not None:
            chance = np.ones(draws) if current.worked else given_nothing_yet(chance, current.chance_of_later)
        worked[t] = u[t] < chance
        state.silent = np.where(worked[t], 0.0, state.silent + 1.0)
    mean = np.exp(level.mean + waves @ level.season.T + x)
    hours = mean * rng.standard_gamma(level.shape, (weeks, draws)) / level.shape
    return np.asarray(np.where(worked, np.minimum(hours, most_hours), 0.0).T.astype(np.float32))
