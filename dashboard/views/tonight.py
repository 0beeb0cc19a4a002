"""Tonight: which tasks fit the session, the chance of finishing each, and what the others wait for."""

from __future__ import annotations

import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.frame import current_request, show_answer
from dashboard.markup import plain
from dashboard.work.forecasts import fitted_to, tonight_of
from forecast.present import tonight
from forecast.questions.readiness import title_of
from forecast.questions.tonight import USUAL_HOURS, Tonight, usual_hours
from forecast.wording import format_clock, format_odds, plural

# Sessions on an evening or a free day; the usual one is preselected.
_HOURS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    place = st.container()
    usual = usual_hours(fitted_to(request).progress.sessions) or USUAL_HOURS
    nearest = min(_HOURS, key=lambda hours: abs(hours - usual))
    hours = st.pills(
        "Hours", _HOURS, default=nearest, required=True, format_func=lambda h: f"{h:g}", key="tonight_hours",
        width="stretch",
    )  # fmt: skip
    people = _choose_people([builder.id for builder in request.build.builders])
    if not people:
        with place:
            show_answer(["Choose who is there."])
        return
    found = tonight_of(request, float(hours or nearest), people)
    with place:
        show_answer([suggestion_sentence(found)])
    for stretch in found.suggestion:
        st.text(tonight.stretch_sentence(stretch))
    st.page_link("views/log.py", label="Log the session", icon=":material/edit:")
    _show_ready(found)
    _show_waiting(found)


def _choose_people(ids: list[str]) -> tuple[str, ...]:
    """Who is there: builders, and helpers without a name."""
    named = st.pills(
        "Who", ids, selection_mode="multi", default=ids[:1], format_func=plain, key="tonight_who",
        width="stretch",
    )  # fmt: skip
    helpers = st.number_input("Helpers without a name", 0, 4, 0, key="tonight_helpers")
    return (*(i for i in ids if i in named), *(f"helper {n + 1}" for n in range(int(helpers))))


def suggestion_sentence(found: Tonight) -> str:
    """The first task to work on, and the chance of finishing it."""
    if not found.suggestion:
        return tonight.tonight_lines(found)[0]
    first = found.suggestion[0]
    return f"{title_of(first.ready.task)}: {format_odds(first.probability_done)} to finish it."


def _show_ready(found: Tonight) -> None:
    if not found.tasks:
        return
    count = plural(len(found.tasks), "task")
    st.subheader(f"{count} ready for {format_clock(found.hours)}", anchor=False)
    show_table(tonight.ready_rows(found), "The task that serves the date best comes first")


def _show_waiting(found: Tonight) -> None:
    waits = tonight.waiting_sentences(found)
    if waits:
        st.subheader("Nearly ready", anchor=False)
        for sentence in waits[: tonight.MOST_ROWS]:
            st.text(sentence)
    for note in found.notes:
        st.caption(plain(note))


if __name__ == "__main__":
    show_page()
