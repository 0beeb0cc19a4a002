"""The folder as the pages see it: read once for each state of its files, whole or with its problems."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.server.opening import state_of
from forecast.errors import InputError, Problem
from forecast.files.amend import LogRow, log_rows
from forecast.files.folder import Build, PartialBuild, check_build, read_build, read_partial_build
from forecast.files.logbook import read_sessions

_KEPT = 4


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One state of the folder.

    Attributes
    ----------
    state : a digest of the files' contents; the same contents have the same state
    build : the build, or None while there are problems
    problems : everything wrong with the files
    """

    state: str
    build: Build | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, kw_only=True)
class Written:
    """What the page of the log shows of one state of the folder.

    Attributes
    ----------
    records : what a new row has to fit
    sessions : the rows that can be read, as the forecast takes them
    rows : every row of the log files, good or bad
    """

    records: PartialBuild
    sessions: pd.DataFrame
    rows: tuple[LogRow, ...]


def read_folder(folder: Path) -> Reading:
    """The folder as it is now."""
    found: Reading = _as_it_stands(_read, folder)
    return found


def read_log(folder: Path) -> Written:
    """The log as it is now.

    Raises
    ------
    InputError when a file of the folder cannot be read at all.
    """
    found: Written = _as_it_stands(_written, folder)
    return found


def problems_today(folder: Path, today: date) -> tuple[Problem, ...]:
    """Everything that `check` finds wrong, days in the future among it."""
    found: tuple[Problem, ...] = _as_it_stands(_check, folder, today)
    return found


def _as_it_stands(read: Any, folder: Path, *more: date) -> Any:
    """What `read` makes of the files, which stood still while it read them."""
    while True:
        state = state_of(folder)
        found = read(str(folder), state, *more)
        if state_of(folder) == state:
            return found
        read.clear(str(folder), state, *more)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _check(folder: str, state: str, today: date) -> tuple[Problem, ...]:
    try:
        check_build(folder, today)
    except InputError as error:
        return error.problems
    return ()


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _written(folder: str, state: str) -> Written:
    records = read_partial_build(folder)
    sessions, _, _ = read_sessions(records.logs, records.settings.builders, records.plan)
    return Written(records=records, sessions=sessions, rows=log_rows(folder))


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _read(folder: str, state: str) -> Reading:
    try:
        return Reading(state=state, build=read_build(folder), problems=())
    except InputError as error:
        return Reading(state=state, build=None, problems=error.problems)
