"""Invented builders with a known habit, for the studies of bench time.

Each habit is a small simulation of days, unlike the model that is tested on it: spells of building
and of silence with lengths from heavy-tailed mixtures, a level that moves in steps, wanders or fades,
evenings that are kept or not, and entries rounded as people round them. The figures follow what four
long logs show (a session on a quarter of days; Saturday and Sunday .32-.40, weekdays .13-.31; sessions
of 2.5-3 hours, gamma with shape 4.2; 21-38 % of weeks silent, in streaks of up to 18; weekly hours with
a coefficient of variation of 1.1-1.2; 13-week totals with one of .54-.70; yearly hours that vary by
factors of two to five; 59-85 % of entries whole hours).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr

HABITS = ("weekend builder", "daily short sessions", "bursts with silences of months")
LEVELS = ("steps", "wandering", "fading")
SESSION_SHAPE, LONG_SPREAD = 4.2, 0.8
# Which part of the entries is rounded to the hour, the half and the quarter; below an hour nobody writes 1.
ENTRY_STEPS = {1.0: 0.7, 0.5: 0.22, 0.25: 0.08}
LEAST_ENTRY, MOST_ENTRY = 0.25, 14.0


@dataclass(kw_only=True)
class Traits:
    """What is fixed for one builder.

    Attributes
    ----------
    day_chance : (7,) chance of a session on a free day, Monday to Sunday
    session_hours : mean hours of a session
    on_weeks, on_spread : median length of a spell of building, and the sd of its log
    off_weeks, off_spread, off_tail : median silence, sd of its log, and the share of long silences
    off_tail_weeks : median of a long silence
    level : how the level moves: "steps", "wandering" or "fading"
    level_sd, level_weeks : how far and how fast
    """

    day_chance: np.ndarray
    session_hours: float
    on_weeks: float
    on_spread: float
    off_weeks: float
    off_spread: float
    off_tail: float
    off_tail_weeks: float
    level: str
    level_sd: float
    level_weeks: float


@dataclass(kw_only=True)
class State:
    """Where one or more copies of a builder stand: (copy,) arrays."""

    on: np.ndarray
    days_left: np.ndarray
    level: np.ndarray
    age_weeks: float = 0.0
    weekday: int = 0
    pieces: list[np.ndarray] = field(default_factory=list)


def invent(habit: str, rng: np.random.Generator) -> Traits:
    """A builder with this habit; no two are alike."""
    level = LEVELS[rng.integers(3)]
    moves = {
        "level": level,
        "level_sd": rng.uniform(0.45, 0.9),
        "level_weeks": rng.uniform(12, 60),
    }
    between = np.exp(rng.normal(0, 0.25))
    if habit == HABITS[0]:
        days = np.array([0.06, 0.06, 0.1, 0.06, 0.12, 0.55, 0.5]) * np.exp(rng.normal(0, 0.3, 7))
        return Traits(
            day_chance=np.minimum(days, 0.9), session_hours=3.4 * between,
            on_weeks=rng.uniform(5, 9), on_spread=0.9, off_weeks=rng.uniform(1.2, 2.5), off_spread=0.6,
            off_tail=0.1, off_tail_weeks=7.0, **moves,
        )  # fmt: skip
    if habit == HABITS[1]:
        days = np.array([0.5, 0.5, 0.5, 0.5, 0.4, 0.45, 0.4]) * np.exp(rng.normal(0, 0.25, 7))
        return Traits(
            day_chance=np.minimum(days, 0.9), session_hours=1.3 * between,
            on_weeks=rng.uniform(8, 14), on_spread=0.8, off_weeks=rng.uniform(1.0, 2.2), off_spread=0.6,
            off_tail=0.06, off_tail_weeks=7.0, **moves,
        )  # fmt: skip
    days = np.array([0.3, 0.3, 0.3, 0.3, 0.35, 0.6, 0.6]) * np.exp(rng.normal(0, 0.3, 7))
    return Traits(
        day_chance=np.minimum(days, 0.9), session_hours=3.0 * between,
        on_weeks=rng.uniform(3, 8), on_spread=0.9, off_weeks=rng.uniform(2.5, 6), off_spread=0.9,
        off_tail=0.2, off_tail_weeks=rng.uniform(12, 20), **moves,
    )  # fmt: skip


def begin(traits: Traits, rng: np.random.Generator, number: int = 1) -> State:
    """A builder, or so many, on the first day of the log, a Monday, in a spell of building."""
    on = np.ones(number, dtype=bool)
    left = _spell_days(traits, on, rng)
    return State(on=on, days_left=left, level=rng.normal(0, traits.level_sd, number))


def copies(state: State, number: int) -> State:
    """The same builder so many times, each to go on alone."""
    return State(
        on=np.repeat(state.on, number), days_left=np.repeat(state.days_left, number),
        level=np.repeat(state.level, number), age_weeks=state.age_weeks, weekday=state.weekday,
    )  # fmt: skip


def go_on(traits: Traits, state: State, days: int, rng: np.random.Generator) -> np.ndarray:
    """(copy, day) hours of the coming days, as the builder would enter them; `state` moves on."""
    number = len(state.on)
    hours = np.zeros((number, days))
    for day in range(days):
        chance, mean = wake(traits, state, rng)
        comes = state.on & (rng.random(number) < chance)
        length = rng.gamma(SESSION_SHAPE, mean / SESSION_SHAPE)
        hours[:, day] = np.where(comes, _as_entered(length, rng), 0.0)
        sleep(state)
    return hours


def wake(traits: Traits, state: State, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(copy,) chance of a session today for those in a spell of building, and its mean hours."""
    if state.weekday == 0:
        _move_level(traits, state, rng)
    ended = state.days_left <= 0
    if ended.any():
        state.on = state.on ^ ended
        fresh = _spell_days(traits, state.on, rng)
        state.days_left = np.where(ended, fresh, state.days_left)
    # A higher level means more evenings and longer ones, in about equal parts.
    lift = np.exp(0.5 * state.level)
    chance = np.minimum(traits.day_chance[state.weekday] * lift, 0.95)
    return chance, traits.session_hours * (1.15 if state.weekday > 4 else 0.9) * lift


def sleep(state: State) -> None:
    """The day is over."""
    state.days_left = state.days_left - 1
    state.weekday = (state.weekday + 1) % 7
    state.age_weeks += 1 / 7


def _spell_days(traits: Traits, on: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    z = rng.standard_normal(len(on))
    building = traits.on_weeks * np.exp(traits.on_spread * z)
    short = traits.off_weeks * np.exp(traits.off_spread * z)
    long = traits.off_tail_weeks * np.exp(LONG_SPREAD * z)
    silent = np.where(rng.random(len(on)) < traits.off_tail, long, short)
    return np.maximum(np.round(7 * np.where(on, building, silent)), 1)


def chance_to_last(traits: Traits, days: np.ndarray) -> dict[bool, np.ndarray]:
    """Of spells of building (True) and silences: the (day,) chance of lasting longer than so many days."""
    weeks = np.log((days + 0.5) / 7)

    def longer(median: float, spread: float) -> np.ndarray:
        return np.where(days < 1, 1.0, ndtr((np.log(median) - weeks) / spread))

    short, long = longer(traits.off_weeks, traits.off_spread), longer(traits.off_tail_weeks, LONG_SPREAD)
    return {
        True: longer(traits.on_weeks, traits.on_spread),
        False: (1 - traits.off_tail) * short + traits.off_tail * long,
    }


def _move_level(traits: Traits, state: State, rng: np.random.Generator) -> None:
    number = len(state.on)
    if traits.level == "steps":
        steps = rng.random(number) < 1 / traits.level_weeks
        state.level = np.where(steps, rng.normal(0, traits.level_sd, number), state.level)
        return
    keep = np.exp(-1 / traits.level_weeks)
    shock = rng.standard_t(5, number) / np.sqrt(5 / 3)
    aim = 0.0 if traits.level == "wandering" else -0.004 * state.age_weeks
    state.level = aim + keep * (state.level - aim) + traits.level_sd * np.sqrt(1 - keep**2) * shock


def _as_entered(length: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rounded to the hour, the half or the quarter; never to nothing."""
    step = rng.choice(list(ENTRY_STEPS), size=len(length), p=list(ENTRY_STEPS.values()))
    step = np.where(length < 1.0, np.minimum(step, 0.5), step)
    return np.minimum(np.maximum(np.round(length / step) * step, LEAST_ENTRY), MOST_ENTRY)
