"""The pages, one file each; a page that has nothing to show is not offered."""

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

_HERE = Path(__file__).parent


def pages_for(reading: Reading) -> list[Any]:
    """The pages for this state of the folder, the first one shown at the start."""
    if reading.build is None:
        if all(p.file.startswith("log") and p.line is None for p in reading.problems):
            return [_page("log", "The log", first=True), _page("method", "Method")]
        first = _page("trouble", "To put right", first=True)
        return [first, _page("log", "The log"), _page("method", "Method")]
    pages = [
        _page("finish", "Finish dates", first=True),
        _page("log", "The log"),
        _page("evening", "Tonight"),
        _page("burn", "Burn-down"),
        _page("crew", "Solo or two"),
        _page("over", "Over estimate"),
        _page("bench", "Time at the bench"),
        _page("orders", "Orders"),
        _page("record", "Track record"),
        _page("method", "Method"),
    ]
    idle = _nothing_to_show(reading.state, day_shown(opened(), reading.build), reading.build)
    return [page for page in pages if page.title not in idle]


@st.cache_resource(max_entries=8, show_spinner=False)
def _nothing_to_show(state: str, day: date, _build: Build) -> frozenset[str]:
    """Titles of the pages that would be empty for this build."""
    progress = read_progress(_build.plan, _build.sessions, day)
    idle = set()
    if all(d.arrived is not None and d.arrived <= day for d in _build.deliveries):
        idle.add("Orders")
    if not past_days(progress):
        idle.add("Track record")
    if progress.open_tasks.empty:
        idle |= {"Tonight", "Solo or two", "Orders"}
    return frozenset(idle)


def _page(file: str, title: str, *, first: bool = False) -> Any:
    address = title.lower().replace(" ", "-")
    return st.Page(_HERE / f"{file}.py", title=title, url_path=address, default=first)
