"""When somebody is at the bench: the model that the forecast draws from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Plan
from forecast.learn.bench_time.calling_in_help import fit_calling_in
from forecast.learn.bench_time.draws import BenchDraws, Newcomer
from forecast.learn.bench_time.habit import fit_habit
from forecast.learn.bench_time.history import History, read_history
from forecast.learn.bench_time.level import Level, fit_level
from forecast.learn.bench_time.notes import basis_of, notes_of
from forecast.learn.bench_time.people import fade_of, fit_company, joinings_by_id
from forecast.learn.bench_time.priors import (
    BOTH_PRESENT,
    SEASON_LEAST_WEEKS,
    SEASON_LOG_ODDS,
    STATED_HOURS_LOG_SD,
    STATED_WEEKS,
    WORKED_SHARE,
    BenchPriors,
)
from forecast.learn.bench_time.robust_mixture import Weeks, mixed_weeks
from forecast.learn.bench_time.season import no_waves, waves_of, year_waves
from forecast.learn.bench_time.setting_up import fit_setting_up
from forecast.learn.bench_time.silences import Silences, fit_silences
from forecast.learn.bench_time.simulated_weeks import Learned, PresenceSampler
from forecast.learn.bench_time.stage_rank import fit_stage_ranks
from forecast.learn.bench_time.weekly import WeeklyLog, weekly_log
from forecast.learn.progress import Progress

_UNLIKE = "Days and weeks so far are unlike those of the pooled builds: they lean on the built-in priors."


class BenchTime:
    """Hours at the bench, learned from a log.

    Weeks are worked or silent, sticky both ways; the hours of a worked week follow a level that
    wanders; days and company follow habit. Every draw has its own parameters.

    Parameters
    ----------
    longest_week_hours : no week of the household has more clock hours than this, or than 1.25 times
        the fullest week of the log
    priors : beliefs before the log; the built-in ones if None

    Attributes
    ----------
    history_ : the log as days
    learned_ : all that was learned (history, silences, level, habit, company, ranks, seasonal)
    setting_up_ : hours of a session lost to setting up and clearing away, None where the log cannot tell
    newcomers_ : id -> `Newcomer` of the builders without a session of their own
    pooled_weight_ : how likely the pooled habits are beside the built-in ones; 1 where they are not mixed
    basis_ : part or person -> "own", "pooled" or "prior"
    notes_ : sentences about what rests on an assumption

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
        self.priors = priors or BenchPriors()

    def fit(
        self,
        progress: Progress,
        builders: Sequence[Builder],
        away: Sequence[Away] = (),
        country: str | None = None,
        *,
        plan: Plan | None = None,
        deliveries: Sequence[Delivery] = (),
    ) -> BenchTime:
        """Learn from the sessions of `progress` (nothing after its `as_of`).

        Parameters
        ----------
        builders, away : of the build folder
        country : ISO 3166 code: its public holidays count as Sundays, in the log and to come
        plan, deliveries : tell which stages had work that could be picked up on the day of each
            session; without them every stage that is not finished counts
        """
        history = read_history(progress.sessions, builders, away, progress.as_of, country)
        self.history_ = history
        habit = fit_habit(history, self.priors)
        weeks = weekly_log(history, habit)
        self.mean_prior_ = _mean_prior(builders, progress.as_of, self.priors)
        level, silences, seasonal = _fit_weeks(weeks, history, self.mean_prior_, self.priors)
        told, self.pooled_weight_ = Weeks(level=level, silences=silences, habit=habit), 1.0
        if self.priors.built_in_weight:
            told, self.pooled_weight_ = _mix_with_built_in(
                told, weeks, history, builders, self.priors, seasonal
            )
        company = fit_company(history, _settled(history), _visitors_expected(history, progress))
        self.learned_ = Learned(
            history=history,
            silences=told.silences,
            level=told.level,
            habit=told.habit,
            company=company,
            asking=fit_calling_in(history, fade_of(history), progress, plan, deliveries, company.visits),
            ranks=fit_stage_ranks(progress, plan, deliveries),
            seasonal=seasonal,
            most_week_hours=max(self.longest_week_hours, 1.25 * float(weeks.hours.max(initial=0.0))),
            builders=tuple(builders),
            away=tuple(away),
            country=country,
        )
        self.setting_up_ = fit_setting_up(progress.sessions)
        self.newcomers_ = _newcomers(self.learned_)
        self.basis_ = basis_of(self.learned_, self.newcomers_, self.priors)
        unlike = (_UNLIKE,) if self.pooled_weight_ < 0.5 else ()
        self.notes_ = (*unlike, *notes_of(self.learned_, self.newcomers_, self.setting_up_, self.priors))
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
        days, draws : how many
        rng : the same state gives the same first days for a longer horizon, and the same days of
            everybody else whoever joins
        joining : people who might join; whoever is in the log already cannot

        Raises
        ------
        ValueError for a start up to `as_of`, for somebody named twice or in the log already.
        """
        skip = (start - self.history_.as_of).days - 1
        if skip < 0:
            raise ValueError(f"start must lie after {self.history_.as_of}. Got {start} instead.")
        return self.presence_sampler(draws, rng, joining=joining).hours(skip, days)

    def presence_sampler(
        self, draws: int, rng: np.random.Generator, *, joining: Sequence[Newcomer] = ()
    ) -> PresenceSampler:
        """So many runs of the coming days, to be drawn as far as they are asked for.

        Raises
        ------
        ValueError for somebody named twice or in the log already.
        """
        asked = joinings_by_id(joining)
        settled = {self.history_.people[p] for p in self.learned_.company.settled}
        if known := settled & set(asked):
            raise ValueError(f"{', '.join(sorted(known))} must not join: the log has their own sessions.")
        return PresenceSampler(self.learned_, draws, rng, self.newcomers_ | asked)


def _fit_weeks(
    weeks: WeeklyLog, history: History, mean_prior: tuple[float, float], belief: BenchPriors
) -> tuple[Level, Silences, bool]:
    """The level and the chain; with a season only where the log proves one."""
    plain = fit_weeks_with(weeks, mean_prior, no_waves(history.weeks), belief)
    if history.weeks < SEASON_LEAST_WEEKS:
        return *plain, False
    seasonal = fit_weeks_with(weeks, mean_prior, year_waves(history.origin, history.weeks), belief)
    gain = sum(part.evidence for part in seasonal) - sum(part.evidence for part in plain)
    return (*seasonal, True) if gain > SEASON_LOG_ODDS else (*plain, False)


def _mix_with_built_in(
    pooled: Weeks,
    weeks: WeeklyLog,
    history: History,
    builders: Sequence[Builder],
    belief: BenchPriors,
    seasonal: bool,
) -> tuple[Weeks, float]:
    """What was learned from the pooled habits, mixed with what the built-in ones would have taught."""
    plain = BenchPriors()
    waves = waves_of(history.origin, history.weeks, seasonal=seasonal)
    level, silences = fit_weeks_with(weeks, _mean_prior(builders, history.as_of, plain), waves, plain)
    other = Weeks(level=level, silences=silences, habit=fit_habit(history, plain))
    return mixed_weeks(pooled, other, belief, plain)


def fit_weeks_with(
    weeks: WeeklyLog, mean_prior: tuple[float, float], waves: np.ndarray, belief: BenchPriors
) -> tuple[Level, Silences]:
    """The level and the chain, from one belief and with these waves of the year."""
    level = fit_level(weeks.log_hours, weeks.noise_scale, mean_prior, waves, belief)
    tells = weeks.tells
    return level, fit_silences(weeks.worked[tells], level.expected[tells], waves[tells], belief)


def _mean_prior(builders: Sequence[Builder], as_of: date, belief: BenchPriors) -> tuple[float, float]:
    """Mean and sd of the long mean of log weekly hours: as stated, or as builders have it."""
    stated = [b.weekly_hours for b in builders if b.weekly_hours and (b.joins is None or b.joins <= as_of)]
    if not stated:
        return belief.weekly_log_hours, belief.weekly_log_sd
    return float(np.log(max(stated) / WORKED_SHARE)), STATED_HOURS_LOG_SD


def _settled(history: History) -> np.ndarray:
    """Columns of the people with sessions of their own; before any session, of whoever is there first."""
    came = history.hours.sum(axis=0) > 0
    return np.flatnonzero(came if came.any() else history.main)


def _visitors_expected(history: History, progress: Progress) -> bool:
    return len(history.people) < 2 and bool((progress.open_tasks["crew"] == "two").any())


def _newcomers(learned: Learned) -> dict[str, Newcomer]:
    """The builders of build.toml without a session of their own."""
    settled = {learned.history.people[p] for p in learned.company.settled}
    return {
        b.id: Newcomer(id=b.id, weekly_hours=expected_weekly_hours(b, learned), from_date=b.joins)
        for b in learned.builders
        if b.id not in settled
    }


def expected_weekly_hours(builder: Builder, learned: Learned) -> float:
    """Of a builder without a session: stated or assumed, less with every week that went by without."""
    history = learned.history
    said = builder.weekly_hours
    if said is None:
        said = BOTH_PRESENT * learned.company.weekly_hours
    could = history.available[:, history.people.index(builder.id)] & history.known
    weeks = float(could.sum()) / 7
    return said * STATED_WEEKS / (STATED_WEEKS + weeks)
