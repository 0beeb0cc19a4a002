"""A sheet kept elsewhere, taken into the folder: shown as it is understood first, written when told to."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import streamlit as st

from dashboard.frame import place_for_passing
from dashboard.server.opening import opened
from dashboard.words import plain
from forecast.errors import BenchdaysError
from forecast.intake import (
    MEANINGS,
    Intake,
    intake_lines,
    parse_answers,
    propose_intake,
    take_in,
    taken_lines,
)

SUFFIXES = ("xlsx", "ods", "csv", "tsv", "md")
_LONGEST_NAME = 60


def take_form() -> None:
    """Upload, preview, corrections, and the button that writes."""
    count = st.session_state.setdefault("sheets_taken", 0)
    for line in st.session_state.pop("taken", []):
        st.text(line)
    sheet = st.file_uploader("A sheet of sessions", type=list(SUFFIXES), key=f"sheet_{count}")
    if sheet is None:
        return
    data = sheet.getvalue()
    key = f"{count}_{hashlib.sha256(data).hexdigest()[:12]}"
    answers = st.text_area(
        "Your answers to what is asked below, one a line, as KEY=VALUE", key=f"answers_{key}", height=80
    )
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / safe_name(sheet.name)
        path.write_bytes(data)
        try:
            intake = _proposed(path, _corrected(key), answers)
            _show(intake)
            _ask_meanings(intake, key)
            count = len(intake.new)
            write = f"Write {count} row{'s' if count != 1 else ''}"
            if st.button(write, type="primary", width="stretch", disabled=not count, key=f"write_rows_{key}"):
                st.session_state["taken"] = list(taken_lines(take_in(intake)))
                st.session_state["sheets_taken"] += 1
                st.rerun()
        except BenchdaysError as error:
            for line in str(error).splitlines():
                st.error(plain(line))


def safe_name(name: str) -> str:
    """The name of a file as it may stand in a folder of ours; whatever path came with it is dropped.

    >>> safe_name("../../etc/passwd.csv"), safe_name("C:\\\\logs\\\\my hours.xlsx"), safe_name("..")
    ('passwd.csv', 'my hours.xlsx', 'sheet')
    """
    last = re.split(r"[/\\]", name)[-1]
    kept = re.sub(r"[^\w .()+-]", "_", last).strip(" .")
    stem, dot, suffix = kept.rpartition(".")
    if not (dot and suffix.casefold() in SUFFIXES and stem.strip(" .")):
        return kept[-_LONGEST_NAME:] or "sheet"
    return f"{stem[-_LONGEST_NAME:]}.{suffix}"


def _proposed(path: Path, mapping: Mapping[str, str], answers: str) -> Intake:
    lines = [line.strip() for line in answers.splitlines() if line.strip()]
    return propose_intake(
        path, opened().folder, today=date.today(), mapping=dict(mapping), answers=parse_answers(lines)
    )


def _show(intake: Intake) -> None:
    with place_for_passing():
        for question in intake.questions:
            st.info(plain(str(question)))
    with st.container(height=360):
        st.text("\n".join(intake_lines(intake)))


def _corrected(key: str) -> dict[str, str]:
    """Heading -> meaning, where the builder says otherwise than was proposed."""
    proposed: dict[str, str] = st.session_state.get(f"proposed_{key}", {})
    said = {heading: st.session_state.get(f"meaning_{key}_{i}") for i, heading in enumerate(proposed)}
    return {h: m for h, m in said.items() if m is not None and m != proposed[h]}


def _ask_meanings(intake: Intake, key: str) -> None:
    """What each column is, to be corrected."""
    proposed = st.session_state.setdefault(f"proposed_{key}", {c.heading: c.meaning for c in intake.columns})
    words = list(MEANINGS)
    with st.expander("What each column is"):
        sides = st.columns(2)
        for i, (heading, meaning) in enumerate(proposed.items()):
            sides[i % 2].selectbox(
                plain(heading) or "A column without a heading",
                words,
                index=words.index(meaning),
                format_func=lambda m: f"{m}: {MEANINGS[m]}",
                key=f"meaning_{key}_{i}",
            )
