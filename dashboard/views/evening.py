"""Tonight: what fits the session, the chance of finishing it, and what the rest waits for."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.frame import answer, asked
from dashboard.words import plain
from dashboard.work.forecasts import fitted_to, tonight_of
from forecast.present.evening import (
    MOST_SHOWN,
    evening_lines,
    format_clock,
    ready_row,
    say_odds,
    stretch_sentence,
    waiting_sentences,
)
from forecast.questions.readiness import title_of
from forecast.questions.tonight import USUAL_HOURS, Tonight, usual_hours

_HOURS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)


def show_page() -> None:
    """Draw the page."""
    now = asked()
    assert now.reading.build is not None
    ids = [b.id for b in now.reading.build.builders]
    sessions = fitted_to(now).progress.sessions
    place = st.container()
    usual = usual_hours(sessions) or USUAL_HOURS
    nearest = min(_HOURS, key=lambda h: abs(h - usual))
    hours = st.pills(
        "Hours", _HOURS, default=nearest, required=True, format_func=lambda h: f"{h:g}", key="evening_hours",
        width="stretch",
    )  # fmt: skip
    people = _people(ids)
    if not people:
        with place:
            answer(["Say who is there."])
        return
    found = tonight_of(now, float(hours or nearest), people)
    with place:
        answer(suggestion_lines(found))
    for part in found.suggestion:
        st.text(stretch_sentence(part))
    st.page_link("views/log.py", label="Write the session down", icon=":material/edit:")
    _show_ready(found)
    _show_waiting(found)


def _people(ids: list[str]) -> tuple[str, ...]:
    """Who is there: builders, and helpers without a name."""
    named = st.pills(
        "Who",
        ids,
        selection_mode="multi",
        default=ids[:1],
        format_func=plain,
        key="evening_who",
        width="stretch",
    )
    helpers = st.number_input("Helpers without a name", 0, 4, 0, key="evening_helpers")
    return (*(i for i in ids if i in named), *(f"helper {n + 1}" for n in range(int(helpers))))


def suggestion_lines(found: Tonight) -> list[str]:
    """What to take up, the first thing big."""
    if not found.suggestion:
        return [line.strip() for line in evening_lines(found)][:1]
    first = found.suggestion[0]
    return [f"{title_of(first.ready.task)}: {say_odds(first.probability_done)} to finish it."]


def _show_ready(found: Tonight) -> None:
    if not found.tasks:
        return
    count = len(found.tasks)
    st.subheader(
        f"{count} task{'s' if count != 1 else ''} ready for {format_clock(found.hours)}", anchor=False
    )
    columns = ["Ready", "Person-hours", "To finish", "Frees"]
    rows = [ready_row(ready) for ready in found.tasks[:MOST_SHOWN]]
    show_table(pd.DataFrame(rows, columns=columns), "What serves the date best comes first")


def _show_waiting(found: Tonight) -> None:
    waits = waiting_sentences(found)
    if waits:
        st.subheader("Nearly ready", anchor=False)
        for sentence in waits[:MOST_SHOWN]:
            st.text(sentence)
    for note in found.notes:
        st.caption(plain(note))


if __name__ == "__main__":
    show_page()
