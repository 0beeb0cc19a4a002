"""Over estimate: which types of work take more than planned, how sure that is, and what learning does."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show
from dashboard.frame import current_request, show_answer
from dashboard.work.forecasts import fitted_to, overruns_of, practice_of
from forecast.present.charts.hours import learning_curve
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import Figure, ratios_figure
from forecast.questions.overruns import running_over
from forecast.questions.practice import Practice
from forecast.wording import capitalise, format_percent_range


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    found = overruns_of(request)
    planned = found.types.loc[found.types["ratio_p50"].notna()]
    show_answer([over_sentence(found.types)])
    for sentence in (found.finding, *found.reasons):
        st.text(sentence)
    if len(planned):
        show(lambda: ratios_figure(planned, SCREEN), "ratios", request.key)
    share = found.outside_plan_share
    added = format_percent_range(share["p10"], share["p90"])
    st.subheader(f"Work outside the plan adds {added} to the planned hours", anchor=False)
    st.caption("Over all types, 8 in 10. The table above has the rework by type.")
    st.subheader("What repetition does", anchor=False)
    work_type = st.selectbox("Type of work", list(found.types["type"]), key="practice_of")
    if work_type is not None:
        show(lambda: practice_figure(practice_of(request, work_type)), "practice", request.key, work_type)
    for note in fitted_to(request).effort.notes_:
        st.text(note)


def over_sentence(types: pd.DataFrame) -> str:
    """The type with the most hours at stake among those that run over by their own record."""
    over = running_over(types)
    if over.empty:
        return "No type of work surely runs over its plan"
    top = over.iloc[0]
    return f"{capitalise(top['type'])} takes {top['ratio_p10']:.1f} to {top['ratio_p90']:.1f} times its plan"


def practice_figure(found: Practice) -> Figure:
    """The learning curve of one type."""
    name, measure = capitalise(found.type), capitalise(found.measure)
    return Figure(
        name="learning-curve",
        finding=found.sentence,
        chart=learning_curve(found.points, found.curve, found.measure, SCREEN),
        description=(
            f"{name}: one dot per finished task, {found.measure}, against the number of pieces done; "
            "the fitted curve with its range."
        ),
        table=pd.DataFrame(
            {
                "Task": found.points["task"],
                "Piece": found.points["piece"].round(1),
                measure: found.points["value"].round(2),
                "Hours": found.points["hours"].round(1),
            }
        ),
        legend="Dot: a finished task. Line with its range (8 in 10): what a task of this type tends to take.",
    )


if __name__ == "__main__":
    show_page()
