"""One play of the coming days: every draw's parameters, then block after block of weeks.

Each part of the model has streams of its own, one a block, so that more days, other visitors or
somebody who joins leave the other draws as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import expit

from forecast.bench_time import priors
from forecast.bench_time.company import (
    Company,
    joined_by,
    newcomer_hours,
    newcomer_stream,
    newcomer_weekly_hours,
    sample_weights,
    share_out,
)
from forecast.bench_time.draws import HELPER, BenchDraws, Joining
from forecast.bench_time.habit import Habit, place_on_days
from forecast.bench_time.history import History, availability, day_kinds
from forecast.bench_time.level import Level
from forecast.bench_time.season import no_waves, year_waves
from forecast.bench_time.silences import Silences
from forecast.bench_time.stage_rank import RankHabit, play_ranks, sample_ranks
from forecast.bench_time.weekly import exposure_of
from forecast.bench_time.weeks import CurrentWeek, WeekState, play_weeks
from forecast.logbook import Away, Builder

_BLOCK_WEEKS = 13
_BLOCK_DAYS = 7 * _BLOCK_WEEKS
_PARTS = ("weeks", "days", "company", "visits", "ranks")


@dataclass(frozen=True, kw_only=True)
class Learned:
    """Everything that one fit has learned, and the calendar that it goes on in."""

    history: History
    silences: Silences
    level: Level
    habit: Habit
    company: Company
    ranks: RankHabit
    seasonal: bool
    most_week_hours: float
    builders: tuple[Builder, ...]
    away: tuple[Away, ...]
    country: str | None


class Play:
    """The streams and the parameters of one call of `sample_hours`."""

    def __init__(self, learned: Learned, days: int, draws: int, rng: np.random.Generator) -> None:
        self.learned, self.days, self.draws = learned, days, draws
        self.first_day = learned.history.as_of + timedelta(days=1)
        self.lead = self.first_day.weekday()
        self.monday = self.first_day - timedelta(days=self.lead)
        self.blocks = -(-(self.lead + days) // _BLOCK_DAYS)
        parameters, newcomers, *parts = rng.spawn(2 + len(_PARTS))
        self.streams = {name: part.spawn(self.blocks) for name, part in zip(_PARTS, parts, strict=True)}
        self.newcomer_key = int(newcomers.integers(2**63))
        chain, level, habit, weights, visits, rank = parameters.spawn(6)
        self.ask_after = priors.ASK_DAYS * np.exp(
            priors.ASK_LOG_SD * parameters.spawn(1)[0].standard_normal(draws)
        )
        self.chain = learned.silences.sample(draws, chain)
        self.level = learned.level.sample(draws, level)
        self.habit = learned.habit.sample(draws, habit)
        self.weights = sample_weights(learned.company, draws, weights)
        beta = learned.company.visits
        self.visit_chance = None if beta is None else visits.beta(*beta, draws)
        self.rank = sample_ranks(learned.ranks, draws, rank)

    def run(self, skip: int, newcomers: Mapping[str, Joining]) -> BenchDraws:
        """Draw all days and give those from the `skip`-th on."""
        people = self._people(newcomers)
        total = self.blocks * _BLOCK_DAYS
        calendar = _Calendar.of(self.learned, self.monday, total)
        hours = np.zeros((self.draws, total, len(people)), dtype=np.float32)
        ranks = np.zeros((self.draws, total), dtype=np.uint8)
        state = WeekState(
            silent=np.full(self.draws, float(self.learned.silences.silent_weeks)), x=self.level.x
        )
        for block in range(self.blocks):
            days = slice(block * _BLOCK_DAYS, (block + 1) * _BLOCK_DAYS)
            household = self._household(state, block, calendar.cut(days))
            draw, day = np.nonzero(household)
            worked = (draw, day)
            ranks[:, days] = play_ranks(self.rank, worked, _BLOCK_DAYS, self.streams["ranks"][block])
            shares = share_out(
                household, worked, self.learned.company, self.weights, self.streams["company"][block]
            )
            for i, column in enumerate(self.learned.company.settled):
                name = self.learned.history.people[column]
                hours[:, days, people.index(name)] = shares[:, :, i] * calendar.free[days, column]
            self._newcomers(hours[:, days], people, newcomers, household, calendar, days)
            if self.visit_chance is not None:
                hours[:, days, -1] = self._visits(household, block)
        window = slice(self.lead + skip, self.lead + self.days)
        return BenchDraws(
            start=self.first_day + timedelta(days=skip),
            people=people,
            hours=hours[:, window],
            stage_rank=ranks[:, window],
            only_two=np.array([p in newcomers and newcomers[p].only_two for p in people]),
            on_call=np.array([p == HELPER for p in people]),
            ask_after=self.ask_after,
        )

    def _people(self, newcomers: Mapping[str, Joining]) -> tuple[str, ...]:
        """Those with a log and those of build.toml in its order, then who joins, then the helper."""
        known, settled = self.learned.history.people, self._settled_ids()
        people = [p for p in known if p in settled or p in newcomers]
        people += [p for p in newcomers if p not in known]
        return (*people, HELPER) if self.visit_chance is not None else tuple(people)

    def _settled_ids(self) -> list[str]:
        return [self.learned.history.people[p] for p in self.learned.company.settled]

    def _household(self, state: WeekState, block: int, calendar: _Calendar) -> np.ndarray:
        """(draw, day) clock hours of the household in one block."""
        learned = self.learned
        kinds, free = calendar.kinds.reshape(-1, 7), calendar.open_days.reshape(-1, 7).copy()
        current = None
        if block == 0 and self.lead:
            current = self._current_week(kinds[0])
            if not current.worked:
                free[0, : self.lead] = False
        week_hours = play_weeks(
            state, self.chain, self.level, np.asarray(free.any(axis=1)), calendar.waves,
            learned.most_week_hours, self.streams["weeks"][block], current,
        )  # fmt: skip
        week_hours *= exposure_of(kinds, free, learned.habit).astype(np.float32)
        hours = place_on_days(
            week_hours, kinds, free, learned.habit, self.habit, self.streams["days"][block]
        ).reshape(self.draws, -1)
        if block == 0:
            hours[:, : self.lead] = 0.0
        return hours

    def _current_week(self, kinds: np.ndarray) -> CurrentWeek:
        history = self.learned.history
        past = history.open_days[-7:] & (np.arange(7) < self.lead)
        chance = expit(self.habit.logit[:, kinds])
        return CurrentWeek(
            worked=bool(history.household[-7:].sum() > 0),
            chance_of_later=np.prod(1 - chance * past, axis=1),
        )

    def _newcomers(
        self,
        out: np.ndarray,
        people: tuple[str, ...],
        newcomers: Mapping[str, Joining],
        household: np.ndarray,
        calendar: _Calendar,
        days: slice,
    ) -> None:
        known, company = self.learned.history.people, self.learned.company
        for name, joining in newcomers.items():
            could = joined_by(joining, self.monday, days.stop)[days]
            if name in known:
                could = could & calendar.free[days, known.index(name)]
            weekly = newcomer_weekly_hours(joining, self.draws, self.newcomer_key)
            rng = newcomer_stream(self.newcomer_key, name, days.start // _BLOCK_DAYS)
            drawn = newcomer_hours(household, weekly, company.weekly_hours, calendar.kinds[days], rng)
            out[:, :, people.index(name)] = drawn * could

    def _visits(self, household: np.ndarray, block: int) -> np.ndarray:
        u = self.streams["visits"][block].random(household.shape, dtype=np.float32)
        comes = u < np.asarray(self.visit_chance)[:, None]
        return np.asarray(np.where(comes, household * np.float32(self.learned.company.visit_share), 0.0))


@dataclass(frozen=True, kw_only=True)
class _Calendar:
    """(day,) kinds and whether the household can come, (day, person) who is free, (week, wave) waves."""

    kinds: np.ndarray
    free: np.ndarray
    open_days: np.ndarray
    waves: np.ndarray

    @classmethod
    def of(cls, learned: Learned, monday: date, days: int) -> _Calendar:
        history, weeks = learned.history, days // 7
        free = availability(monday, days, history.people, learned.builders, learned.away)
        return cls(
            kinds=day_kinds(monday, days, learned.country),
            free=free,
            open_days=np.asarray(free[:, history.main].any(axis=1)),
            waves=year_waves(monday, weeks) if learned.seasonal else no_waves(weeks),
        )

    def cut(self, days: slice) -> _Calendar:
        return _Calendar(
            kinds=self.kinds[days],
            free=self.free[days],
            open_days=self.open_days[days],
            waves=self.waves[days.start // 7 : days.stop // 7],
        )
