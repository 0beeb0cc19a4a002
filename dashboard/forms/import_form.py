"""Import a spreadsheet: first a preview of how it is understood, then a button that writes it."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import streamlit as st

from dashboard.frame import errors_shown, slot
from dashboard.markup import plain
from dashboard.server.opening import opened
from forecast.intake import (
    MEANINGS,
    Intake,
    intake_lines,
    parse_answers,
    propose_intake,
    take_in,
    taken_lines,
)
from forecast.wording import plural

SUFFIXES = ("xlsx", "ods", "csv", "tsv", "md")
_LONGEST_NAME = 60  # characters; file systems allow 255 bytes, and the name is only shown


def import_form() -> None:
    """Upload, preview, corrections, and the button that writes."""
    count = st.session_state.setdefault("sheets_imported", 0)
    for line in st.session_state.pop("import_lines", []):
        st.text(line)
    sheet = st.file_uploader("A spreadsheet of sessions", type=list(SUFFIXES), key=f"sheet_{count}")
    if sheet is None:
        return
    data = sheet.getvalue()
    key = f"{count}_{hashlib.sha256(data).hexdigest()[:12]}"
    answers = st.text_area(
        "Answers to the questions below, one per line, as KEY=VALUE", key=f"answers_{key}", height=80
    )
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / safe_name(sheet.name)
        path.write_bytes(data)
        with errors_shown():
            intake = _propose(path, _corrections(key), answers)
            _show_preview(intake)
            _show_meanings(intake, key)
            rows = len(intake.new)
            label = f"Write {plural(rows, 'row')}"
            if st.button(label, type="primary", width="stretch", disabled=not rows, key=f"write_rows_{key}"):
                st.session_state["import_lines"] = list(taken_lines(take_in(intake)))
                st.session_state["sheets_imported"] += 1
                st.rerun()


def safe_name(name: str) -> str:
    """A file name without path and without characters that a file system may refuse.

    Examples
    --------
    >>> safe_name("../../etc/passwd.csv"), safe_name("C:\\\\logs\\\\my hours.xlsx"), safe_name("..")
    ('passwd.csv', 'my hours.xlsx', 'sheet')
    """
    last = re.split(r"[/\\]", name)[-1]
    safe = re.sub(r"[^\w .()+-]", "_", last).strip(" .")
    stem, dot, suffix = safe.rpartition(".")
    if not (dot and suffix.casefold() in SUFFIXES and stem.strip(" .")):
        return safe[-_LONGEST_NAME:] or "sheet"
    return f"{stem[-_LONGEST_NAME:]}.{suffix}"


def _propose(path: Path, mapping: Mapping[str, str], answers: str) -> Intake:
    lines = [line.strip() for line in answers.splitlines() if line.strip()]
    return propose_intake(
        path, opened().folder, today=date.today(), mapping=dict(mapping), answers=parse_answers(lines)
    )


def _show_preview(intake: Intake) -> None:
    with slot():
        for question in intake.questions:
            st.info(plain(str(question)))
    with st.container(height=360):
        st.text("\n".join(intake_lines(intake)))


def _corrections(key: str) -> dict[str, str]:
    """Heading -> meaning, where the visitor changed what was proposed."""
    proposed: dict[str, str] = st.session_state.get(f"proposed_{key}", {})
    chosen = {heading: st.session_state.get(f"meaning_{key}_{i}") for i, heading in enumerate(proposed)}
    return {h: m for h, m in chosen.items() if m is not None and m != proposed[h]}


def _show_meanings(intake: Intake, key: str) -> None:
    """The meaning of each column, to be corrected."""
    proposed = st.session_state.setdefault(f"proposed_{key}", {c.heading: c.meaning for c in intake.columns})
    meanings = list(MEANINGS)
    with st.expander("Meaning of the columns"):
        sides = st.columns(2)
        for i, (heading, meaning) in enumerate(proposed.items()):
            sides[i % 2].selectbox(
                plain(heading) or "A column without a heading",
                meanings,
                index=meanings.index(meaning),
                format_func=lambda m: f"{m}: {MEANINGS[m]}",
                key=f"meaning_{key}_{i}",
            )
