"""The forecasts behind the pages: fitted and simulated once per state of the folder, shared by all pages.

The first 500 runs are shown at once; all the runs follow in the background. Both begin with the same runs, so
the dates become more precise and do not jump.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeVar

import streamlit as st

from dashboard.server.opening import Opening, day_shown, opened
from dashboard.work.first_look import FIRST_LOOK_RUNS, first_look, forecast_key
from dashboard.work.help_queue import HelpQueue
from dashboard.work.reading import Reading, read_folder
from forecast.files.folder import Build
from forecast.questions.bench_hours import BenchHours, bench_hours
from forecast.questions.crew import CrewAnswer, compare_crews
from forecast.questions.crew.shared_draws import SharedDraws, draw_shared
from forecast.questions.date_change import DateChange, explain_date_change
from forecast.questions.drivers import DateDrivers, date_drivers
from forecast.questions.orders import Orders, orders_of
from forecast.questions.overruns import Overruns, overruns
from forecast.questions.practice import Practice, practice
from forecast.questions.tonight import Tonight, tonight
from forecast.questions.track_record import RUNS, TrackRecord, track_record
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

_COMPARISON_RUNS = 2_000  # comparing plans or order dates repeats the simulation, as the commands do
_FIRST_LOOK_SECONDS = 1.0  # the browser has the machine to itself while it draws the first runs
_Function = TypeVar("_Function", bound=Callable[..., Any])
_background = ThreadPoolExecutor(max_workers=2, thread_name_prefix="forecast")
_patient = ThreadPoolExecutor(max_workers=1, thread_name_prefix="record")


@dataclass(frozen=True, kw_only=True)
class ForecastRequest:
    """What a page needs a forecast of.

    Attributes
    ----------
    reading : one state of the folder, without problems
    as_of : the last day that counts
    settings : runs, seed and horizon
    """

    reading: Reading
    as_of: date
    settings: Settings

    @property
    def key(self) -> tuple[Hashable, ...]:
        """What identifies the forecast."""
        return forecast_key(self.reading.state, self.as_of, self.settings)

    @property
    def build(self) -> Build:
        """The build."""
        assert self.reading.build is not None
        return self.reading.build

    def with_runs(self, most: int) -> ForecastRequest:
        """The same with fewer runs."""
        return replace(self, settings=replace(self.settings, runs=min(self.settings.runs, most)))


def _cached(entries: int = 3) -> Callable[[_Function], _Function]:
    """Cache per forecast; by default for the last change, its undo and the next one: all runs are large."""
    decorate: Callable[[_Function], _Function] = st.cache_resource(
        max_entries=entries, show_spinner=False, hash_funcs={ForecastRequest: lambda request: request.key}
    )
    return decorate


def request_for(opening: Opening, reading: Reading) -> ForecastRequest:
    """The forecast that the pages show for this reading of the folder."""
    assert reading.build is not None
    day = day_shown(opening, reading.build)
    return ForecastRequest(reading=reading, as_of=day, settings=opening.settings)


def fitted_to(request: ForecastRequest) -> Fitted:
    """What the log teaches; the number of runs does not matter."""
    return _fitted(request.with_runs(FIRST_LOOK_RUNS), request)


@_cached()
def _fitted(few: ForecastRequest, _request: ForecastRequest) -> Fitted:
    ahead = first_look(few.key)
    return ahead.fitted if ahead else fit_build(_request.build, _request.as_of, _request.settings)


def outlook_of(request: ForecastRequest) -> tuple[Outlook, bool]:
    """The outlook as far as it is simulated, and whether it has all runs."""
    few = request.with_runs(FIRST_LOOK_RUNS)
    if few.settings.runs == request.settings.runs:
        return _simulated(request), True
    preliminary = _simulated(few)
    full = _all_runs(request)
    return (full.result(), True) if full.done() else (preliminary, False)


@_cached(6)
def _simulated(request: ForecastRequest) -> Outlook:
    fitted = fitted_to(request)
    return first_look(request.key) or simulate_build(fitted, request.settings)


@_cached()
def _all_runs(request: ForecastRequest) -> Future[Outlook]:
    def simulate() -> Outlook:
        time.sleep(_FIRST_LOOK_SECONDS)
        return _simulated(request)

    return _background.submit(simulate)


@_cached()
def bench_hours_of(request: ForecastRequest) -> BenchHours:
    """The hours at the bench, logged and to come."""
    return bench_hours(fitted_to(request), request.settings)


@_cached()
def overruns_of(request: ForecastRequest) -> Overruns:
    """The types of work beside their estimates."""
    fitted = fitted_to(request)
    return overruns(fitted.progress, fitted.effort)


def practice_of(request: ForecastRequest, work_type: str) -> Practice:
    """The learning curve of one type of work."""
    fitted = fitted_to(request)
    return practice(fitted.progress, fitted.effort, work_type)


@_cached()
def date_change_of(request: ForecastRequest, _outlook: Outlook) -> Future[DateChange | None]:
    """What moved the date since a month ago; `_outlook` must have all runs."""
    return _background.submit(explain_date_change, request.build, _outlook)


@_cached(1)
def shared_draws_of(request: ForecastRequest) -> Future[SharedDraws]:
    """Random draws that all answers about a second builder share."""
    return _background.submit(lambda: draw_shared(fitted_to(request), request.settings))


@_cached(1)
def help_queue_of(request: ForecastRequest, _draws: SharedDraws) -> HelpQueue:
    """Answers about a second builder, simulated from those draws."""
    return HelpQueue(draws=_draws)


@_cached()
def crew_answer_of(request: ForecastRequest) -> Future[CrewAnswer]:
    """What a second pair of hands gains, and where."""
    few = request.with_runs(_COMPARISON_RUNS).settings
    return _background.submit(lambda: compare_crews(fitted_to(request), few))


@_cached()
def drivers_of(request: ForecastRequest) -> Future[DateDrivers]:
    """What drives the date."""
    return _background.submit(lambda: date_drivers(fitted_to(request), request.settings))


@_cached()
def orders_for(request: ForecastRequest) -> Future[Orders]:
    """By when to order what has not arrived."""
    few = request.with_runs(_COMPARISON_RUNS).settings
    return _background.submit(lambda: orders_of(fitted_to(request), few))


@_cached(12)
def tonight_of(request: ForecastRequest, hours: float, people: tuple[str, ...]) -> Tonight:
    """What could be done in one session of so many clock hours."""
    return tonight(fitted_to(request), hours=hours, people=people, settings=request.settings)


@_cached()
def track_record_of(request: ForecastRequest) -> tuple[Future[TrackRecord], list[int]]:
    """The back-test, and [past days done, past days in all] while it runs."""
    progress = [0, 0]

    def note(done: int, total: int) -> None:
        progress[:] = [done, total]

    few = request.with_runs(RUNS).settings
    work = _patient.submit(track_record, request.build, request.as_of, few, workers=2, on_progress=note)
    return work, progress


def start_forecast() -> None:
    """Read the folder and start its forecast, so that the first page finds it under way."""
    reading = read_folder(opened().folder)
    if reading.build is not None:
        outlook_of(request_for(opened(), reading))


def start_forecast_in_background() -> None:
    """Start the forecast of the changed folder."""
    _background.submit(start_forecast)
