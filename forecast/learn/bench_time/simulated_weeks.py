"""The coming days, simulated: parameters of every run, then week after week as far as they are needed.

The first two years of all runs come from one generator, later ones from a generator per run, since few
runs need them. More days, other visitors or a newcomer leave the other draws as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

import forecast.learn.bench_time.priors as priors
from forecast.files.logbook import Away, Builder
from forecast.learn.bench_time.calling_in_help import CallingIn
from forecast.learn.bench_time.draws import HELPER, BenchDraws, Newcomer
from forecast.learn.bench_time.habit import Habit
from forecast.learn.bench_time.history import History, availability, day_kinds
from forecast.learn.bench_time.level import Level
from forecast.learn.bench_time.people import (
    Company,
    draw_newcomer,
    has_joined,
    newcomer_weekly_hours,
    sample_weights,
)
from forecast.learn.bench_time.records import Days, Drawn, State, Usual, Weeks
from forecast.learn.bench_time.season import season_terms
from forecast.learn.bench_time.silences import Silences
from forecast.learn.bench_time.stage_rank import RankHabit, sample_ranks
from forecast.learn.bench_time.weekly import exposure_of
from forecast.random_streams import named_stream, stream

_SHARED_WEEKS = 104  # drawn for all runs together, which is fast; most builds are finished by then
_WEEKS_PER_YEAR = 52.18
_WHOLE_WEEK, _NOT_YET, _WORKED = -1, 0, 1


@dataclass(frozen=True, kw_only=True)
class Learned:
    """Everything estimated by one fit, and the calendar of the coming days."""

    history: History
    silences: Silences
    level: Level
    habit: Habit
    company: Company
    calling_in: CallingIn
    ranks: RankHabit
    seasonal: bool
    most_week_hours: float
    builders: tuple[Builder, ...]
    away: tuple[Away, ...]
    country: str | None


class PresenceSampler:
    """One set of runs: their parameters, and their days so far.

    Parameters
    ----------
    learned : one fit
    draws : number of runs
    rng : equal states give equal days
    newcomers : people without sessions of their own who may come, by id
    """

    def __init__(
        self, learned: Learned, draws: int, rng: np.random.Generator, newcomers: Mapping[str, Newcomer]
    ) -> None:
        self.learned, self.draws, self.newcomers = learned, draws, newcomers
        self.first_day = learned.history.as_of + timedelta(days=1)
        self.lead = self.first_day.weekday()
        self.monday = self.first_day - timedelta(days=self.lead)
        self._draw_parameters(rng)
        self._rng, keys = rng.spawn(2)
        self._key, self._newcomer_key = (int(k) for k in keys.integers(2**63, size=2))
        self._newcomer_rng = {name: named_stream(self._newcomer_key, name, 0) for name in newcomers}
        self._newcomer_weekly = {
            name: newcomer_weekly_hours(newcomer, draws, self._newcomer_key)
            for name, newcomer in newcomers.items()
        }
        self._settled = [learned.history.people[p] for p in learned.company.settled]
        self._shared: list[tuple[np.ndarray, np.ndarray]] = []

    @property
    def people(self) -> tuple[str, ...]:
        """Builders of the log and of build.toml in its order, then other newcomers, then unnamed helpers."""
        known = self.learned.history.people
        people = [p for p in known if p in self._settled or p in self.newcomers]
        people += [p for p in self.newcomers if p not in known]
        more = [f"{HELPER} {n + 1}" for n in range(1, len(self.learned.company.parties))]
        return (*people, HELPER, *more) if self.learned.company.visits is not None else tuple(people)

    def hours(self, skip: int, days: int, runs: np.ndarray | None = None) -> BenchDraws:
        """The days from the `skip`-th on.

        Parameters
        ----------
        skip, days : days left out, and days returned
        runs : indices of the runs; None = all
        """
        rows = np.arange(self.draws) if runs is None else np.asarray(runs)
        people, end = self.people, self.lead + skip + days
        weeks = max(-(-end // 7), 1)
        self._extend_shared(min(weeks, _SHARED_WEEKS))
        all_runs = len(rows) == self.draws
        spans = [(h, r) if all_runs else (h[rows], r[rows]) for h, r in self._shared]
        if weeks > _SHARED_WEEKS:
            spans.append(self._later_span(rows, weeks))
        window = slice(self.lead + skip, end)
        helper = np.array([p == HELPER for p in people])
        return BenchDraws(
            start=self.first_day + timedelta(days=skip),
            people=people,
            hours=np.concatenate([hours for hours, _ in spans], axis=1)[:, window],
            stage_rank=np.concatenate([ranks for _, ranks in spans], axis=1)[:, window],
            only_two=np.array([p in self.newcomers and self.newcomers[p].only_two for p in people]),
            on_call=helper,
            lends=helper.copy(),
            call_after_days=self._call_after_days[rows],
            idle_call_after_days=self._idle_call_after_days[rows],
        )

    def _draw_parameters(self, rng: np.random.Generator) -> None:
        """The parameters of every run, each part from a stream of its own."""
        learned, draws, company = self.learned, self.draws, self.learned.company
        chains, levels, habits, weights, visits, ranks, calls, changes = rng.spawn(8)
        level, x = learned.level.sample(draws, levels)
        habit = learned.habit.sample(draws, habits)
        self._call_after_days, visit = learned.calling_in.sample(draws, company.visits, visits)
        self._idle_call_after_days = priors.IDLE_CALL_DAYS * np.exp(
            priors.IDLE_CALL_LOG_SD * calls.standard_normal(draws)
        )
        drawn = Drawn(
            **learned.silences.sample(draws, chains),
            **level,
            **habit,
            ranks=sample_ranks(learned.ranks, draws, ranks),
            company=sample_weights(company, draws, weights),
            visit=visit,
            later_change=changes.normal(priors.LATER_CHANGE_MEAN, priors.LATER_CHANGE_SD, size=draws),
            later=_chance_of_later(learned.history, self.lead, habit["odds"]),
        )
        # Contiguous, so that the simulation is compiled for one memory layout only.
        self._drawn = Drawn._make(np.ascontiguousarray(part) for part in drawn)
        self._usual = Usual(
            hours=float(np.exp(learned.habit.usual_log_hours)),
            length=learned.habit.length,
            longest_day=learned.habit.longest_day,
            session_shape=priors.SESSION_SHAPE,
            most_week_hours=learned.most_week_hours,
            shares=company.shares,
            visit_share=company.visit_share,
            parties=company.parties,
            change_weeks=priors.LATER_CHANGE_WEEKS,
            gap_chance=priors.LONG_SILENCES_PER_YEAR / _WEEKS_PER_YEAR,
            gap_link=priors.LONG_SILENCE_LINK,
            gap_log_weeks=float(np.log(priors.LONG_SILENCE_WEEKS)),
            gap_log_sd=priors.LONG_SILENCE_LOG_SD,
        )
        self._state = State(
            silent=np.full(draws, float(learned.silences.silent_weeks)),
            level=x,
            gap=np.zeros(draws),
        )

    def _extend_shared(self, weeks: int) -> None:
        """Simulate all runs from one generator, up to so many weeks."""
        from forecast.learn.bench_time.kernel import simulate_weeks  # numba takes a second to import

        so_far = sum(ranks.shape[1] for _, ranks in self._shared) // 7
        if so_far >= weeks:
            return
        calendar, out = self._calendar(weeks), self._empty_days(self.draws, weeks - so_far)
        rows, records = np.arange(self.draws), self._weeks(calendar)
        simulate_weeks(self._rng, rows, so_far, weeks, self._drawn, records, self._usual, self._state, out)
        self._shared.append(self._span(out, calendar, so_far, rows, self._newcomer_rng))

    def _later_span(self, rows: np.ndarray, weeks: int) -> tuple[np.ndarray, np.ndarray]:
        """The weeks after the shared ones of some runs, each from its own generator."""
        from forecast.learn.bench_time.kernel import simulate_weeks

        calendar, out = self._calendar(weeks), self._empty_days(len(rows), weeks - _SHARED_WEEKS)
        records, state = self._weeks(calendar), State(*(part.copy() for part in self._state))
        for row, run in enumerate(rows):
            rng, one, place = stream(self._key, int(run)), rows[row : row + 1], slice(row, row + 1)
            room = Days(*(part[place] for part in out))
            simulate_weeks(rng, one, _SHARED_WEEKS, weeks, self._drawn, records, self._usual, state, room)
        return self._span(out, calendar, _SHARED_WEEKS, rows, None)

    def _span(
        self,
        out: Days,
        calendar: tuple[np.ndarray, np.ndarray],
        first_week: int,
        rows: np.ndarray,
        rngs: Mapping[str, np.random.Generator] | None,
    ) -> tuple[np.ndarray, np.ndarray]:
        """(run, day, person) hours of everybody and (run, day) ranks of some weeks in a row.

        Without `rngs` each run has a generator of its own.
        """
        people, known, (kinds, free) = self.people, self.learned.history.people, calendar
        days = slice(7 * first_week, 7 * first_week + out.household.shape[1])
        hours = np.zeros((*out.household.shape, len(people)), dtype=np.float32)
        for i, column in enumerate(self.learned.company.settled):
            hours[:, :, people.index(known[column])] = out.people[:, :, i] * free[days, column]
        for name, newcomer in self.newcomers.items():
            could = has_joined(newcomer, self.monday, days.stop)[days]
            if name in known:
                could = could & free[days, known.index(name)]
            drawn = self._newcomer_hours(name, out.household, kinds[days], rows, rngs)
            hours[:, :, people.index(name)] = could * drawn
        if HELPER in people:
            hours[:, :, people.index(HELPER) :] = out.visits
        return hours, out.ranks

    def _newcomer_hours(
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

    def _empty_days(self, runs: int, weeks: int) -> Days:
        shape = (runs, 7 * weeks)
        return Days(
            household=np.zeros(shape, dtype=np.float32),
            people=np.zeros((*shape, len(self._settled)), dtype=np.float32),
            visits=np.zeros((*shape, len(self.learned.company.parties)), dtype=np.float32),
            ranks=np.zeros(shape, dtype=np.uint8),
        )

    def _calendar(self, weeks: int) -> tuple[np.ndarray, np.ndarray]:
        """(day,) kinds of days, and (day, person) who is free."""
        learned, days = self.learned, 7 * weeks
        kinds = day_kinds(self.monday, days, learned.country)
        people = learned.history.people
        return kinds, availability(self.monday, days, people, learned.builders, learned.away)

    def _weeks(self, calendar: tuple[np.ndarray, np.ndarray]) -> Weeks:
        """The calendar as the kernel reads it."""
        history = self.learned.history
        kinds = calendar[0].reshape(-1, 7)
        free, begun = calendar[1][:, history.main].any(axis=1).reshape(-1, 7), _WHOLE_WEEK
        if self.lead:
            begun = _WORKED if history.household[-7:].sum() > 0 else _NOT_YET
        if begun == _NOT_YET:
            free[0, : self.lead] = False
        return Weeks(
            kinds=kinds,
            free=free,
            open=np.asarray(free.any(axis=1)),
            exposure=exposure_of(kinds, free, self.learned.habit),
            season=season_terms(self.monday, len(kinds), seasonal=self.learned.seasonal),
            begun=begun,
            lead=self.lead,
        )


def _chance_of_later(history: History, lead: int, odds: np.ndarray) -> np.ndarray:
    """(run,) chance that a worked week has all its sessions after `as_of`."""
    past = history.open_days[-7:] & (np.arange(7) < lead)
    here = odds[:, history.kinds[-7:]]
    return np.asarray(np.prod(1 - here / (1 + here) * past, axis=1))
