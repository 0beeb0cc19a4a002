"""Who of an invented household is at the bench, day by day."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, replace
from datetime import date
from enum import Enum
from math import exp, sqrt

import numpy as np

from benchmarks.invented.sessions import (
    DAY_CHANCE_CAP,
    ENTRY_STEPS,
    SESSION_SHARE_OF_LEVEL,
    WEEKDAY_LENGTH,
)
from benchmarks.invented.workshop.number_stream import NumberStream
from benchmarks.invented.workshop.truth import HabitTruth

QUARTERS = 4
_LONGEST_QUARTERS = 12 * QUARTERS
LEVEL_CAP = 1.6  # five times the habit's mean hours per week is as much as a household can do: judgement
WEEKEND_LENGTH = 1.1  # of a session, relative to the habit's mean: judgement
HELPER = "+"
# A uniform number below these rounds to the hour, or to the half-hour.
_WHOLE_HOUR, _HALF_HOUR = ENTRY_STEPS[1.0], 1.0 - ENTRY_STEPS[0.25]


class TwoPersonWork(Enum):
    """Whether the work that is ready needs a second pair of hands."""

    NONE = 0
    SOME = 1
    ONLY = 2


@dataclass(slots=True)
class HabitState:
    """The present state of a habit: building or silent, the kind of silence, and the level."""

    building: bool = True
    long_silence: bool = False
    level: float = 0.0


class Presence:
    """The household, day by day; days are ordinals (`date.toordinal`).

    It is simulated one number at a time, in the order in which the household needs them: the sample logs
    are compared byte by byte, and depend on that order.

    Parameters
    ----------
    habit : its parameters
    joins : builder -> first day on which they may come
    away : builder ("" = everybody) -> days on which they cannot
    state : on the first day
    """

    def __init__(
        self, habit: HabitTruth, joins: Mapping[str, int], away: Mapping[str, Set[int]], state: HabitState
    ) -> None:
        self.habit, self.joins, self.away, self.state = habit, joins, away, state
        self.everybody_away = away.get("", set())
        self.carry = exp(-1.0 / habit.level_weeks)
        self.shock = habit.level_sd * sqrt(1.0 - self.carry**2)

    def redraw(self, rng: np.random.Generator) -> None:
        """Use new random numbers for the days to come."""
        habit, company = rng.spawn(2)
        self.numbers, self.company = NumberStream(habit), NumberStream(company)

    def copy(self) -> Presence:
        """The same household in the same state, to be simulated apart."""
        return Presence(self.habit, self.joins, self.away, replace(self.state))

    def day(self, day: int, two_person_work: Callable[[], TwoPersonWork]) -> dict[str, int]:
        """Simulate one day.

        Parameters
        ----------
        day : its ordinal; days must be simulated in order
        two_person_work : called only when somebody comes

        Returns
        -------
        person -> quarter-hours at the bench; a helper without a name is `HELPER`
        """
        weekday = (day - 1) % 7
        if weekday == 0:
            self._start_week()
        if not self.state.building:
            return {}
        lift = exp(SESSION_SHARE_OF_LEVEL * self.state.level)
        if self.numbers.uniform() >= min(self.habit.day_chance[weekday] * lift, DAY_CHANCE_CAP):
            return {}
        length = WEEKEND_LENGTH if weekday > 4 else WEEKDAY_LENGTH
        hours = self.numbers.gamma(self.habit.session_shape, self.habit.session_hours * lift * length)
        quarters = self._as_entered(hours)
        if day in self.everybody_away:
            return {}
        return self._company(day, quarters, two_person_work)

    def _start_week(self) -> None:
        state, habit = self.state, self.habit
        state.level = self.carry * state.level + self.shock * self.numbers.normal()
        state.level = min(state.level, LEVEL_CAP)
        chance = self.numbers.uniform()
        if state.building:
            if chance < habit.stop_chance:
                state.building = False
                state.long_silence = self.numbers.uniform() < habit.long_chance
        else:
            mean = habit.long_silence_weeks if state.long_silence else habit.short_silence_weeks
            state.building = chance < 1.0 / max(mean, 1.0)

    def _as_entered(self, hours: float) -> int:
        """Quarter-hours, rounded to the hour, the half or the quarter as `ENTRY_STEPS` says."""
        chance = self.numbers.uniform()
        step = 4 if chance < _WHOLE_HOUR else 2 if chance < _HALF_HOUR else 1
        if hours < 1.0:
            step = min(step, 2)
        return min(max(round(hours * QUARTERS / step) * step, step), _LONGEST_QUARTERS)

    def _company(
        self, day: int, quarters: int, two_person_work: Callable[[], TwoPersonWork]
    ) -> dict[str, int]:
        """Who comes, and for how long. Five numbers are drawn whoever may come, so that the same build
        with and without a builder can be compared.
        """
        alone, which, shorter, visit, stays = (self.company.uniform() for _ in range(5))
        able = [b for b, first in self.joins.items() if first <= day and day not in self.away.get(b, ())]
        if not able:
            return {}
        if len(able) > 1 and alone >= self.habit.both_chance:
            able = [able[0] if which < 0.6 else able[1]]  # the first builder more often: judgement
        here = dict.fromkeys(able, quarters)
        if (
            len(able) > 1 and shorter < 0.25
        ):  # in one joint session of four the second leaves early: judgement
            here[able[1]] = max(quarters // 2, 1)
        if visit < self._visit_chance(two_person_work(), len(able)):
            wanted = self.habit.helper_hours * QUARTERS * (0.5 + stays)
            here[HELPER] = min(max(round(wanted / 2) * 2, 2), quarters)
        return here

    def _visit_chance(self, ready: TwoPersonWork, able: int) -> float:
        if ready is TwoPersonWork.ONLY and able == 1:
            return max(self.habit.call_chance, self.habit.helper_chance)
        return self.habit.helper_chance * (1.0 if ready is TwoPersonWork.NONE else 2.0)


def ordinals(start: date, end: date) -> set[int]:
    """The days from start to end, both included."""
    return set(range(start.toordinal(), end.toordinal() + 1))
