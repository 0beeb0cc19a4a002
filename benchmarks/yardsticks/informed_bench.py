"""Days at the bench of an invented household, from a forecaster that knows its habit.

The households of benchmarks/invented/workshop have a level that moves, and spells of building and silence
that begin and end unseen. This forecaster knows every parameter of the habit, as no program can, and infers
the present state from the log with a particle filter. The days to come are then simulated by the true rules
and handed to the program as if it had drawn them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
from scipy.stats import gamma

from benchmarks.invented.sessions import DAY_CHANCE_CAP, SESSION_SHARE_OF_LEVEL, WEEKDAY_LENGTH
from benchmarks.invented.workshop.presence import (
    HELPER,
    LEVEL_CAP,
    QUARTERS,
    WEEKEND_LENGTH,
    HabitState,
    Presence,
    TwoPersonWork,
)
from benchmarks.invented.workshop.scenario import PlayState
from benchmarks.yardsticks.particle_filter import PARTICLES, ParticleFilter
from forecast.learn.bench_time import BenchDraws, BenchTime
from forecast.learn.bench_time.draws import HELPER as VISITOR

# Share of visits in which nobody found work to do; the log shows no hours for them. Judgement.
_NOTHING_TO_DO = 0.02
# Most plays end within four years: drawing 15 at once would cost four times as much.
_FIRST_DAYS, _MOST_DAYS = 1_400, 5_400


def informed_states(
    state: PlayState, first: date, as_of: date, count: int, rng: np.random.Generator
) -> list[HabitState]:
    """Posterior draws of the household's state at the end of `as_of`, given its habit and its log.

    Parameters
    ----------
    state : the build at the end of `as_of`, with its log rows; its own habit state is not read
    first : the first day on which anybody could come
    as_of : the last day of the log
    count : how many draws
    rng : source of particles and draws
    """
    worked = _hours_per_day(state)
    particles = _HouseholdParticles(state.presence, rng)
    for day in range(first.toordinal(), as_of.toordinal() + 1):
        particles.follow(day, worked.get(day, 0.0))
    return particles.sample(count)


def _hours_per_day(state: PlayState) -> dict[int, float]:
    """Day -> hours of whoever was there longest."""
    quarters: dict[tuple[int, str], int] = {}
    for row in state.workshop.rows:
        for person in row.people:
            if person != HELPER:
                quarters[row.day, person] = quarters.get((row.day, person), 0) + row.quarters
    longest: dict[int, float] = {}
    for (day, _), worked in quarters.items():
        longest[day] = max(longest.get(day, 0.0), worked / QUARTERS)
    return longest


class _HouseholdParticles:
    """Copies of one household, weighted by how well each explains the log so far; rules as in `Presence`."""

    def __init__(self, presence: Presence, rng: np.random.Generator) -> None:
        self.presence, self.habit, self.rng = presence, presence.habit, rng
        self.level = self.habit.level_sd * rng.standard_normal(PARTICLES)
        self.building = np.ones(PARTICLES, dtype=bool)
        self.long_silence = np.zeros(PARTICLES, dtype=bool)
        self.filter = ParticleFilter(rng)

    def sample(self, count: int) -> list[HabitState]:
        return [
            HabitState(bool(self.building[i]), bool(self.long_silence[i]), float(self.level[i]))
            for i in self.filter.sample(count)
        ]

    def follow(self, day: int, hours: float) -> None:
        weekday = (day - 1) % 7
        if weekday == 0:
            self._start_week()
        household = self.presence
        if day in household.everybody_away or all(first > day for first in household.joins.values()):
            return
        survivors = self.filter.observe(self._log_likelihood(weekday, hours))
        if survivors is not None:
            self.level, self.building = self.level[survivors], self.building[survivors]
            self.long_silence = self.long_silence[survivors]

    def _start_week(self) -> None:
        habit, rng, number = self.habit, self.rng, len(self.level)
        moved = self.presence.carry * self.level + self.presence.shock * rng.standard_normal(number)
        self.level = np.minimum(moved, LEVEL_CAP)
        chance = rng.random(number)
        mean = np.where(self.long_silence, habit.long_silence_weeks, habit.short_silence_weeks)
        stops = self.building & (chance < habit.stop_chance)
        resumes = ~self.building & (chance < 1 / np.maximum(mean, 1.0))
        self.long_silence = np.where(stops, rng.random(number) < habit.long_chance, self.long_silence)
        self.building = (self.building & ~stops) | resumes

    def _log_likelihood(self, weekday: int, hours: float) -> np.ndarray:
        habit = self.habit
        lift = np.exp(SESSION_SHARE_OF_LEVEL * self.level)
        chance = np.minimum(habit.day_chance[weekday] * lift, DAY_CHANCE_CAP)
        if not hours:
            return np.where(self.building, np.log1p(-chance * (1 - _NOTHING_TO_DO)), 0.0)
        mean = habit.session_hours * lift * (WEEKEND_LENGTH if weekday > 4 else WEEKDAY_LENGTH)
        density = gamma.logpdf(hours, habit.session_shape, scale=mean / habit.session_shape)
        return np.where(self.building, np.log(chance) + density, -np.inf)


class InformedBench:
    """Stands in for a fitted `BenchTime`: days from the true habit, everything else from the fit.

    Parameters
    ----------
    bench : the fit
    state : the build on the day of the forecast
    states : one habit state per run
    rng : source of the days to come
    """

    def __init__(
        self, bench: BenchTime, state: PlayState, states: Sequence[HabitState], rng: np.random.Generator
    ) -> None:
        self.bench, self.first_day = bench, state.day
        streams = rng.spawn(len(states))
        self.households = [_household(state.presence, s, r) for s, r in zip(states, streams, strict=True)]
        self.days: list[list[dict[str, int]]] = [[] for _ in states]

    def __getattr__(self, name: str) -> Any:
        return getattr(self.bench, name)

    def presence_sampler(
        self, draws: int, rng: np.random.Generator, *, joining: Sequence[Any] = ()
    ) -> _InformedSampler:
        """As `BenchTime.presence_sampler`."""
        return _InformedSampler(self, self.bench.presence_sampler(draws, rng, joining=joining), draws)

    def days_of(self, run: int, skip: int, days: int) -> list[dict[str, int]]:
        """Quarter-hours of everybody who comes, day by day, in one run."""
        so_far = self.days[run]
        while len(so_far) < skip + days:
            so_far.append(self.households[run].day(self.first_day + len(so_far), lambda: TwoPersonWork.NONE))
        return so_far[skip : skip + days]


class _InformedSampler:
    def __init__(self, informed: InformedBench, own: Any, draws: int) -> None:
        self.informed, self.own, self.draws = informed, own, draws

    def hours(self, skip: int, days: int, runs: np.ndarray | None = None) -> BenchDraws:
        rows = np.arange(self.draws) if runs is None else runs
        drawn: BenchDraws = self.own.hours(skip, days, rows)
        hours = np.zeros_like(drawn.hours)
        column = {(HELPER if p == VISITOR else p): i for i, p in enumerate(drawn.people)}
        for row, run in enumerate(rows):
            for day, here in enumerate(self.informed.days_of(int(run), skip, days)):
                for person, quarters in here.items():
                    if person in column:
                        hours[row, day, column[person]] = quarters / QUARTERS
        return replace(drawn, hours=hours)


def _household(presence: Presence, state: HabitState, rng: np.random.Generator) -> Presence:
    one = presence.copy()
    one.state = replace(state)
    one.redraw(rng)
    return one


class DrawnPresence:
    """Stands in for a true `Presence`: the days are one run of what the program has drawn.

    A helper who is called in comes as often as the true habit has it, since only the play knows what waits.

    Parameters
    ----------
    drawn : the program's presence sampler
    run : the run whose days these are
    first_day : ordinal of the first day
    call_chance : chance that somebody alone, with only two-person work to do, calls in a helper
    rng : decides whether the helper comes
    """

    def __init__(
        self, drawn: Any, run: int, first_day: int, call_chance: float, rng: np.random.Generator
    ) -> None:
        self.drawn, self.run, self.first_day = drawn, run, first_day
        self.call_chance, self.rng = call_chance, rng
        self.people: tuple[str, ...] = ()
        self.quarters = np.zeros((0, 0), dtype=np.int64)

    def day(self, day: int, two_person_work: Callable[[], TwoPersonWork]) -> dict[str, int]:
        """As `Presence.day`; past the last day that can be drawn, the days repeat from the first."""
        at = (day - self.first_day) % _MOST_DAYS
        if at >= len(self.quarters):
            self._draw(_FIRST_DAYS if at < _FIRST_DAYS else _MOST_DAYS)
        here = {p: int(q) for p, q in zip(self.people, self.quarters[at], strict=True) if q}
        if (
            len(here) == 1
            and two_person_work() is TwoPersonWork.ONLY
            and self.rng.random() < self.call_chance
        ):
            here[HELPER] = max(max(here.values()) // 2, 2)
        return here

    def _draw(self, days: int) -> None:
        drawn = self.drawn.hours(0, days, np.array([self.run]))
        self.people = tuple(HELPER if p == VISITOR else p for p in drawn.people)
        self.quarters = np.rint(drawn.hours[0] * QUARTERS).astype(np.int64)

    def redraw(self, rng: np.random.Generator) -> None:
        """The days are drawn already."""
