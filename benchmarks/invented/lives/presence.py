"""When the household is at the bench: spells with heavy tails, a mood, the week, the season, the events.

Not a chain with fixed chances. Spells on and off are drawn with their lengths (semi-Markov), broken off
or begun by what happens at the bench (a kit arrives, a stage is finished, nothing can be worked at), and
within a spell the chance of a session follows a mood that wanders over months.
"""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np

from benchmarks.invented.lives.traits import Course, Habit, Traits

Generator = np.random.Generator
YEAR = 365.25


class Presence:
    """Clock hours of the household per day.

    ``hours(day, share)`` is asked once per day in order; ``milestone``, ``arrival``, ``idle`` feed back
    what happened at the bench.
    """

    def __init__(self, traits: Traits, start: date, days: int, rng: Generator) -> None:
        self.habit: Habit = traits.habit
        self.course: Course = traits.course
        self._rng = rng
        self._days = days
        self._weekday = start.weekday()
        self._mood = self._draw_mood()
        self._chance = rng.random(days)
        self._length = rng.gamma(4.2, 1 / 4.2, days)  # shape about 4.2 [logs]
        self._window = self._draw_windows(start)
        self.trips = self._draw_trips()
        self._away = np.zeros(days, dtype=bool)
        for first, last in self.trips:
            self._away[first : last + 1] = True
        self._leave = self._draw_leave()
        self._upsets = self._draw_upsets()
        self._turns = list(traits.course.turns)
        self._factor = 1.0
        self._silent_until = -1
        self._on = True
        self._until = self._spell(first=True)
        self._boost = 0.0
        self._recent = 0.5
        self._idle = 0.0

    def _draw_mood(self) -> np.ndarray:
        """Daily log-mood: Ornstein-Uhlenbeck over weeks, plus a slower half over years."""
        h = self.habit
        fast = _wander(self._days, 7 * h.mood_weeks, 0.75 * h.mood_spread, self._rng)
        slow = _wander(self._days, 7 * 60, 0.7 * h.mood_spread, self._rng)
        return fast + slow

    def _draw_windows(self, start: date) -> np.ndarray:
        """Weight of each day: the household's own week, its season, the days around Christmas."""
        h = self.habit
        week = np.exp(self._rng.normal(0, 0.25, 7))  # some keep Tuesday free, some Friday
        week[5:] *= h.weekend
        week /= week.mean()
        day = np.arange(self._days)
        weight = week[(day + self._weekday) % 7]
        of_year = (day + start.timetuple().tm_yday) % YEAR
        weight = weight * np.exp(h.season * np.cos(2 * math.pi * (of_year - h.season_peak) / YEAR))
        christmas = (of_year >= 357) | (of_year <= 1)
        weight[christmas] *= float(self._rng.choice((0.2, 0.6, 1.5)))
        new_year = (of_year > 1) & (of_year < 30)
        weight[new_year] *= float(self._rng.uniform(1.0, 1.3))  # fresh start [lit: Dai et al. 2014]
        if h.rally > 1:
            ahead = (h.rally_day - of_year) % YEAR
            weight[ahead < 50] *= h.rally
            weight[ahead > YEAR - 40] *= 0.6  # the slump after the date
        return weight

    def _draw_trips(self) -> list[tuple[int, int]]:
        """Holidays of 4 to 20 days, first and last day."""
        trips, day = [], float(self._rng.exponential(YEAR / max(0.1, self.habit.trips)))
        while day < self._days - 25:
            length = int(self._rng.integers(4, 21))
            trips.append((int(day), int(day) + length - 1))
            day += length + self._rng.exponential(YEAR / max(0.1, self.habit.trips))
        return trips

    def _draw_leave(self) -> np.ndarray:
        """Days on which the builder has taken leave for the bench."""
        leave = np.zeros(self._days, dtype=bool)
        for first in self._rng.integers(
            0, self._days, self._rng.poisson(self.habit.leave_weeks * self._days / YEAR)
        ):
            leave[int(first) : int(first) + int(self._rng.integers(4, 10))] = True
        leave[self._away] = False
        return leave

    def _draw_upsets(self) -> list[tuple[int, float, float]]:
        """Events of life: day, days of silence (lognormal), factor on the level afterwards."""
        c, rng = self.course, self._rng
        upsets: list[tuple[int, float, float]] = []
        if c.events_per_year <= 0:
            return upsets
        day = float(rng.exponential(YEAR / c.events_per_year))
        while day < self._days:
            silence = c.event_silence * math.exp(c.event_spread * rng.standard_normal())
            factor = c.event_factor * math.exp(0.35 * rng.standard_normal())
            upsets.append((int(day), silence, factor))
            day += silence + rng.exponential(YEAR / c.events_per_year)
        return upsets[::-1]

    def _spell(self, first: bool = False) -> int:
        """Length of a spell in days: lognormal at the bench, Pareto with a cut-off away from it."""
        h, rng = self.habit, self._rng
        if self._on:
            return int(h.on_days * math.exp(h.on_spread * rng.standard_normal()) * (2 if first else 1)) + 2
        length = h.off_days * (1 - rng.random()) ** (-1 / h.off_tail)
        # a soft cut-off: people who stay away longer than that have stopped, which the course decides
        return int(min(length, h.off_longest * math.exp(0.3 * rng.standard_normal())))

    def _switch(self, day: int) -> None:
        while day >= self._until:
            self._on = not self._on
            self._until = day + max(1, self._spell())

    def level(self, day: int) -> float:
        """Level of the hours on a day: fading, climbing, and what the events have left of it."""
        c, years = self.course, day / YEAR
        level = c.start_level * self._factor
        if c.fade_years is not None:
            level *= c.fade_floor + (1 - c.fade_floor) * 0.5 ** (years / c.fade_years)
        if c.climb != 1.0:
            # a smooth step: nothing at first, then the climb, then the new level
            level *= c.climb ** (1 / (1 + math.exp(-4 * (years / c.climb_years - 0.6))))
        # a household that all but stops still has the odd Saturday
        return max(0.12, level)

    def _meet_events(self, day: int, share: float) -> None:
        while self._upsets and day >= self._upsets[-1][0]:
            _, silence, factor = self._upsets.pop()
            self._silence(day, silence, factor)
        while self._turns and share >= self._turns[0][0]:
            _, silence, factor = self._turns.pop(0)
            self._silence(day, silence, factor)

    def _silence(self, day: int, days: float, factor: float) -> None:
        self._silent_until = max(self._silent_until, day + int(days))
        self._factor = float(np.clip(self._factor * factor, 0.25, 4.0))

    def hours(self, day: int, share: float) -> float:
        """Clock hours that the household would give on this day; 0 on most days."""
        self._meet_events(day, share)
        self._boost *= 0.965
        self._idle *= 0.97
        came = self._come(day, share)
        self._recent += ((1.0 if came else 0.0) - self._recent) * 0.12
        if not came:
            return 0.0
        h = self.habit
        free = (day + self._weekday) % 7 >= 5 or self._leave[day]
        usual = h.weekend_hours if free else h.evening_hours
        mood = math.exp(0.3 * float(self._mood[day]))
        level = self.level(day) ** 0.35
        length = usual * mood * level * float(self._length[day]) * (1.3 if self._leave[day] else 1.0)
        return min(13.0, max(0.4, length))

    def _come(self, day: int, share: float) -> bool:
        if day < self._silent_until:
            return False
        if self._away[day]:
            return False
        if self._leave[day]:
            return bool(self._chance[day] < 0.85)
        self._switch(day)
        if not self._on:
            return False
        h = self.habit
        momentum = 1 + h.momentum * (2.2 * self._recent - 0.8)
        near = 1 + (h.near_end - 1) * max(0.0, min(1.0, (share - 0.85) / 0.1))
        chance = 1.2 * h.days_share * float(self._window[day]) * math.exp(float(self._mood[day]))
        chance *= self.level(day) ** 0.75 * momentum * near * (1 + self._boost) / (1 + self._idle)
        return bool(self._chance[day] < min(0.93, chance))

    def arrival(self, day: int) -> None:
        """A kit has come: a boost, and a break from the bench may end."""
        self._boost = max(self._boost, self.habit.milestone_boost - 1)
        if not self._on and day >= self._silent_until and self._rng.random() < 0.6:
            self._on, self._until = True, day
            self._until = day + self._spell()
        self._idle = 0.0

    def milestone(self, day: int) -> None:
        """A stage is finished: some work with new will, some take a rest."""
        if self._rng.random() < self.habit.rest_after_stage and self._on:
            self._on = False
            self._until = day + self._spell()
        else:
            self._boost = max(self._boost, self.habit.milestone_boost - 1)

    def idle(self) -> None:
        """They came and nothing could be worked at."""
        self._idle = min(2.0, self._idle + 0.4)


def _wander(days: int, scale: float, spread: float, rng: Generator) -> np.ndarray:
    """Ornstein-Uhlenbeck path by day with time scale in days, values joined over weeks."""
    count = days // 7 + 2
    keep = math.exp(-7 / scale)
    push = spread * math.sqrt(1 - keep * keep) * rng.standard_normal(count)
    path = np.empty(count)
    value = spread * float(rng.standard_normal())
    for k in range(count):
        value = keep * value + float(push[k])
        path[k] = value
    return np.interp(np.arange(days), 7 * np.arange(count), path)


def day_date(start: date, day: int) -> date:
    """Date of a day number."""
    return start + timedelta(days=day)
