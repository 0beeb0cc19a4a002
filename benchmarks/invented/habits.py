"""Invented builders with a known habit, many copies at once, for the study of bench time.

Each habit is a small simulation of days, unlike the model that is tested on it: spells of building and
silences with lengths from heavy-tailed mixtures, a level that moves in steps, wanders or fades, sessions that
take place or not, and entries rounded as people round them. The figures follow four long logs: a session on a
quarter of days; Saturday and Sunday 0.32-0.40, weekdays 0.13-0.31; sessions of 2.5-3 hours, gamma with shape
4.2; 21-38 % of weeks silent, in streaks of up to 18; weekly hours with a coefficient of variation of 1.1-1.2;
13-week totals with one of 0.54-0.70; yearly hours that vary by factors of two to five; 59-85 % of entries
whole hours.

The households of workshop/presence.py are another simulator on purpose. That is one household, which reacts
to its work; this is one builder in thousands of copies, with heavy tails that the model lacks. What a session
is like is the same in both (sessions.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from benchmarks.invented.sessions import (
    DAY_CHANCE_CAP,
    ENTRY_STEPS,
    SESSION_SHAPE,
    SESSION_SHARE_OF_LEVEL,
    WEEKDAY_LENGTH,
)

HABITS = ("weekend builder", "daily short sessions", "bursts with silences of months")
LEVELS = ("steps", "wandering", "fading")
LONG_SPREAD = 0.8  # sd of the log of long silences: wide enough for streaks of 18 weeks
# Nobody logs less than a quarter of an hour, or more than a long day.
LEAST_ENTRY, MOST_ENTRY = 0.25, 14.0
_WEEKEND_LENGTH = 1.15  # of a session, relative to the habit's mean: judgement


@dataclass(kw_only=True)
class Traits:
    """The habit of one builder.

    Attributes
    ----------
    day_chance : (7,) chance of a session on a day of a building spell, Monday to Sunday
    session_hours : mean hours of a session
    on_weeks, on_spread : median length of a building spell, and the sd of its log
    off_weeks, off_spread, off_tail : median silence, sd of its log, and the share of long silences
    off_tail_weeks : median of a long silence
    level : how the level (log hours per week) moves: "steps", "wandering" or "fading"
    level_sd, level_weeks : its long-run sd, and the mean weeks per step or the weeks until it fades to 1/e
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
    """The present state of one or more copies of a builder.

    Attributes
    ----------
    building : (copy,) in a building spell, else in a silence
    days_left : (copy,) days until the spell or silence ends
    level : (copy,) log hours per week, relative to the habit's mean
    age_weeks, weekday : time since the first day of the log, a Monday (0)
    """

    building: np.ndarray
    days_left: np.ndarray
    level: np.ndarray
    age_weeks: float = 0.0
    weekday: int = 0


def draw_builder(habit: str, rng: np.random.Generator) -> Traits:
    """A builder with one of `HABITS`; no two are alike."""
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
    """`number` copies of a builder on the first day of the log, a Monday, in a building spell."""
    building = np.ones(number, dtype=bool)
    left = _spell_days(traits, building, rng)
    return State(building=building, days_left=left, level=rng.normal(0, traits.level_sd, number))


def copies(state: State, number: int) -> State:
    """`number` independent copies of one builder's state."""
    return State(
        building=np.repeat(state.building, number), days_left=np.repeat(state.days_left, number),
        level=np.repeat(state.level, number), age_weeks=state.age_weeks, weekday=state.weekday,
    )  # fmt: skip


def entered_hours(traits: Traits, state: State, days: int, rng: np.random.Generator) -> np.ndarray:
    """Simulate the coming days.

    Parameters
    ----------
    traits : the habit
    state : moves on by `days`
    days : how many
    rng : source of sessions, spells, levels and rounding

    Returns
    -------
    (copy, day) hours as the builder logs them

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> traits = draw_builder("weekend builder", rng)
    >>> entered_hours(traits, begin(traits, rng, 2), 7, rng).shape
    (2, 7)
    """
    number = len(state.building)
    hours = np.zeros((number, days))
    for day in range(days):
        chance, mean = session_today(traits, state, rng)
        comes = state.building & (rng.random(number) < chance)
        length = rng.gamma(SESSION_SHAPE, mean / SESSION_SHAPE)
        hours[:, day] = np.where(comes, _as_entered(length, rng), 0.0)
        end_day(state)
    return hours


def session_today(traits: Traits, state: State, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Begin a day: (copy,) chance of a session in a building spell, and its mean hours."""
    if state.weekday == 0:
        _move_level(traits, state, rng)
    ended = state.days_left <= 0
    if ended.any():
        state.building = state.building ^ ended
        fresh = _spell_days(traits, state.building, rng)
        state.days_left = np.where(ended, fresh, state.days_left)
    lift = np.exp(SESSION_SHARE_OF_LEVEL * state.level)
    chance = np.minimum(traits.day_chance[state.weekday] * lift, DAY_CHANCE_CAP)
    return chance, traits.session_hours * (_WEEKEND_LENGTH if state.weekday > 4 else WEEKDAY_LENGTH) * lift


def end_day(state: State) -> None:
    """Move to the next day."""
    state.days_left = state.days_left - 1
    state.weekday = (state.weekday + 1) % 7
    state.age_weeks += 1 / 7


def _spell_days(traits: Traits, building: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    z = rng.standard_normal(len(building))
    spell = traits.on_weeks * np.exp(traits.on_spread * z)
    short = traits.off_weeks * np.exp(traits.off_spread * z)
    long = traits.off_tail_weeks * np.exp(LONG_SPREAD * z)
    silent = np.where(rng.random(len(building)) < traits.off_tail, long, short)
    return np.maximum(np.round(7 * np.where(building, spell, silent)), 1)


def survival(traits: Traits, days: np.ndarray) -> dict[bool, np.ndarray]:
    """(day,) chance that a building spell (True) or a silence (False) lasts longer than `days`."""
    weeks = np.log((days + 0.5) / 7)

    def longer(median: float, spread: float) -> np.ndarray:
        return np.where(days < 1, 1.0, ndtr((np.log(median) - weeks) / spread))

    short, long = longer(traits.off_weeks, traits.off_spread), longer(traits.off_tail_weeks, LONG_SPREAD)
    return {
        True: longer(traits.on_weeks, traits.on_spread),
        False: (1 - traits.off_tail) * short + traits.off_tail * long,
    }


def _move_level(traits: Traits, state: State, rng: np.random.Generator) -> None:
    number = len(state.building)
    if traits.level == "steps":
        steps = rng.random(number) < 1 / traits.level_weeks
        state.level = np.where(steps, rng.normal(0, traits.level_sd, number), state.level)
        return
    carry = np.exp(-1 / traits.level_weeks)
    # t shocks with 5 degrees of freedom, scaled to a variance of 1: now and then a sudden change.
    shock = rng.standard_t(5, number) / np.sqrt(5 / 3)
    # Fading: 0.4 % per week, a fifth less per year. Judgement.
    centre = 0.0 if traits.level == "wandering" else -0.004 * state.age_weeks
    state.level = centre + carry * (state.level - centre) + traits.level_sd * np.sqrt(1 - carry**2) * shock


def _as_entered(length: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Hours rounded to the hour, the half or the quarter, never to 0."""
    step = rng.choice(list(ENTRY_STEPS), size=len(length), p=list(ENTRY_STEPS.values()))
    step = np.where(length < 1.0, np.minimum(step, 0.5), step)
    return np.minimum(np.maximum(np.round(length / step) * step, LEAST_ENTRY), MOST_ENTRY)
