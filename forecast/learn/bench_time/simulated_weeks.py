"""The coming days, simulated: every run's parameters, then week after week as far as they are asked for.

The first two years of all runs come from one generator, later ones from a generator of each run's own:
few runs need them. More days, other visitors or somebody who joins leave the other draws as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from forecast.files.logbook import Away, Builder
from forecast.learn.bench_time import priors
from forecast.learn.bench_time.calling_in_help import CallingIn
from forecast.learn.bench_time.draws import HELPER, BenchDraws, Newcomer
from forecast.learn.bench_time.habit import Habit
from forecast.learn.bench_time.history import History, availability, day_kinds
from forecast.learn.bench_time.level import Level
from forecast.learn.bench_time.people import (
    Company,
    draw_newcomer,
    joined_by,
    newcomer_weekly_hours,
    sample_weights,
)
from forecast.learn.bench_time.season import waves_of
from forecast.learn.bench_time.silences import Silences
from forecast.learn.bench_time.stage_rank import RankHabit, sample_ranks
from forecast.learn.bench_time.weekly import exposure_of
from forecast.random_streams import named_stream, stream

if TYPE_CHECKING:
    from forecast.learn.bench_time.kernel import Days, Drawn, State, Usual, Weeks

_NEAR_WEEKS = 104
_WHOLE_WEEK, _NOT_YET, _WORKED = -1, 0, 1


@dataclass(frozen=True, kw_only=True)
class Learned:
    """Everything that one fit has learned, and the calendar that it goes on in."""

    history: History
    silences: Silences
    level: Level
    habit: Habit
    company: Company
    asking: CallingIn
    ranks: RankHabit
    seasonal: bool
    most_week_hours: float
    builders: tuple[Builder, ...]
    away: tuple[Away, ...]
    country: str | None


class PresenceSampler:
    """One set of runs: what was drawn of each, and its days so far.

    Parameters
    ----------
    learned : one fit
    draws : runs
    rng : the same state gives the same days
    newcomers : people without sessions of their own who may come, by id
    """

    def __init__(
        self, learned: Learned, draws: int, rng: np.random.Generator, newcomers: Mapping[str, Newcomer]
    ) -> None:
        self.learned, self.draws, self.newcomers = learned, draws, newcomers
        self.first_day = learned.history.as_of + timedelta(days=1)
        self.lead = self.first_day.weekday()
        self.monday = self.first_day - timedelta(days=self.lead)
        asks, self._drawn, self._state, self._usual = _sample(learned, draws, rng)
        self.call_after_days, self.idle_call_after_days = asks
        self._rng, keys = rng.spawn(2)
        self._key, self._newcomer_key = (int(k) for k in keys.integers(2**63, size=2))
        self._newcomer_rng = {name: named_stream(self._newcomer_key, name, 0) for name in newcomers}
        self._newcomer_weekly = {
            name: newcomer_weekly_hours(joining, draws, self._newcomer_key)
            for name, joining in newcomers.items()
        }
        self._near: list[_Span] = []

    @property
    def people(self) -> tuple[str, ...]:
        """Those with a log and those of build.toml in its order, then who joins, then the helper."""
        known, settled = self.learned.history.people, self._settled_ids()
        people = [p for p in known if p in settled or p in self.newcomers]
        people += [p for p in self.newcomers if p not in known]
        return (*people, HELPER) if self.learned.company.visits is not None else tuple(people)

    def hours(self, skip: int, days: int, runs: np.ndarray | None = None) -> BenchDraws:
        """The days from the `skip`-th on.

        Parameters
        ----------
        skip, days : days left out, and days given
        runs : which of the runs; None = all
        """
        rows = np.arange(self.draws) if runs is None else np.asarray(runs)
        people, wanted = self.people, self.lead + skip + days
        weeks = max(-(-wanted // 7), 1)
        self._play_near(min(weeks, _NEAR_WEEKS))
        spans = [span.of(rows) for span in self._near]
        if weeks > _NEAR_WEEKS:
            spans.append(self._far(rows, weeks))
        window = slice(self.lead + skip, wanted)
        return BenchDraws(
            start=self.first_day + timedelta(days=skip),
            people=people,
            hours=np.concatenate([s.hours for s in spans], axis=1)[:, window],
            stage_rank=np.concatenate([s.ranks for s in spans], axis=1)[:, window],
            only_two=np.array([p in self.newcomers and self.newcomers[p].only_two for p in people]),
            on_call=np.array([p == HELPER for p in people]),
            lends=np.array([p == HELPER for p in people]),
            call_after_days=self.call_after_days[rows],
            idle_call_after_days=self.idle_call_after_days[rows],
        )

    def _settled_ids(self) -> list[str]:
        return [self.learned.history.people[p] for p in self.learned.company.settled]

    def _play_near(self, weeks: int) -> None:
        """Play all runs on from one generator, up to so many weeks."""
        from forecast.learn.bench_time.kernel import simulate_weeks

        so_far = sum(span.ranks.shape[1] for span in self._near) // 7
        if so_far >= weeks:
            return
        calendar, out = self._calendar(weeks), self._room(self.draws, weeks - so_far)
        everybody, records = np.arange(self.draws), self._weeks(calendar)
        simulate_weeks(
            self._rng, everybody, so_far, weeks, self._drawn, records, self._usual, self._state, out
        )
        self._near.append(self._span(out, calendar, so_far, everybody, self._newcomer_rng))

    def _far(self, rows: np.ndarray, weeks: int) -> _Span:
        """Some runs, each from its own generator, from the end of the near weeks on."""
        from forecast.learn.bench_time.kernel import Days, State, simulate_weeks

        calendar, out = self._calendar(weeks), self._room(len(rows), weeks - _NEAR_WEEKS)
        records, state = self._weeks(calendar), State(*(part.copy() for part in self._state))
        for row, run in enumerate(rows):
            rng = stream(self._key, int(run))
            one = Days(*(part[row : row + 1] for part in out))
            simulate_weeks(
                rng, rows[row : row + 1], _NEAR_WEEKS, weeks, self._drawn, records, self._usual, state, one
            )
        return self._span(out, calendar, _NEAR_WEEKS, rows, None)

    def _span(
        self,
        out: Days,
        calendar: _Calendar,
        first_week: int,
        rows: np.ndarray,
        rngs: Mapping[str, np.random.Generator] | None,
    ) -> _Span:
        """(run, day, person) hours of everybody; without `rngs` each run has a generator of its own."""
        people, history = self.people, self.learned.history
        days = slice(7 * first_week, 7 * first_week + out.household.shape[1])
        hours = np.zeros((*out.household.shape, len(people)), dtype=np.float32)
        for i, column in enumerate(self.learned.company.settled):
            name = history.people[column]
            hours[:, :, people.index(name)] = out.people[:, :, i] * calendar.free[days, column]
        for name, joining in self.newcomers.items():
            could = joined_by(joining, self.monday, days.stop)[days]
            if name in history.people:
                could = could & calendar.free[days, history.people.index(name)]
            hours[:, :, people.index(name)] = could * self._newcomer(
                name, out.household, calendar.kinds[days], rows, rngs
            )
        if people[-1] == HELPER:
            hours[:, :, -1] = out.visits
        return _Span(hours=hours, ranks=out.ranks)

    def _newcomer(
        self,
        name: str,
        household: np.ndarray,
        kinds: np.ndarray,
        rows: np.ndarray,
        rngs: Mapping[str, np.random.Generator] | None,
    ) -> np.ndarray:
        weekly, usual = self._newcomer_weekly[name][rows], self.learned.company.weekly_hours
        if rngs is not None:
            return draw_newcomer(household, weekly, usual, kinds, rngs[name])
        drawn = np.empty_like(household)
        for row, run in enumerate(rows):
            rng = named_stream(self._newcomer_key, name, 1, int(run))
            one = slice(row, row + 1)
            drawn[one] = draw_newcomer(household[one], weekly[one], usual, kinds, rng)
        return drawn

    def _room(self, runs: int, weeks: int) -> Days:
        from forecast.learn.bench_time.kernel import Days

        shape = (runs, 7 * weeks)
        return Days(
            household=np.zeros(shape, dtype=np.float32),
            people=np.zeros((*shape, len(self.learned.company.settled)), dtype=np.float32),
            visits=np.zeros(shape, dtype=np.float32),
            ranks=np.zeros(shape, dtype=np.uint8),
        )

    def _calendar(self, weeks: int) -> _Calendar:
        return _Calendar.of(self.learned, self.monday, 7 * weeks)

    def _weeks(self, calendar: _Calendar) -> Weeks:
        from forecast.learn.bench_time.kernel import Weeks

        kinds, free = calendar.kinds.reshape(-1, 7), calendar.open_days.reshape(-1, 7).copy()
        begun = _begun(self.learned, self.lead)
        if begun == _NOT_YET:
            free[0, : self.lead] = False
        return Weeks(
            kinds=kinds,
            free=free,
            open=np.asarray(free.any(axis=1)),
            exposure=exposure_of(kinds, free, self.learned.habit),
            waves=calendar.waves,
            begun=begun,
            lead=self.lead,
        )


def _begun(learned: Learned, lead: int) -> int:
    if not lead:
        return _WHOLE_WEEK
    return _WORKED if learned.history.household[-7:].sum() > 0 else _NOT_YET


def _sample(
    learned: Learned, draws: int, rng: np.random.Generator
) -> tuple[tuple[np.ndarray, np.ndarray], Drawn, State, Usual]:
    """The parameters of every run, each part from a stream of its own."""
    from forecast.learn.bench_time.kernel import Drawn, State, Usual

    chains, levels, habits, weights, visits, ranks, asks = rng.spawn(7)
    chain, level = learned.silences.sample(draws, chains), learned.level.sample(draws, levels)
    habit, rank = learned.habit.sample(draws, habits), sample_ranks(learned.ranks, draws, ranks)
    company = learned.company
    call_after_days, visit = learned.asking.sample(draws, company.visits, visits)
    idle = priors.ASK_IDLE_DAYS * np.exp(priors.ASK_IDLE_LOG_SD * asks.standard_normal(draws))
    drawn = Drawn(
        stop=chain.stop, resume=chain.resume, slope=chain.slope, link=chain.link,
        chance_season=chain.season, keep=level.keep, move=level.move, shape=level.shape, mean=level.mean,
        hours_season=level.season, odds=habit.odds, stretch=habit.stretch,
        company=sample_weights(company, draws, weights), visit=visit, ranks=rank.cumulative, stay=rank.stay,
        later=_chance_of_later(learned, habit.odds),
    )  # fmt: skip
    usual = Usual(
        hours=float(np.exp(learned.habit.usual_log_hours)),
        length=learned.habit.length,
        longest_day=learned.habit.longest_day,
        session_shape=priors.SESSION_SHAPE,
        most_week_hours=learned.most_week_hours,
        shares=company.shares,
        visit_share=company.visit_share,
    )
    state = State(
        silent=np.full(draws, float(learned.silences.silent_weeks)),
        level=level.x.copy(),
        rank=np.full(draws, rank.last, dtype=np.uint8),
    )
    # All in one block each, so that the play of the weeks is compiled for one layout only.
    drawn = Drawn._make(np.ascontiguousarray(part) for part in drawn)
    return (call_after_days, idle), drawn, state, usual


def _chance_of_later(learned: Learned, odds: np.ndarray) -> np.ndarray:
    """(run,) chance that a worked week has all its sessions after `as_of`."""
    history = learned.history
    lead = (history.as_of + timedelta(days=1)).weekday()
    past = history.open_days[-7:] & (np.arange(7) < lead)
    here = odds[:, history.kinds[-7:]]
    return np.asarray(np.prod(1 - here / (1 + here) * past, axis=1))


@dataclass(frozen=True, kw_only=True)
class _Span:
    """(run, day, person) hours and (run, day) ranks of some weeks in a row."""

    hours: np.ndarray
    ranks: np.ndarray

    def of(self, rows: np.ndarray) -> _Span:
        if len(rows) == len(self.hours):
            return self
        return _Span(hours=self.hours[rows], ranks=self.ranks[rows])


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
            waves=waves_of(monday, weeks, seasonal=learned.seasonal),
        )
