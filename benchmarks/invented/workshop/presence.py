"""Who is at the bench on each day, one day after the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass
from datetime import date
from enum import Enum
from math import exp, sqrt

import numpy as np

from benchmarks.invented.workshop.dice import Dice
from benchmarks.invented.workshop.truth import HabitTruth

QUARTERS = 4
_LONGEST_QUARTERS = 12 * QUARTERS
LEVEL_CAP, DAY_CHANCE_CAP = 1.6, 0.95
WEEKDAY_LENGTH, WEEKEND_LENGTH = 0.9, 1.1  # of a session, in usual ones
HELPER = "+"


class Wish(Enum):
    """Whether the work that is ready asks for a second pair of hands."""

    NOTHING = 0
    TWO_TOO = 1
    ONLY_TWO = 2


@dataclass(slots=True)
class Mood:
    """Where the household stands: building or silent (and for how long on average), and its level."""

    building: bool = True
    long_silence: bool = False
    level: float = 0.0


class Presence:
    """The household day by day; days are ordinals (`date.toordinal`).

    Parameters
    ----------
    habit : its parameters
    joins : builder -> first day on which they may come
    away : builder ("" = everybody) -> days on which they cannot
    """

    def __init__(
        self, habit: HabitTruth, joins: Mapping[str, int], away: Mapping[str, Set[int]], mood: Mood
    ) -> None:
        self.habit, self.joins, self.away, self.mood = habit, joins, away, mood
        self.everybody_away = away.get("", set())
        self.keep = exp(-1.0 / habit.level_weeks)
        self.shock = habit.level_sd * sqrt(1.0 - self.keep**2)

    def throw(self, rng: np.random.Generator) -> None:
        """Take new dice for the days that come."""
        habit, company = rng.spawn(2)
        self.dice, self.company = Dice(habit), Dice(company)

    def copy(self) -> Presence:
        """The same household in the same mood, to go on with dice of its own."""
        mood = Mood(self.mood.building, self.mood.long_silence, self.mood.level)
        return Presence(self.habit, self.joins, self.away, mood)

    def day(self, day: int, wish: Callable[[], Wish]) -> dict[str, int]:
        """Quarter-hours of everybody who comes on this day; a visitor is `HELPER`."""
        weekday = (day - 1) % 7
        if weekday == 0:
            self._new_week()
        if not self.mood.building:
            return {}
        lift = exp(0.5 * self.mood.level)
        if self.dice.uniform() >= min(self.habit.day_chance[weekday] * lift, DAY_CHANCE_CAP):
            return {}
        length = WEEKEND_LENGTH if weekday > 4 else WEEKDAY_LENGTH
        hours = self.dice.gamma(self.habit.session_shape, self.habit.session_hours * lift * length)
        quarters = self._as_entered(hours)
        if day in self.everybody_away:
            return {}
        return self._company(day, quarters, wish)

    def _new_week(self) -> None:
        mood, habit = self.mood, self.habit
        mood.level = self.keep * mood.level + self.shock * self.dice.normal()
        mood.level = min(mood.level, LEVEL_CAP)
        chance = self.dice.uniform()
        if mood.building:
            if chance < habit.stop_chance:
                mood.building = False
                mood.long_silence = self.dice.uniform() < habit.long_chance
        else:
            mean = habit.long_silence_weeks if mood.long_silence else habit.short_silence_weeks
            mood.building = chance < 1.0 / max(mean, 1.0)

    def _as_entered(self, hours: float) -> int:
        """Rounded to the hour (seven in ten), the half or the quarter, as people round; in quarters."""
        chance = self.dice.uniform()
        step = 4 if chance < 0.7 else 2 if chance < 0.92 else 1
        if hours < 1.0:
            step = min(step, 2)
        return min(max(round(hours * QUARTERS / step) * step, step), _LONGEST_QUARTERS)

    def _company(self, day: int, quarters: int, wish: Callable[[], Wish]) -> dict[str, int]:
        """The dice fall the same way whoever may come, so that builds with and without one compare."""
        alone, which, shorter, visit, stays = (self.company.uniform() for _ in range(5))
        able = [b for b, first in self.joins.items() if first <= day and day not in self.away.get(b, ())]
        if not able:
            return {}
        if len(able) > 1 and alone >= self.habit.both_chance:
            able = [able[0] if which < 0.6 else able[1]]
        here = dict.fromkeys(able, quarters)
        if len(able) > 1 and shorter < 0.25:
            here[able[1]] = max(quarters // 2, 1)
        if visit < self._visit_chance(wish(), len(able)):
            wanted = self.habit.helper_hours * QUARTERS * (0.5 + stays)
            here[HELPER] = min(max(round(wanted / 2) * 2, 2), quarters)
        return here

    def _visit_chance(self, wish: Wish, able: int) -> float:
        if wish is Wish.ONLY_TWO and able == 1:
            return max(self.habit.asked_chance, self.habit.helper_chance)
        return self.habit.helper_chance * (1.0 if wish is Wish.NOTHING else 2.0)


def ordinals(start: date, end: date) -> set[int]:
    """The days from start to end, both included."""
    return set(range(start.toordinal(), end.toordinal() + 1))
