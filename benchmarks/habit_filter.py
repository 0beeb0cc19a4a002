"""A forecaster that is told a builder's habit, and has to find out from the log where the builder stands.

The builders of benchmarks/habits.py have a level that moves and spells that begin and end unseen. This one
knows every trait, as no program can, and follows so many copies of the builder through the log, each day
weighing them by the chance of what was entered (a bootstrap particle filter: Gordon, Salmond and Smith,
IEE Proceedings F 140, 1993). Who reads only the log does no better in the mean.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammainc

from benchmarks.habits import (
    ENTRY_STEPS,
    LEAST_ENTRY,
    MOST_ENTRY,
    SESSION_SHAPE,
    State,
    Traits,
    begin,
    go_on,
    sleep,
    wake,
)

COPIES = 3_000
_EVEN_ENOUGH = 0.5


def told_the_habit(
    traits: Traits, past: np.ndarray, days: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """(draw, day) hours of the days to come, from the (day,) hours of the log.

    Raises
    ------
    RuntimeError when not one of the copies could have written that log.
    """
    state = begin(traits, rng, COPIES)
    log_weight = np.zeros(COPIES)
    for entered in past:
        chance, mean = wake(traits, state, rng)
        log_weight += _log_chance(float(entered), state.on, chance, mean)
        if log_weight.max() == -np.inf:
            raise RuntimeError("No copy of the builder could have written this log: take more of them.")
        weight = _shares(log_weight)
        if 1 / (weight**2).sum() < _EVEN_ENOUGH * COPIES:
            _become(state, _evenly_picked(weight, rng))
            log_weight = np.zeros(COPIES)
        sleep(state)
    _become(state, rng.choice(COPIES, size=draws, p=_shares(log_weight)))
    return go_on(traits, state, days, rng)


def chance_of_entry(entered: float, mean: np.ndarray) -> np.ndarray:
    """(copy,) chance that a session with this (copy,) mean length is written down as so many hours."""
    total = np.zeros(len(mean))
    for step, share in ENTRY_STEPS.items():
        if step > 0.5:
            total += share * _rounded(entered, step, mean, least=1.0, most=np.inf)
            total += share * _rounded(entered, 0.5, mean, least=0.0, most=1.0)
        else:
            total += share * _rounded(entered, step, mean, least=0.0, most=np.inf)
    return total


def _rounded(entered: float, step: float, mean: np.ndarray, *, least: float, most: float) -> np.ndarray:
    """(copy,) chance of a length between two bounds that is rounded to `entered` in such steps."""
    if entered == LEAST_ENTRY:
        low, high = 0.0, 1.5 * step if step == LEAST_ENTRY else 0.5 * step
    elif entered % step:
        return np.zeros(len(mean))
    else:
        low, high = entered - 0.5 * step, entered + 0.5 * step
    if entered == MOST_ENTRY:
        high = np.inf
    low, high = max(low, least), min(high, most)
    if low >= high:
        return np.zeros(len(mean))
    rate = SESSION_SHAPE / mean
    return np.asarray(gammainc(SESSION_SHAPE, rate * high) - gammainc(SESSION_SHAPE, rate * low))


def _log_chance(entered: float, on: np.ndarray, chance: np.ndarray, mean: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        if entered == 0:
            return np.log(np.where(on, 1 - chance, 1.0))
        return np.log(np.where(on, chance * chance_of_entry(entered, mean), 0.0))


def _shares(log_weight: np.ndarray) -> np.ndarray:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _evenly_picked(weight: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(copy,) which copies go on, each about as often as its share says."""
    places = (rng.random() + np.arange(len(weight))) / len(weight)
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)


def _become(state: State, picked: np.ndarray) -> None:
    state.on, state.days_left, state.level = (v[picked] for v in (state.on, state.days_left, state.level))
