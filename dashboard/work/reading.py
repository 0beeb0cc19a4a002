"""The folder as the pages see it: read once per state of its files, whole or with its problems."""

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

_CACHED_STATES = 4  # the files now, and before the last few changes in case they are undone


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One state of the folder.

    Attributes
    ----------
    state : a digest of the files; equal files have equal states
    build : the build, or None while there are problems
    problems : everything wrong with the files
    """

    state: str
    build: Build | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, kw_only=True)
class LogReading:
    """What the log page shows of one state of the folder.

    Attributes
    ----------
    records : what a new row must fit
    sessions : the valid rows, as the forecast takes them
    rows : every row of the log files, valid or not
    """

    records: PartialBuild
    sessions: pd.DataFrame
    rows: tuple[LogRow, ...]


def read_folder(folder: Path) -> Reading:
    """The folder as it is now."""
    found: Reading = _consistent(_read_folder, folder)
    return found


def read_log(folder: Path) -> LogReading:
    """The log as it is now.

    Raises
    ------
    InputError when a file of the folder cannot be read at all.
    """
    found: LogReading = _consistent(_read_log, folder)
    return found


def problems_today(folder: Path, today: date) -> tuple[Problem, ...]:
    """Everything that `check` reports, dates in the future included."""
    found: tuple[Problem, ...] = _consistent(_check_folder, folder, today)
    return found


def _consistent(read: Any, folder: Path, *more: date) -> Any:
    """Read the folder, again if its files changed meanwhile."""
    while True:
        state = state_of(folder)
        found = read(str(folder), state, *more)
        if state_of(folder) == state:
            return found
        read.clear(str(folder), state, *more)


@st.cache_resource(max_entries=_CACHED_STATES, show_spinner=False)
def _check_folder(folder: str, state: str, today: date) -> tuple[Problem, ...]:
    try:
        check_build(folder, today)
    except InputError as error:
        return error.problems
    return ()


@st.cache_resource(max_entries=_CACHED_STATES, show_spinner=False)
def _read_log(folder: str, state: str) -> LogReading:
    records = read_partial_build(folder)
    sessions, _, _ = read_sessions(records.logs, records.settings.builders, records.plan)
    return LogReading(records=records, sessions=sessions, rows=log_rows(folder))


@st.cache_resource(max_entries=_CACHED_STATES, show_spinner=False)
def _read_folder(folder: str, state: str) -> Reading:
    try:
        return Reading(state=state, build=read_build(folder), problems=())
    except InputError as error:
        return Reading(state=state, build=None, problems=error.problems)
