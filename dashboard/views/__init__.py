"""The pages, one file each; a page with nothing to show is left out."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard.server.opening import day_shown, opened
from dashboard.work.reading import Reading
from forecast.files.folder import Build
from forecast.learn.progress import read_progress
from forecast.questions.track_record import past_days

_FOLDER = Path(__file__).parent


def pages_for(reading: Reading) -> list[Any]:
    """The pages for this state of the folder, the first one shown at the start."""
    if reading.build is None:
        log, method = _page("log", "The log"), _page("method", "Method")
        # A log that is missing or empty needs no list of problems, but its first session.
        if all(p.file.startswith("log") and p.line is None for p in reading.problems):
            return [_page("log", "The log", default=True), method]
        return [_page("problems", "Fix your files", default=True), log, method]
    pages = [
        _page("finish", "Finish dates", default=True),
        _page("log", "The log"),
        _page("tonight", "Tonight"),
        _page("burn_down", "Burn-down"),
        _page("crew", "Solo or two"),
        _page("overruns", "Over estimate"),
        _page("bench", "Time at the bench"),
        _page("orders", "Orders"),
        _page("record", "Track record"),
        _page("method", "Method"),
    ]
    empty = _empty_pages(reading.state, day_shown(opened(), reading.build), reading.build)
    return [page for page in pages if page.title not in empty]


@st.cache_resource(max_entries=8, show_spinner=False)
def _empty_pages(state: str, day: date, _build: Build) -> frozenset[str]:
    """Titles of the pages that have nothing to show."""
    progress = read_progress(_build.plan, _build.sessions, day)
    empty = set()
    if all(d.arrived is not None and d.arrived <= day for d in _build.deliveries):
        empty.add("Orders")
    if not past_days(progress):
        empty.add("Track record")
    if progress.open_tasks.empty:
        empty |= {"Tonight", "Solo or two", "Orders"}
    return frozenset(empty)


def _page(file: str, title: str, *, default: bool = False) -> Any:
    address = title.lower().replace(" ", "-")
    return st.Page(_FOLDER / f"{file}.py", title=title, url_path=address, default=default)
