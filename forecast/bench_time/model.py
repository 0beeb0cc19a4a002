"""When somebody is at the bench: the model that the forecast draws from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from scipy.special import expit

from forecast.bench_time import priors
from forecast.bench_time.company import (
    Company,
    fit_company,
    joined_by,
    joinings_by_id,
    newcomer_hours,
    newcomer_stream,
    newcomer_weekly_hours,
    sample_weights,
    share_out,
)
from forecast.bench_time.draws import BenchDraws, Joining
from forecast.bench_time.habit import Habit, HabitDraws, fit_habit, place_on_days
from forecast.bench_time.history import SUNDAY, History, availability, day_kinds, read_history
from forecast.bench_time.level import Level, LevelDraws, fit_level
from forecast.bench_time.silences import Silences, fit_silences
from forecast.bench_time.stage_rank import RankDraws, RankHabit, fit_stage_ranks, play_ranks, sample_ranks
from forecast.bench_time.weeks import CurrentWeek, WeekState, play_weeks
from forecast.logbook import Away, Builder
from forecast.progress import Progress

_BLOCK_WEEKS = 26
_LEAST_EXPOSURE = 0.3
_HELPER = "helper"


class BenchTime:
    """Hours at the bench, learned from a log.

    Weeks are worked or silent, sticky both ways; the hours of a worked week follow a level that
    wanders; days and company follow habit. Every draw has its own parameters.

    Parameters
    ----------
    longest_week_hours : no week of the household has more clock hours than this, or than 1.25 times
        the fullest week of the log

    Attributes
    ----------
    history_ : the log as days
    silences_, level_, habit_, company_, ranks_ : what was learned
    basis_ : part -> "own", "pooled" or "prior"
    notes_ : sentences about what rests on an assumption

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> from forecast.plan import Plan, Task
    >>> from forecast.progress import read_progress
    >>> from forecast.logbook import Builder, read_sessions
    >>> sessions = read_sessions([], [Builder(id="A")], None)[0]
    >>> plan = Plan(tasks=(Task(task="T", stage="S", title="T"),))
    >>> progress = read_progress(plan, sessions, date(2026, 3, 1))
    >>> bench = BenchTime().fit(progress, [Builder(id="A", weekly_hours=6)])
    >>> draws = bench.sample_hours(date(2026, 3, 2), 14, 100, np.random.default_rng(0))
    >>> draws.people, draws.hours.shape, draws.stage_rank.shape
    (('A',), (100, 14, 1), (100, 14))
    """

    def __init__(self, *, longest_week_hours: float = 60.0) -> None:
        self.longest_week_hours = longest_week_hours

    def fit(
        self,
        progress: Progress,
        builders: Sequence[Builder],
        away: Sequence[Away] = (),
        country: str | None = None,
    ) -> BenchTime:
        """Learn from the sessions of `progress` (nothing after its `as_of`)."""
        self.builders, self.away, self.country = tuple(builders), tuple(away), country
        self.history_: History = read_history(progress.sessions, builders, away, progress.as_of, country)
        week_hours = self.history_.household.reshape(-1, 7).sum(axis=1)
        self.habit_: Habit = fit_habit(self.history_, week_hours)
        exposure = self._exposure()
        self.silences_: Silences = fit_silences(self._chain_weeks(week_hours, exposure))
        self.level_: Level = self._fit_level(week_hours, exposure)
        self.ranks_: RankHabit = fit_stage_ranks(progress)
        self._fit_people(progress)
        self.most_week_hours_ = max(self.longest_week_hours, 1.25 * float(week_hours.max(initial=0.0)))
        self.basis_, self.notes_ = self._basis()
        return self

    def sample_hours(
        self,
        start: date,
        days: int,
        draws: int,
        rng: np.random.Generator,
        *,
        joining: Sequence[Joining] = (),
    ) -> BenchDraws:
        """Draw the hours of each person on each coming day.

        Parameters
        ----------
        start : the first day, after `as_of`
        days, draws : how many
        rng : the same state gives the same first days for a longer horizon, and the same days of
            everybody else whoever joins
        joining : people who might join; one whose id has a log already is refused
        """
        skip = (start - self.history_.as_of).days - 1
        if skip < 0:
            raise ValueError(f"start must lie after {self.history_.as_of}. Got {start} instead.")
        return _Play(self, skip + days, draws, rng).run(skip, self._newcomers(joining))

    def _exposure(self) -> np.ndarray:
        """(week,) share of the habit's days on which somebody could come and which are known."""
        history = self.history_
        chance = self.habit_.worked / (self.habit_.worked + self.habit_.idle)
        weight = chance[history.kinds].reshape(-1, 7)
        known = (np.arange(len(history.kinds)) < history.known_days).reshape(-1, 7)
        could = history.open_days.reshape(-1, 7) & known
        return np.asarray((weight * could).sum(axis=1) / weight.sum(axis=1))

    def _chain_weeks(self, week_hours: np.ndarray, exposure: np.ndarray) -> np.ndarray:
        """(week,) worked or silent, without the weeks that cannot tell."""
        worked = week_hours > 0
        tells = worked | (exposure >= 0.5)
        if not self._week_is_over and not worked[-1]:
            tells[-1] = False
        return np.asarray(worked[tells])

    @property
    def _week_is_over(self) -> bool:
        return self.history_.as_of.weekday() == SUNDAY

    def _fit_level(self, week_hours: np.ndarray, exposure: np.ndarray) -> Level:
        use = (week_hours > 0) & (exposure >= _LEAST_EXPOSURE)
        typical = float(np.median(week_hours[use])) if use.any() else 1.0
        # An entry of minutes says "hardly anything", not "a twentieth of the usual level".
        hours = np.maximum(week_hours, 0.08 * typical)
        log_hours = np.where(use, np.log(hours / np.maximum(exposure, _LEAST_EXPOSURE)), np.nan)
        noise_scale = 1 / np.clip(exposure, _LEAST_EXPOSURE, 1.0)
        return fit_level(log_hours, noise_scale, self._level_prior())

    def _level_prior(self) -> tuple[float, float]:
        """Mean and sd of the long mean of log weekly hours: as stated, or as builders have it."""
        stated = [
            b.weekly_hours
            for b in self.builders
            if b.weekly_hours and (b.joins is None or b.joins <= self.history_.as_of)
        ]
        if not stated:
            return float(np.log(priors.WEEKLY_HOURS)), priors.WEEKLY_HOURS_LOG_SD
        worked_share = 0.72
        return float(np.log(max(stated) / worked_share)), priors.STATED_HOURS_LOG_SD

    def _fit_people(self, progress: Progress) -> None:
        history = self.history_
        came = history.hours.sum(axis=0) > 0
        settled = np.flatnonzero(came) if came.any() else self._first_there()
        open_crews = set(progress.open_tasks["crew"])
        alone = len(history.people) < 2
        self.company_: Company = fit_company(history, settled, alone and "two" in open_crews)

    def _first_there(self) -> np.ndarray:
        """Nobody has come yet: the habit is that of whoever is there first."""
        joins = [b.joins or date.min for b in self.builders] or [date.min]
        return np.array([int(np.argmin(np.array(joins, dtype="datetime64[D]")))])

    def _newcomers(self, joining: Sequence[Joining]) -> dict[str, Joining]:
        """Builders without a session, and whoever might join, by id."""
        settled = {self.history_.people[p] for p in self.company_.settled}
        asked = joinings_by_id(joining)
        if known := settled & set(asked):
            raise ValueError(f"{sorted(known)} have sessions of their own and cannot join.")
        expected = {
            b.id: Joining(id=b.id, weekly_hours=self.expected_weekly_hours(b), from_date=b.joins)
            for b in self.builders
            if b.id not in settled
        }
        return expected | asked

    def expected_weekly_hours(self, builder: Builder) -> float:
        """Of a builder without a session: stated or assumed, less with every week that went by without."""
        said = builder.weekly_hours
        if said is None:
            said = priors.BOTH_PRESENT * self.company_.weekly_hours
        if self.history_.hours.sum() == 0:
            return said
        since = max(builder.joins or self.history_.origin, self.history_.origin)
        weeks = max((self.history_.as_of - since).days + 1, 0) / 7
        return said * priors.STATED_WEEKS / (priors.STATED_WEEKS + weeks)

    def _basis(self) -> tuple[dict[str, str], tuple[str, ...]]:
        weeks = {
            "silences": self.silences_.observed,
            "level": self.level_.observed,
            "habit": self.habit_.observed,
            "stage_rank": self.ranks_.observed,
        }
        basis = {part: "prior" if n == 0 else "pooled" if n < 26 else "own" for part, n in weeks.items()}
        notes = []
        if self.level_.observed < 8:
            count = self.level_.observed
            weeks_text = "1 week" if count == 1 else f"{count} weeks"
            notes.append(
                f"The log has {weeks_text} with a session: how the hours go on rests mostly on what "
                "other builders' logs show."
            )
        for builder in self.builders:
            if builder.id in self._newcomers(()):
                basis[builder.id] = "prior"
                notes.append(self._newcomer_note(builder))
        if self.company_.visits == priors.HELPER_PRIOR:
            basis[_HELPER] = "prior"
            notes.append(
                "No second pair of hands is in the log, and open tasks need two: a helper is assumed on "
                "about one session in twelve."
            )
        return basis, tuple(notes)

    def _newcomer_note(self, builder: Builder) -> str:
        hours = self.expected_weekly_hours(builder)
        low, high = hours * np.exp(1.645 * priors.STATED_HOURS_LOG_SD * np.array([-1, 1]))
        source = "assumed from the others' hours" if builder.weekly_hours is None else "as stated"
        if builder.weekly_hours is not None and hours < 0.95 * builder.weekly_hours:
            source = f"less than the {builder.weekly_hours:g} stated, since weeks went by without one"
        return (
            f"{builder.id} has no sessions yet: {hours:.1f} hours a week {source}, "
            f"range {low:.0f} to {high:.0f}."
        )


class _Play:
    """One call of `sample_hours`: the streams, the parameters of each draw, block after block."""

    def __init__(self, model: BenchTime, days: int, draws: int, rng: np.random.Generator) -> None:
        self.model, self.days, self.draws = model, days, draws
        as_of = model.history_.as_of
        self.first_day = as_of + timedelta(days=1)
        self.monday = self.first_day - timedelta(days=self.first_day.weekday())
        self.lead = self.first_day.weekday()
        self.blocks = -(-(self.lead + days) // (7 * _BLOCK_WEEKS))
        parameters, weeks, placing, company, helper, ranks, newcomers = rng.spawn(7)
        self.streams = {
            "weeks": weeks.spawn(self.blocks),
            "days": placing.spawn(self.blocks),
            "company": company.spawn(self.blocks),
            "helper": helper.spawn(self.blocks),
            "ranks": ranks.spawn(self.blocks),
        }
        self.newcomer_key = int(newcomers.integers(2**63))
        chain, level, habit, weights, visits, rank = parameters.spawn(6)
        self.chain = model.silences_.sample(draws, chain)
        self.level: LevelDraws = model.level_.sample(draws, level)
        self.habit: HabitDraws = model.habit_.sample(draws, habit)
        self.weights = sample_weights(model.company_, draws, weights)
        self.visit_chance = (
            None if model.company_.visits is None else visits.beta(*model.company_.visits, draws)
        )
        self.rank: RankDraws = sample_ranks(model.ranks_, draws, rank)

    def run(self, skip: int, newcomers: dict[str, Joining]) -> BenchDraws:
        model = self.model
        settled = [model.history_.people[p] for p in model.company_.settled]
        people = [p for p in model.history_.people if p in settled or p in newcomers]
        people += [p for p in newcomers if p not in people]
        ids = (*people, _HELPER) if self.visit_chance is not None else tuple(people)
        total = self.blocks * _BLOCK_WEEKS * 7
        known = tuple(model.history_.people)
        free = availability(self.monday, total, known, model.builders, model.away)
        kinds = day_kinds(self.monday, total, model.country)
        hours = np.zeros((self.draws, total, len(ids)), dtype=np.float32)
        ranks = np.zeros((self.draws, total), dtype=np.uint8)
        state = self._state()
        for block in range(self.blocks):
            days = slice(block * _BLOCK_WEEKS * 7, (block + 1) * _BLOCK_WEEKS * 7)
            settled_free = free[days][:, model.company_.settled]
            household = self._household(state, block, kinds[days], np.asarray(settled_free.any(axis=1)))
            ranks[:, days] = play_ranks(self.rank, household > 0, self.streams["ranks"][block])
            shares = share_out(household, model.company_, self.weights, self.streams["company"][block])
            for i, name in enumerate(settled):
                hours[:, days, ids.index(name)] = shares[:, :, i] * settled_free[:, i]
            for name, joining in newcomers.items():
                could = joined_by(joining, self.monday, total)[days]
                if name in known:
                    could &= free[days, known.index(name)]
                hours[:, days, ids.index(name)] = (
                    self._newcomer(joining, household, kinds[days], block) * could
                )
            if self.visit_chance is not None:
                hours[:, days, -1] = self._visits(household, block)
        window = slice(self.lead + skip, self.lead + self.days)
        only_two = np.array([p in newcomers and newcomers[p].only_two for p in ids])
        return BenchDraws(
            start=self.first_day + timedelta(days=skip),
            people=ids,
            hours=hours[:, window],
            stage_rank=ranks[:, window],
            only_two=only_two,
        )

    def _state(self) -> WeekState:
        model = self.model
        # A week that is not over and has seen a session is drawn again for its days left: the chain
        # then starts from the week before it.
        return WeekState(silent=np.full(self.draws, model.silences_.silent_weeks), x=self.level.x.copy())

    def _household(self, state: WeekState, block: int, kinds: np.ndarray, free: np.ndarray) -> np.ndarray:
        """(draw, day) clock hours of the household in one block."""
        model = self.model
        week_kinds, week_free = kinds.reshape(-1, 7), free.reshape(-1, 7).copy()
        current = None
        if block == 0 and self.lead:
            current = self._current_week(week_kinds[0])
            if not current.worked:
                week_free[0, : self.lead] = False
        exposure = self._week_exposure(week_kinds, week_free)
        weeks = play_weeks(
            state, self.chain, self.level, np.asarray(week_free.any(axis=1)), model.most_week_hours_,
            self.streams["weeks"][block], current,
        )  # fmt: skip
        hours = place_on_days(
            weeks * exposure.astype(np.float32), week_kinds, week_free, model.habit_, self.habit,
            self.streams["days"][block],
        ).reshape(self.draws, -1)  # fmt: skip
        if block == 0:
            hours[:, : self.lead] = 0.0
        return hours

    def _current_week(self, kinds: np.ndarray) -> CurrentWeek:
        history = self.model.history_
        so_far = history.household[-7:].sum() > 0
        chance = expit(self.habit.logit[:, kinds])
        past = history.open_days[-7:].copy()
        past[self.lead :] = False
        return CurrentWeek(worked=bool(so_far), chance_of_later=np.prod(1 - chance * past, axis=1))

    def _week_exposure(self, kinds: np.ndarray, free: np.ndarray) -> np.ndarray:
        habit = self.model.habit_
        chance = (habit.worked / (habit.worked + habit.idle))[kinds]
        return np.asarray((chance * free).sum(axis=1) / chance.sum(axis=1))

    def _newcomer(self, joining: Joining, household: np.ndarray, kinds: np.ndarray, block: int) -> np.ndarray:
        weekly = newcomer_weekly_hours(joining, self.draws, self.newcomer_key)
        rng = newcomer_stream(self.newcomer_key, joining.id, block)
        return newcomer_hours(household, weekly, self.model.company_.weekly_hours, kinds, rng)

    def _visits(self, household: np.ndarray, block: int) -> np.ndarray:
        u = self.streams["helper"][block].random(household.shape, dtype=np.float32)
        comes = u < np.asarray(self.visit_chance)[:, None]
        return np.asarray(np.where(comes, household * np.float32(self.model.company_.visit_share), 0.0))
