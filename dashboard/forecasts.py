"""The forecasts behind the pages: learned and played once for each state of the folder, shared by all.

A first look of 500 runs comes at once; all the runs follow in the background. The first runs of both are
the same, so the picture sharpens and does not jump.
"""

from __future__ import annotations

from collections.abc import Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date

import streamlit as st

from dashboard.opening import Opening, opened
from dashboard.reading import Reading, day_shown, read_folder
from forecast.bench_record import BenchRecord, bench_record
from forecast.moved import Moved, what_moved
from forecast.outlook import Fitted, Outlook, Settings, fit_build, play
from forecast.overruns import Overruns, overruns
from forecast.practice import Practice, practice

FIRST_LOOK_RUNS = 500
_KEPT = 3
_background = ThreadPoolExecutor(max_workers=1, thread_name_prefix="forecast")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a page asks a forecast for: one state of the folder, one day, one way of playing."""

    reading: Reading
    as_of: date
    settings: Settings

    @property
    def key(self) -> tuple[Hashable, ...]:
        """What makes two askings the same."""
        s = self.settings
        return (self.reading.state, self.as_of, s.runs, s.seed, s.horizon_years)


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
    first = replace(asked, settings=replace(asked.settings, runs=FIRST_LOOK_RUNS))
    first_look = _play(first.key, first)
    whole = _whole(asked.key, asked)
    return (whole.result(), True) if whole.done() else (first_look, False)


def record_of(asked: Asked) -> BenchRecord:
    """When somebody was at the bench, and what comes."""
    return _record(asked.key, asked)


def overruns_of(asked: Asked) -> Overruns:
    """The kinds of work beside their estimates."""
    return _overruns(asked.key, asked)


def practice_of(asked: Asked, kind: str) -> Practice:
    """What repeating does to one kind of work."""
    fitted = fitted_to(asked)
    return practice(fitted.progress, fitted.effort, kind)


def moved_of(asked: Asked, outlook: Outlook) -> Future[Moved | None]:
    """What moved since a month ago: begun once all runs are played, done a few seconds later."""
    return _moved(asked.key, asked, outlook)


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
    return fit_build(_asked.reading.build, _asked.as_of, _asked.settings)


@st.cache_resource(max_entries=2 * _KEPT, show_spinner=False)
def _play(key: tuple[Hashable, ...], _asked: Asked) -> Outlook:
    return play(fitted_to(_asked), _asked.settings)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _whole(key: tuple[Hashable, ...], _asked: Asked) -> Future[Outlook]:
    return _background.submit(_play, key, _asked)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _record(key: tuple[Hashable, ...], _asked: Asked) -> BenchRecord:
    return bench_record(fitted_to(_asked), _asked.settings)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _overruns(key: tuple[Hashable, ...], _asked: Asked) -> Overruns:
    fitted = fitted_to(_asked)
    return overruns(fitted.progress, fitted.effort)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _moved(key: tuple[Hashable, ...], _asked: Asked, _outlook: Outlook) -> Future[Moved | None]:
    assert _asked.reading.build is not None
    return _background.submit(what_moved, _asked.reading.build, _outlook)
