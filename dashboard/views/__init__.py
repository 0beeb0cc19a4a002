"""The pages, one file each; a page that has nothing to show is not offered."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import streamlit as st

from dashboard.reading import Reading

_HERE = Path(__file__).parent


def pages_for(reading: Reading) -> list[Any]:
    """The pages for this state of the folder, the first one shown at the start."""
    if reading.build is None:
        if all(p.file.startswith("log") and p.line is None for p in reading.problems):
            return [_page("log", "The log", first=True), _page("method", "Method")]
        first = _page("trouble", "To put right", first=True)
        return [first, _page("log", "The log"), _page("method", "Method")]
    return [
        _page("finish", "Finish dates", first=True),
        _page("log", "The log"),
        _page("burn", "Burn-down"),
        _page("over", "Over estimate"),
        _page("bench", "Time at the bench"),
        _page("method", "Method"),
    ]


def _page(file: str, title: str, *, first: bool = False) -> Any:
    address = title.lower().replace(" ", "-")
    return st.Page(_HERE / f"{file}.py", title=title, url_path=address, default=first)
