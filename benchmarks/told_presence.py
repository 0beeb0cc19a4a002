"""Days at the bench of an invented household, by one who is told its habit and has to find out the rest.

The households of benchmarks/invented/workshop have a level that moves, and spells of building and silence
that begin and end unseen. This one knows every parameter of the habit, as no program can, and follows so
many copies of the household through the days of the log, weighing each by the chance of the hours that were
worked (a bootstrap particle filter: Gordon, Salmond and Smith, IEE Proceedings F 140, 1993). The days to
come are then played by the true rules, and handed to the program as if it had drawn them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from scipy.stats import gamma

from benchmarks.habit_filter import EVEN_ENOUGH, evenly_picked, shares_of
from benchmarks.invented.workshop.presence import (
    DAY_CHANCE_CAP,
    HELPER,
    LEVEL_CAP,
    QUARTERS,
    WEEKDAY_LENGTH,
    WEEKEND_LENGTH,
    Mood,
    Presence,
    Wish,
)
from benchmarks.invented.workshop.scenario import Stand
from forecast.learn.bench_time import BenchDraws, BenchTime
from forecast.learn.bench_time.draws import HELPER as VISITOR

COPIES = 3_000
# The log counts hours of work; who came and found nothing to do is not in it.
_CAME_IN_VAIN = 0.02
_FIRST_DAYS, _MOST_DAYS = 1_400, 5_400


def moods_told(stand: Stand, first: date, as_of: date, number: int, rng: np.random.Generator) -> list[Mood]:
    """Where the household may stand at the end of `as_of`: so many moods, as likely as the log makes them.

    Parameters
    ----------
    stand : the build at the end of `as_of`, its rows kept; its own mood is not looked at
    first : the day before which nobody could come
    """
    worked = _hours_of_days(stand)
    copies = _Copies(stand.presence, COPIES, rng)
    for day in range(first.toordinal(), as_of.toordinal() + 1):
        copies.follow(day, worked.get(day, 0.0))
    picked = rng.choice(COPIES, size=number, p=copies.shares())
    return [
        Mood(bool(copies.building[i]), bool(copies.long_silence[i]), float(copies.level[i])) for i in picked
    ]


def _hours_of_days(stand: Stand) -> dict[int, float]:
    """Day -> hours of whoever was there longest."""
    quarters: dict[tuple[int, str], int] = {}
    for row in stand.workshop.rows:
        for person in row.people:
            if person != HELPER:
                quarters[row.day, person] = quarters.get((row.day, person), 0) + row.quarters
    longest: dict[int, float] = {}
    for (day, _), worked in quarters.items():
        longest[day] = max(longest.get(day, 0.0), worked / QUARTERS)
    return longest


class _Copies:
    """Many copies of one household, and how well each explains the log so far."""

    def __init__(self, presence: Presence, number: int, rng: np.random.Generator) -> None:
        self.presence, self.habit, self.rng = presence, presence.habit, rng
        self.level = self.habit.level_sd * rng.standard_normal(number)
        self.building = np.ones(number, dtype=bool)
        self.long_silence = np.zeros(number, dtype=bool)
        self.log_weight = np.zeros(number)

    def shares(self) -> np.ndarray:
        return shares_of(self.log_weight)

    def follow(self, day: int, hours: float) -> None:
        weekday = (day - 1) % 7
        if weekday == 0:
            self._new_week()
        household = self.presence
        if day in household.everybody_away or all(first > day for first in household.joins.values()):
            return
        self.log_weight += self._log_chance(weekday, hours)
        share = self.shares()
        if 1 / (share**2).sum() < EVEN_ENOUGH * len(share):
            self._become(evenly_picked(share, self.rng))

    def _new_week(self) -> None:
        habit, rng, number = self.habit, self.rng, len(self.level)
        moved = self.presence.keep * self.level + self.presence.shock * rng.standard_normal(number)
        self.level = np.minimum(moved, LEVEL_CAP)
        chance = rng.random(number)
        mean = np.where(self.long_silence, habit.long_silence_weeks, habit.short_silence_weeks)
        stops = self.building & (chance < habit.stop_chance)
        resumes = ~self.building & (chance < 1 / np.maximum(mean, 1.0))
        self.long_silence = np.where(stops, rng.random(number) < habit.long_chance, self.long_silence)
        self.building = (self.building & ~stops) | resumes

    def _log_chance(self, weekday: int, hours: float) -> np.ndarray:
        habit = self.habit
        lift = np.exp(0.5 * self.level)
        chance = np.minimum(habit.day_chance[weekday] * lift, DAY_CHANCE_CAP)
        if not hours:
            return np.where(self.building, np.log1p(-chance * (1 - _CAME_IN_VAIN)), 0.0)
        mean = habit.session_hours * lift * (WEEKEND_LENGTH if weekday > 4 else WEEKDAY_LENGTH)
        density = gamma.logpdf(hours, habit.session_shape, scale=mean / habit.session_shape)
        return np.where(self.building, np.log(chance) + density, -np.inf)

    def _become(self, picked: np.ndarray) -> None:
        self.level, self.building = self.level[picked], self.building[picked]
        self.long_silence, self.log_weight = self.long_silence[picked], np.zeros(len(picked))


class ToldBench:
    """Stands in for a fitted `BenchTime`: the days come from the true habit, all else from the fit."""

    def __init__(
        self, bench: BenchTime, stand: Stand, moods: Sequence[Mood], rng: np.random.Generator
    ) -> None:
        self.bench, self.first_day = bench, stand.day
        self.households = [_household(stand.presence, m, r) for m, r in zip(moods, rng.spawn(len(moods)),
                                                                             strict=True)]  # fmt: skip
        self.days: list[list[dict[str, int]]] = [[] for _ in moods]

    def __getattr__(self, name: str) -> Any:
        return getattr(self.bench, name)

    def play(self, draws: int, rng: np.random.Generator, *, joining: Sequence[Any] = ()) -> _ToldPlay:
        """As `BenchTime.play`."""
        return _ToldPlay(self, self.bench.presence_sampler(draws, rng, joining=joining), draws)

    def hours_of(self, run: int, skip: int, days: int) -> list[dict[str, int]]:
        """Who comes in a run, day by day: quarter-hours of each."""
        so_far = self.days[run]
        while len(so_far) < skip + days:
            so_far.append(self.households[run].day(self.first_day + len(so_far), lambda: Wish.NOTHING))
        return so_far[skip : skip + days]


class _ToldPlay:
    def __init__(self, told: ToldBench, own: Any, draws: int) -> None:
        self.told, self.own, self.draws = told, own, draws

    def hours(self, skip: int, days: int, runs: np.ndarray | None = None) -> BenchDraws:
        rows = np.arange(self.draws) if runs is None else runs
        drawn: BenchDraws = self.own.hours(skip, days, rows)
        hours = np.zeros_like(drawn.hours)
        column = {(HELPER if p == VISITOR else p): i for i, p in enumerate(drawn.people)}
        for row, run in enumerate(rows):
            for day, here in enumerate(self.told.hours_of(int(run), skip, days)):
                for person, quarters in here.items():
                    if person in column:
                        hours[row, day, column[person]] = quarters / QUARTERS
        return replace(drawn, hours=hours)


def _household(presence: Presence, mood: Mood, rng: np.random.Generator) -> Presence:
    one = presence.copy()
    one.mood = Mood(mood.building, mood.long_silence, mood.level)
    one.throw(rng)
    return one


class DrawnPresence:
    """Stands in for a true `Presence`: the days are one run of what the program has drawn.

    A visitor who is asked in comes as the true habit has it, since what waits is known only in the play.
    """

    def __init__(self, drawn: Any, run: int, first_day: int, asked: float, dice: np.random.Generator) -> None:
        self.drawn, self.run, self.first_day = drawn, run, first_day
        self.asked, self.dice = asked, dice
        self.people: tuple[str, ...] = ()
        self.quarters = np.zeros((0, 0), dtype=np.int64)

    def day(self, day: int, wish: Callable[[], Wish]) -> dict[str, int]:
        """As `Presence.day`; past the days that can be drawn they come again from the first."""
        at = (day - self.first_day) % _MOST_DAYS
        if at >= len(self.quarters):
            self._draw(_FIRST_DAYS if at < _FIRST_DAYS else _MOST_DAYS)
        here = {p: int(q) for p, q in zip(self.people, self.quarters[at], strict=True) if q}
        if len(here) == 1 and wish() is Wish.ONLY_TWO and self.dice.random() < self.asked:
            here[HELPER] = max(max(here.values()) // 2, 2)
        return here

    def _draw(self, days: int) -> None:
        drawn = self.drawn.hours(0, days, np.array([self.run]))
        self.people = tuple(HELPER if p == VISITOR else p for p in drawn.people)
        self.quarters = np.rint(drawn.hours[0] * QUARTERS).astype(np.int64)

    def throw(self, rng: np.random.Generator) -> None:
        """The days are drawn already."""
