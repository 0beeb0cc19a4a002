"""A forecaster that is told a builder's habit, and has to find out from the log where the builder stands.

The builders of benchmarks/invented/habits.py have a level that moves and spells that begin and end unseen.
This one knows every trait, as no program can, and follows so many copies of the builder through the log,
each day weighing them by the chance of what was entered (a bootstrap particle filter: Gordon, Salmond and Smith,
IEE Proceedings F 140, 1993). Who reads only the log does no better in the mean. How long a spell lasts is
found out day by day: a copy whose end were settled at its beginning would have to guess it right.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammainc

from benchmarks.invented.habits import (
    ENTRY_STEPS,
    LEAST_ENTRY,
    MOST_ENTRY,
    SESSION_SHAPE,
    State,
    Traits,
    begin,
    chance_to_last,
    go_on,
    sleep,
    wake,
)

COPIES = 3_000
EVEN_ENOUGH = 0.5
_LONGEST_DAYS = 20_000


def told_the_habit(
    traits: Traits, past: np.ndarray, days: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """(draw, day) hours of the days to come, from the (day,) hours of the log.

    Raises
    ------
    RuntimeError when not one of the copies could have written that log.
    """
    state, spells = begin(traits, rng, COPIES), _Spells(traits)
    age, log_weight = np.zeros(COPIES, dtype=np.int64), np.zeros(COPIES)
    for entered in past:
        was_on = state.on
        state.days_left = np.where(spells.ends(was_on, age, rng), 0.0, 1.0)
        chance, mean = wake(traits, state, rng)
        age = np.where(state.on == was_on, age, 0)
        log_weight += _log_chance(float(entered), state.on, chance, mean)
        if log_weight.max() == -np.inf:
            raise RuntimeError("No copy of the builder could have written this log: take more of them.")
        weight = shares_of(log_weight)
        if 1 / (weight**2).sum() < EVEN_ENOUGH * COPIES:
            picked = evenly_picked(weight, rng)
            _become(state, picked)
            age, log_weight = age[picked], np.zeros(COPIES)
        sleep(state)
        age = age + 1
    picked = rng.choice(COPIES, size=draws, p=shares_of(log_weight))
    _become(state, picked)
    state.days_left = spells.days_left(state.on, age[picked], rng)
    return go_on(traits, state, days, rng)


class _Spells:
    """How long spells of building and silences last."""

    def __init__(self, traits: Traits) -> None:
        longer = chance_to_last(traits, np.arange(_LONGEST_DAYS))
        self.longer = np.stack([longer[False], longer[True]])
        self.over = -self.longer  # rising, as a search wants it

    def ends(self, on: np.ndarray, age: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(copy,) whether the spell is over on the day that begins, having lasted `age` days."""
        kind, age = on.astype(int), np.minimum(age, _LONGEST_DAYS - 1)
        reached = self.longer[kind, np.maximum(age - 1, 0)]
        return np.asarray((age > 0) & (rng.random(len(on)) * reached >= self.longer[kind, age]))

    def days_left(self, on: np.ndarray, age: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(copy,) days that the spell still lasts, having lasted `age` days."""
        left = np.zeros(len(on))
        for i, (kind, days) in enumerate(zip(on.astype(int), age, strict=True)):
            aim = rng.random() * self.over[kind, min(max(days - 1, 0), _LONGEST_DAYS - 1)]
            left[i] = max(np.searchsorted(self.over[kind], aim, side="right"), days) - days
        return left


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


def shares_of(log_weight: np.ndarray) -> np.ndarray:
    """(copy,) weights that add up to 1."""
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def evenly_picked(weight: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(copy,) which copies go on, each about as often as its share says."""
    places = (rng.random() + np.arange(len(weight))) / len(weight)
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)


def _become(state: State, picked: np.ndarray) -> None:
    state.on, state.days_left, state.level = (v[picked] for v in (state.on, state.days_left, state.level))
