"""The forecasts behind the pages: learned and played once for each state of the folder, shared by all.

A first look of 500 runs comes at once; all the runs follow in the background. The first runs of both are
the same, so the picture sharpens and does not jump.
"""

from __future__ import annotations

import time
from collections.abc import Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date

import streamlit as st

from dashboard.server.opening import Opening, day_shown, opened
from dashboard.work.ahead import FIRST_LOOK_RUNS, asking_key, looked
from dashboard.work.help_plays import HelpPlays
from dashboard.work.reading import Reading, read_folder
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

FEWER_RUNS = 2_000
_FIRST_LOOK_SECONDS = 1.0  # the browser has the machine to itself while it draws the first look
_KEPT = 3
_background = ThreadPoolExecutor(max_workers=2, thread_name_prefix="forecast")
_patient = ThreadPoolExecutor(max_workers=1, thread_name_prefix="record")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a page asks a forecast for: one state of the folder, one day, one way of playing."""

    reading: Reading
    as_of: date
    settings: Settings

    @property
    def key(self) -> tuple[Hashable, ...]:
        """What makes two askings the same."""
        return asking_key(self.reading.state, self.as_of, self.settings)


def asked_now(opening: Opening, reading: Reading) -> Asked:
    """The forecast that the pages show for this reading."""
    assert reading.build is not None
    return Asked(reading=reading, as_of=day_shown(opening, reading.build), settings=opening.settings)


def fitted_to(asked: Asked) -> Fitted:
    """What the log teaches, for this asking."""
    return _fit(asked.key[:2] + (asked.settings.seed,), asked)


def outlook_of(asked: Asked) -> tuple[Outlook, bool]:
    """The outlook as far as it is played, and whether all runs are."""
    if asked.settings.runs <= FIRST_LOOK_RUNS:
        return _play(asked.key, asked), True
    first = _first_of(asked)
    first_look = _play(first.key, first)
    whole = _whole(asked.key, asked)
    return (whole.result(), True) if whole.done() else (first_look, False)


def _first_of(asked: Asked) -> Asked:
    few = min(asked.settings.runs, FIRST_LOOK_RUNS)
    return replace(asked, settings=replace(asked.settings, runs=few))


def record_of(asked: Asked) -> BenchHours:
    """When somebody was at the bench, and what comes."""
    return _record(asked.key, asked)


def overruns_of(asked: Asked) -> Overruns:
    """The kinds of work beside their estimates."""
    return _overruns(asked.key, asked)


def practice_of(asked: Asked, kind: str) -> Practice:
    """What repeating does to one kind of work."""
    fitted = fitted_to(asked)
    return practice(fitted.progress, fitted.effort, kind)


def moved_of(asked: Asked, outlook: Outlook) -> Future[DateChange | None]:
    """What moved since a month ago: begun once all runs are played, done a few seconds later."""
    return _moved(asked.key, asked, outlook)


def held_of(asked: Asked) -> Future[SharedDraws]:
    """Draws held ready for what a second builder changes."""
    return _held(asked.key, asked)


def help_of(asked: Asked, held: SharedDraws) -> HelpPlays:
    """What a second builder changes, played from those draws."""
    return _help(asked.key, held)


def crew_answer_of(asked: Asked) -> Future[CrewAnswer]:
    """What the second pair of hands buys, and where."""
    return _crew_answer(asked.key, asked)


def holders_of(asked: Asked) -> Future[DateDrivers]:
    """What holds the date."""
    return _holders(asked.key, asked)


def orders_for(asked: Asked) -> Future[Orders]:
    """By when to order what has not arrived."""
    return _orders(asked.key, asked)


def tonight_of(asked: Asked, hours: float, people: tuple[str, ...]) -> Tonight:
    """What could be done in one session."""
    return _tonight(asked.key, asked, hours, people)


def record_for(asked: Asked) -> tuple[Future[TrackRecord], list[int]]:
    """How past forecasts did, and (past days done, past days in all) while it is worked out."""
    return _track_record(asked.key, asked)


def begin() -> None:
    """Read the folder and begin its forecast, so that the first page finds it under way."""
    reading = read_folder(opened().folder)
    if reading.build is not None:
        outlook_of(asked_now(opened(), reading))


def begin_soon() -> None:
    """Begin the forecast of the changed folder in the background."""
    _background.submit(begin)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _fit(key: tuple[Hashable, ...], _asked: Asked) -> Fitted:
    assert _asked.reading.build is not None
    ahead = looked(_first_of(_asked).key)
    return ahead.fitted if ahead else fit_build(_asked.reading.build, _asked.as_of, _asked.settings)


@st.cache_resource(max_entries=2 * _KEPT, show_spinner=False)
def _play(key: tuple[Hashable, ...], _asked: Asked) -> Outlook:
    fitted = fitted_to(_asked)
    return looked(_asked.key) or simulate_build(fitted, _asked.settings)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _whole(key: tuple[Hashable, ...], _asked: Asked) -> Future[Outlook]:
    return _background.submit(_play_all, key, _asked)


def _play_all(key: tuple[Hashable, ...], asked: Asked) -> Outlook:
    time.sleep(_FIRST_LOOK_SECONDS)
    return _play(key, asked)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _record(key: tuple[Hashable, ...], _asked: Asked) -> BenchHours:
    return bench_hours(fitted_to(_asked), _asked.settings)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _overruns(key: tuple[Hashable, ...], _asked: Asked) -> Overruns:
    fitted = fitted_to(_asked)
    return overruns(fitted.progress, fitted.effort)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _moved(key: tuple[Hashable, ...], _asked: Asked, _outlook: Outlook) -> Future[DateChange | None]:
    assert _asked.reading.build is not None
    return _background.submit(explain_date_change, _asked.reading.build, _outlook)


@st.cache_resource(max_entries=1, show_spinner=False)
def _held(key: tuple[Hashable, ...], _asked: Asked) -> Future[SharedDraws]:
    return _background.submit(lambda: draw_shared(fitted_to(_asked), _asked.settings))


@st.cache_resource(max_entries=1, show_spinner=False)
def _help(key: tuple[Hashable, ...], _held: SharedDraws) -> HelpPlays:
    return HelpPlays(held=_held)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _crew_answer(key: tuple[Hashable, ...], _asked: Asked) -> Future[CrewAnswer]:
    few = replace(_asked.settings, runs=min(_asked.settings.runs, FEWER_RUNS))
    return _background.submit(lambda: compare_crews(fitted_to(_asked), few))


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _holders(key: tuple[Hashable, ...], _asked: Asked) -> Future[DateDrivers]:
    return _background.submit(lambda: date_drivers(fitted_to(_asked), _asked.settings))


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _orders(key: tuple[Hashable, ...], _asked: Asked) -> Future[Orders]:
    few = replace(_asked.settings, runs=min(_asked.settings.runs, FEWER_RUNS))
    return _background.submit(lambda: orders_of(fitted_to(_asked), few))


@st.cache_resource(max_entries=12, show_spinner=False)
def _tonight(key: tuple[Hashable, ...], _asked: Asked, hours: float, people: tuple[str, ...]) -> Tonight:
    return tonight(fitted_to(_asked), hours=hours, people=people, settings=_asked.settings)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _track_record(key: tuple[Hashable, ...], _asked: Asked) -> tuple[Future[TrackRecord], list[int]]:
    done = [0, 0]

    def note(days: int, of: int) -> None:
        done[:] = [days, of]

    def work() -> TrackRecord:
        assert _asked.reading.build is not None
        runs = min(_asked.settings.runs, RUNS)
        return track_record(
            _asked.reading.build,
            _asked.as_of,
            replace(_asked.settings, runs=runs),
            workers=2,
            on_progress=note,
        )

    return _patient.submit(work), done
