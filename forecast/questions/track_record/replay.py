"""The forecasts of a past day, from what was known on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from forecast.questions.announced_dates import BUILD
from forecast.questions.track_record.naive import NaiveWays, naive_ways
from forecast.questions.track_record.past_days import build_known_on
from forecast.random_streams import BACK_TEST, stream
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

if TYPE_CHECKING:
    from forecast.files.folder import Build

RUNS = 500
WINDOW_DAYS = 91
NEXT_TASKS = 20
WINDOW, TASKS = "next 13 weeks", "next 20 tasks"
_LEAST_DAYS_FOR_WORKERS = 6  # fewer are done before the worker processes have started
# Judgement: the first horizon is twice the average pace, at least two years; it changes the time taken only.
_PACES, _LEAST_FIRST_DAYS = 2.0, 730


@dataclass(frozen=True, kw_only=True)
class FinishForecast:
    """When a stage or the build (target "build") will be finished.

    Attributes
    ----------
    target, next_stage : its name; True for the first open stage
    days : (run,) whole days after the past day; infinite past the horizon
    average_pace_days, earned_schedule_days : the naive methods; NaN where they have no answer
    """

    target: str
    next_stage: bool
    days: np.ndarray
    average_pace_days: float
    earned_schedule_days: float


@dataclass(frozen=True, kw_only=True)
class HoursForecast:
    """Person-hours to come.

    Attributes
    ----------
    target : WINDOW (all person-hours at the bench in the next `days`) or TASKS (those left on `tasks`, the
        first open ones: under way, then in plan order)
    hours : (run,) person-hours
    naive_hours : average pace, or planned hours times the ratio; NaN where they have no answer
    """

    target: str
    days: int
    tasks: tuple[str, ...]
    hours: np.ndarray
    naive_hours: float


@dataclass(frozen=True, kw_only=True)
class Replay:
    """All forecasts as at the end of one past day.

    Attributes
    ----------
    as_of : the past day
    finished_tasks : tasks done by then
    finishes, hours : the forecasts; none when everything in the plan was done
    """

    as_of: date
    finished_tasks: int
    finishes: tuple[FinishForecast, ...]
    hours: tuple[HoursForecast, ...]


def replay_days(
    build: Build,
    days: Sequence[date],
    as_of: date,
    settings: Settings,
    *,
    workers: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Replay, ...]:
    """Fit and forecast on each past day; the answers do not depend on the number of workers.

    Parameters
    ----------
    build : the folder today
    days : past days, each before `as_of`
    as_of : the last day whose events are known; it shortens the 13 weeks of the last days
    settings : runs, seed and horizon of each forecast
    workers : worker processes
    on_progress : called with (days done, days in all)
    """
    done = []
    for replay in _replays(
        build, days, as_of, settings, workers if len(days) >= _LEAST_DAYS_FOR_WORKERS else 1
    ):
        done.append(replay)
        if on_progress is not None:
            on_progress(len(done), len(days))
    return tuple(done)


def _replays(
    build: Build, days: Sequence[date], as_of: date, settings: Settings, workers: int
) -> Iterator[Replay]:
    from joblib import Parallel, delayed

    jobs = (
        delayed(_replay_on_one_thread)(
            build_known_on(build, d), d, settings, min(WINDOW_DAYS, (as_of - d).days)
        )
        for d in days
    )
    # Processes, and never by fork: forking after a threaded library has run can kill the child.
    yield from Parallel(n_jobs=workers, backend="loky", return_as="generator")(jobs)


def _replay_on_one_thread(build: Build, day: date, settings: Settings, window_days: int) -> Replay:
    from threadpoolctl import threadpool_limits

    # One thread of linear algebra: sums in another order would differ in their last digits.
    with threadpool_limits(limits=1):
        return replay_day(build, day, settings, window_days=window_days)


def replay_day(build: Build, day: date, settings: Settings, *, window_days: int = WINDOW_DAYS) -> Replay:
    """Forecast as at the end of `day`.

    Parameters
    ----------
    build : as it was known then (`build_known_on`)
    day : the past day
    settings : runs, seed and horizon
    window_days : length of the window of hours at the bench
    """
    fitted = fit_build(build, day, settings)
    finished = fitted.progress.finished_tasks
    if fitted.progress.open_tasks.empty:
        return Replay(as_of=day, finished_tasks=finished, finishes=(), hours=())
    naive = naive_ways(fitted.progress)
    outlook = simulate_build(fitted, settings, first_horizon_days=_first_horizon(naive, settings))
    return Replay(
        as_of=day,
        finished_tasks=finished,
        finishes=_finishes(outlook, naive),
        hours=hours_to_come(outlook, naive, window_days),
    )


def _first_horizon(naive: NaiveWays, settings: Settings) -> int:
    """Twice as far as the average pace: enough for most runs, so that few are simulated twice."""
    pace = naive.average_pace_days(None)
    if np.isnan(pace):
        return settings.horizon_days
    return int(min(max(_PACES * pace, _LEAST_FIRST_DAYS), settings.horizon_days))


def _finishes(outlook: Outlook, naive: NaiveWays) -> tuple[FinishForecast, ...]:
    open_stages = outlook.open_stages
    targets: list[tuple[str, str | None]] = [(s, s) for s in open_stages]
    return tuple(
        FinishForecast(
            target=name,
            next_stage=name == open_stages[0] and stage is not None,
            days=np.ceil(outlook.days(stage)),
            average_pace_days=naive.average_pace_days(stage),
            earned_schedule_days=naive.earned_schedule_days(stage, outlook.fitted.build),
        )
        for name, stage in [*targets, (BUILD, None)]
    )


def hours_to_come(
    outlook: Outlook, naive: NaiveWays, window_days: int = WINDOW_DAYS
) -> tuple[HoursForecast, HoursForecast]:
    """The person-hours of the next days at the bench, and of the next tasks.

    Parameters
    ----------
    outlook : the forecast
    naive : the naive methods
    window_days : length of the window
    """
    tasks = _next_tasks(outlook.fitted, naive, outlook.settings)
    return _window(outlook, naive, window_days), tasks


def _window(outlook: Outlook, naive: NaiveWays, days: int) -> HoursForecast:
    """Person-hours at the bench, at most those left to do."""
    start = outlook.as_of + timedelta(days=1)
    rng = stream(outlook.settings.seed, BACK_TEST, 0)
    drawn = outlook.fitted.bench.sample_hours(start, days, outlook.settings.runs, rng)
    hours = drawn.hours.sum(axis=(1, 2), dtype=float)
    return HoursForecast(
        target=WINDOW,
        days=days,
        tasks=(),
        hours=np.minimum(hours, outlook.person_hours_left(None)),
        naive_hours=naive.hours_ahead(days),
    )


def _next_tasks(fitted: Fitted, naive: NaiveWays, settings: Settings) -> HoursForecast:
    tasks = fitted.progress.tasks
    following = tasks.loc[~tasks["done"]].sort_values("position").head(NEXT_TASKS)
    ids = tuple(following["task"])
    work = fitted.effort.sample_remaining(settings.runs, stream(settings.seed, BACK_TEST, 1))
    own = work.parts["planned"] + work.parts["rework"]
    spread_out = work.parts["outside"] + work.parts["growth"]
    share = own / np.maximum(own + spread_out, 1e-9)
    chosen = np.isin(np.array(work.tasks), np.array(ids))
    return HoursForecast(
        target=TASKS,
        days=0,
        tasks=ids,
        hours=work.hours[:, chosen].sum(axis=1) * share,
        naive_hours=naive.task_hours(following.index.to_numpy()),
    )
