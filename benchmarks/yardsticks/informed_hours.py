"""A forecaster of bench time that knows a builder's habit and infers its present state from the log.

The builders of benchmarks/invented/habits.py have a level that moves, and spells that begin and end unseen.
This forecaster knows every parameter, as no program can, and follows particles of the builder's state through
the log. On average no forecaster that sees only the log does better. The particles do not know how long a
spell lasts, only for how long it has lasted: a length drawn at its beginning would have to be guessed right.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammainc

from benchmarks.invented.habits import (
    LEAST_ENTRY,
    MOST_ENTRY,
    State,
    Traits,
    begin,
    end_day,
    entered_hours,
    session_today,
    survival,
)
from benchmarks.invented.sessions import ENTRY_STEPS, SESSION_SHAPE
from benchmarks.yardsticks.particle_filter import PARTICLES, ParticleFilter

# 55 years: longer than any spell that the heavy tails of habits.py give in practice.
_LONGEST_DAYS = 20_000


def informed_hours(
    traits: Traits, past: np.ndarray, days: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Posterior draws of the hours to come, given the habit and the log.

    Parameters
    ----------
    traits : the true habit
    past : (day,) hours of the log, from a Monday
    days, draws : size of the answer
    rng : source of particles and draws

    Returns
    -------
    (draw, day) hours

    Raises
    ------
    RuntimeError when no particle could have produced the log.
    """
    state, spells = begin(traits, rng, PARTICLES), _SpellLengths(traits)
    age, particles = np.zeros(PARTICLES, dtype=np.int64), ParticleFilter(rng)
    for entered in past:
        was_building = state.building
        state.days_left = np.where(spells.end_today(was_building, age, rng), 0.0, 1.0)
        chance, mean = session_today(traits, state, rng)
        age = np.where(state.building == was_building, age, 0)
        survivors = particles.observe(_log_likelihood(float(entered), state.building, chance, mean))
        if survivors is not None:
            _select(state, survivors)
            age = age[survivors]
        end_day(state)
        age = age + 1
    drawn = particles.sample(draws)
    _select(state, drawn)
    state.days_left = spells.days_left(state.building, age[drawn], rng)
    return entered_hours(traits, state, days, rng)


class _SpellLengths:
    """Lengths of building spells and silences, given how long they have lasted."""

    def __init__(self, traits: Traits) -> None:
        longer = survival(traits, np.arange(_LONGEST_DAYS))
        self.survival = np.stack([longer[False], longer[True]])
        self.negative = -self.survival  # rising, as searchsorted needs it

    def end_today(self, building: np.ndarray, age: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(particle,) whether a spell that has lasted `age` days ends with the day that begins."""
        kind, age = building.astype(int), np.minimum(age, _LONGEST_DAYS - 1)
        reached = self.survival[kind, np.maximum(age - 1, 0)]
        return np.asarray((age > 0) & (rng.random(len(building)) * reached >= self.survival[kind, age]))

    def days_left(self, building: np.ndarray, age: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(particle,) days left of a spell that has lasted `age` days."""
        left = np.zeros(len(building))
        for i, (kind, days) in enumerate(zip(building.astype(int), age, strict=True)):
            target = rng.random() * self.negative[kind, min(max(days - 1, 0), _LONGEST_DAYS - 1)]
            left[i] = max(np.searchsorted(self.negative[kind], target, side="right"), days) - days
        return left


def chance_of_entry(entered: float, mean: np.ndarray) -> np.ndarray:
    """(particle,) chance that a session is logged as `entered` hours.

    Parameters
    ----------
    entered : hours as logged
    mean : (particle,) mean hours of a session

    Examples
    --------
    >>> float(chance_of_entry(2.1, np.array([2.0]))[0])
    0.0
    """
    total = np.zeros(len(mean))
    for step, share in ENTRY_STEPS.items():
        if step > 0.5:  # below an hour nobody rounds to whole hours
            total += share * _rounding_chance(entered, step, mean, least=1.0, most=np.inf)
            total += share * _rounding_chance(entered, 0.5, mean, least=0.0, most=1.0)
        else:
            total += share * _rounding_chance(entered, step, mean, least=0.0, most=np.inf)
    return total


def _rounding_chance(
    entered: float, step: float, mean: np.ndarray, *, least: float, most: float
) -> np.ndarray:
    """(particle,) chance of a length between `least` and `most` that rounds to `entered` in these steps."""
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


def _log_likelihood(entered: float, building: np.ndarray, chance: np.ndarray, mean: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):  # a particle that cannot explain the day gets a weight of 0
        if entered == 0:
            return np.log(np.where(building, 1 - chance, 1.0))
        return np.log(np.where(building, chance * chance_of_entry(entered, mean), 0.0))


def _select(state: State, index: np.ndarray) -> None:
    state.building, state.days_left = state.building[index], state.days_left[index]
    state.level = state.level[index]
