"""When somebody is at the bench: the model that the forecast draws from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Self

import numpy as np

from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Plan
from forecast.learn.bench_time.calling_in_help import fit_calling_in
from forecast.learn.bench_time.draws import BenchDraws, Newcomer
from forecast.learn.bench_time.habit import Habit, fit_habit
from forecast.learn.bench_time.history import History, read_history
from forecast.learn.bench_time.level import fit_level
from forecast.learn.bench_time.notes import basis_of, notes_of
from forecast.learn.bench_time.people import fade_of, fit_company, newcomers_by_id
from forecast.learn.bench_time.priors import (
    BOTH_PRESENT,
    BUILT_IN,
    SEASON_LEAST_WEEKS,
    SEASON_LOG_ODDS,
    STATED_HOURS_LOG_SD,
    STATED_WEEKS,
    WORKED_SHARE,
    BenchPriors,
)
from forecast.learn.bench_time.robust_mixture import WeekFit, mixed_weeks
from forecast.learn.bench_time.season import season_terms
from forecast.learn.bench_time.setting_up import fit_setting_up
from forecast.learn.bench_time.silences import fit_silences
from forecast.learn.bench_time.simulated_weeks import Learned, PresenceSampler
from forecast.learn.bench_time.stage_rank import fit_stage_ranks
from forecast.learn.bench_time.weekly import WeeklyLog, weekly_log
from forecast.learn.estimator import Estimator
from forecast.learn.progress import Progress

_UNLIKE = "Days and weeks so far are unlike those of the pooled builds: the built-in priors are used instead."
_ROOM_ABOVE_FULLEST = 1.25  # judgement: a fuller week than any so far happens, twice as full hardly


class BenchTime(Estimator):
    """Hours at the bench, fitted to a log.

    Weeks are worked or silent, sticky both ways; the hours of a worked week follow a drifting level; days
    and company follow habit. Every draw has its own parameters.

    Parameters
    ----------
    longest_week_hours : no week of the household has more clock hours than this, or than 1.25 times
        the fullest week of the log
    priors : priors of the parameters; None, the default, for the built-in ones

    Attributes
    ----------
    history_ : the log as days
    learned_ : everything estimated (history, silences, level, habit, company, calling_in, ranks, seasonal)
    setting_up_ : hours of a session spent on setting up and clearing away; None where the log cannot tell
    newcomers_ : id -> `Newcomer`, for builders without a session of their own
    pooled_weight_ : posterior probability of the pooled priors; 1 where they are not mixed
    basis_ : part or person -> "own", "pooled" or "prior"
    notes_ : sentences on what rests on an assumption

    Examples
    --------
    >>> from forecast.files.plan import Task
    >>> from forecast.learn.progress import read_progress
    >>> from forecast.files.logbook import read_sessions
    >>> plan = Plan(tasks=(Task(task="T", stage="S", title="T"),))
    >>> nothing = read_sessions([], [Builder(id="A")], None)[0]
    >>> progress = read_progress(plan, nothing, date(2026, 3, 1))
    >>> bench = BenchTime().fit(progress, [Builder(id="A", weekly_hours=6)])
    >>> draws = bench.sample_hours(date(2026, 3, 2), 14, 100, np.random.default_rng(0))
    >>> draws.people, draws.hours.shape, draws.stage_rank.shape
    (('A',), (100, 14, 1), (100, 14))
    """

    def __init__(self, *, longest_week_hours: float = 60.0, priors: BenchPriors | None = None) -> None:
        self.longest_week_hours = longest_week_hours
        self.priors = priors

    def fit(
        self,
        progress: Progress,
        builders: Sequence[Builder],
        away: Sequence[Away] = (),
        country: str | None = None,
        *,
        plan: Plan | None = None,
        deliveries: Sequence[Delivery] = (),
    ) -> Self:
        """Fit to the sessions of `progress` (nothing after its `as_of`).

        Parameters
        ----------
        progress : sessions and plan as known on one day
        builders, away : of the build folder
        country : ISO 3166 code: its public holidays count as Sundays, in the log and to come
        plan, deliveries : determine which stages had work that could be started on the day of each
            session; without them every unfinished stage counts
        """
        self.priors_ = BUILT_IN if self.priors is None else self.priors
        history = read_history(progress.sessions, builders, away, progress.as_of, country)
        self.history_ = history
        habit = fit_habit(history, self.priors_)
        weeks = weekly_log(history, habit)
        self.mean_prior_ = _mean_prior(builders, progress.as_of, self.priors_)
        fit, seasonal = _fit_weeks(weeks, history, habit, self.mean_prior_, self.priors_)
        self.pooled_weight_ = 1.0
        if self.priors_.built_in_weight:
            built_in_mean = _mean_prior(builders, progress.as_of, BUILT_IN)
            habit = fit_habit(history, BUILT_IN)
            built_in = fit_weeks_with(weeks, history, habit, built_in_mean, BUILT_IN, seasonal=seasonal)
            fit, self.pooled_weight_ = mixed_weeks(fit, built_in, self.priors_, BUILT_IN)
        company = fit_company(history, _settled(history), _visitors_expected(history, progress))
        fullest = float(weeks.hours.max(initial=0.0))
        self.learned_ = Learned(
            history=history,
            silences=fit.silences,
            level=fit.level,
            habit=fit.habit,
            company=company,
            calling_in=fit_calling_in(history, fade_of(history), progress, plan, deliveries, company.visits),
            ranks=fit_stage_ranks(progress, plan, deliveries),
            seasonal=seasonal,
            most_week_hours=max(self.longest_week_hours, _ROOM_ABOVE_FULLEST * fullest),
            builders=tuple(builders),
            away=tuple(away),
            country=country,
        )
        self.setting_up_ = fit_setting_up(progress.sessions)
        self.newcomers_ = _newcomers(self.learned_)
        self.basis_ = basis_of(self.learned_, self.newcomers_, self.priors_)
        unlike = (_UNLIKE,) if self.pooled_weight_ < 0.5 else ()
        self.notes_ = (*unlike, *notes_of(self.learned_, self.newcomers_, self.setting_up_, self.priors_))
        return self

    def sample_hours(
        self,
        start: date,
        days: int,
        draws: int,
        rng: np.random.Generator,
        *,
        joining: Sequence[Newcomer] = (),
    ) -> BenchDraws:
        """Draw the hours of each person on each coming day.

        Parameters
        ----------
        start : the first day, after `as_of`
        days, draws : number of days and of draws
        rng : equal states give the same first days for a longer horizon, and the same days of everybody
            else whoever joins
        joining : people who might join; whoever is in the log already cannot

        Raises
        ------
        ValueError : for a start up to `as_of`, for somebody named twice or in the log already
        """
        skip = (start - self.history_.as_of).days - 1
        if skip < 0:
            raise ValueError(f"start must lie after {self.history_.as_of}. Got {start} instead.")
        return self.presence_sampler(draws, rng, joining=joining).hours(skip, days)

    def presence_sampler(
        self, draws: int, rng: np.random.Generator, *, joining: Sequence[Newcomer] = ()
    ) -> PresenceSampler:
        """Runs of the coming days, drawn only as far as they are needed.

        Parameters
        ----------
        draws : number of runs
        rng, joining : as for `sample_hours`

        Raises
        ------
        ValueError : for somebody named twice or in the log already
        """
        newcomers = newcomers_by_id(joining)
        settled = {self.history_.people[p] for p in self.learned_.company.settled}
        if known := settled & set(newcomers):
            raise ValueError(f"{', '.join(sorted(known))} must not join: the log has their own sessions.")
        return PresenceSampler(self.learned_, draws, rng, self.newcomers_ | newcomers)


def _fit_weeks(
    weeks: WeeklyLog, history: History, habit: Habit, mean_prior: tuple[float, float], prior: BenchPriors
) -> tuple[WeekFit, bool]:
    """The fit, and whether it has a season: only where the log shows one beyond doubt."""
    plain = fit_weeks_with(weeks, history, habit, mean_prior, prior, seasonal=False)
    if history.weeks < SEASON_LEAST_WEEKS:
        return plain, False
    seasonal = fit_weeks_with(weeks, history, habit, mean_prior, prior, seasonal=True)
    gain = seasonal.level.evidence + seasonal.silences.evidence
    gain -= plain.level.evidence + plain.silences.evidence
    return (seasonal, True) if gain > SEASON_LOG_ODDS else (plain, False)


def fit_weeks_with(
    weeks: WeeklyLog,
    history: History,
    habit: Habit,
    mean_prior: tuple[float, float],
    prior: BenchPriors,
    *,
    seasonal: bool,
) -> WeekFit:
    """Fit level and chain under one set of priors.

    Parameters
    ----------
    weeks, history : the log as weeks and as days
    habit : fitted under the same priors
    mean_prior : mean and standard deviation of the long mean of log weekly hours
    prior : priors of everything else
    seasonal : whether to fit a season
    """
    season = season_terms(history.origin, history.weeks, seasonal=seasonal)
    level = fit_level(weeks.log_hours, weeks.noise_scale, mean_prior, season, prior)
    tells = weeks.tells
    silences = fit_silences(weeks.worked[tells], level.expected[tells], season[tells], prior)
    return WeekFit(level=level, silences=silences, habit=habit)


def _mean_prior(builders: Sequence[Builder], as_of: date, prior: BenchPriors) -> tuple[float, float]:
    """Mean and sd of the long mean of log weekly hours: as stated by a builder, else the prior's."""
    stated = [b.weekly_hours for b in builders if b.weekly_hours and (b.joins is None or b.joins <= as_of)]
    if not stated:
        return prior.weekly_log_hours, prior.weekly_log_sd
    return float(np.log(max(stated) / WORKED_SHARE)), STATED_HOURS_LOG_SD


def _settled(history: History) -> np.ndarray:
    """Columns of the people with sessions of their own; before any session, of whoever joined first."""
    came = history.hours.sum(axis=0) > 0
    return np.flatnonzero(came if came.any() else history.main)


def _visitors_expected(history: History, progress: Progress) -> bool:
    return len(history.people) < 2 and bool((progress.open_tasks["crew"] == "two").any())


def _newcomers(learned: Learned) -> dict[str, Newcomer]:
    """The builders of build.toml without a session of their own."""
    settled = {learned.history.people[p] for p in learned.company.settled}
    return {
        b.id: Newcomer(id=b.id, weekly_hours=_expected_weekly_hours(b, learned), from_date=b.joins)
        for b in learned.builders
        if b.id not in settled
    }


def _expected_weekly_hours(builder: Builder, learned: Learned) -> float:
    """Of a builder without a session: stated or assumed, and less with every week without one."""
    history, stated = learned.history, builder.weekly_hours
    if stated is None:
        stated = BOTH_PRESENT * learned.company.weekly_hours
    could = history.available[:, history.people.index(builder.id)] & history.known
    weeks = float(could.sum()) / 7
    return stated * STATED_WEEKS / (STATED_WEEKS + weeks)
