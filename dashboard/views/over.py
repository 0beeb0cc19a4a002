"""Over estimate: which kinds of work take more than planned, how sure that is, and what repeating does."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show
from dashboard.charts.hours import learning_curve, ratios_of_types
from dashboard.frame import answer, asked
from dashboard.words import title_case
from dashboard.work.forecasts import fitted_to, overruns_of, practice_of
from forecast.questions.overruns import SPEAKS, SURE, Overruns, running_over, say_sure
from forecast.questions.practice import Practice
from forecast.wording import format_percent, format_percent_range

_BASIS = {"own": "your own tasks", "pooled": "leans on other types", "prior": "prior only"}


def show_page() -> None:
    """Draw the page."""
    now = asked()
    found = overruns_of(now)
    planned = found.types.loc[found.types["ratio_p50"].notna()]
    answer([over_sentence(found.types)])
    for sentence in (found.finding, *found.reasons):
        st.text(sentence)
    if len(planned):
        show(drawn(lambda: ratios_figure(planned), "ratios", now.key))
    _show_types(found)
    _show_practice(found)
    for note in fitted_to(now).effort.notes_:
        st.text(note)


def over_sentence(types: pd.DataFrame) -> str:
    """Where the most hours are at stake among what runs over by its own record."""
    over = running_over(types)
    if over.empty:
        return "No kind of work surely runs over its plan"
    top = over.iloc[0]
    return f"{title_case(top['type'])} takes {top['ratio_p10']:.1f} to {top['ratio_p90']:.1f} times its plan"


def ratios_figure(types: pd.DataFrame) -> Figure:
    """The ratio of every type with planned hours, most hours at stake first."""
    frame = pd.DataFrame(
        {
            "type": types["type"],
            **{q: types[f"ratio_{q}"] for q in ("p10", "p50", "p90")},
            "label": [f"{r:.2f}" for r in types["ratio_p50"]],
            "sure": [_side(p) for p in types["probability_over"]],
        }
    )
    return Figure(
        name="over-estimate",
        finding=f"{len(running_over(types))} of {len(frame)} kinds of work run over by their own record",
        chart=ratios_of_types(frame),
        description="One row a type of work: hours taken over hours planned with the range, beside 1.",
        table=types_table(types),
        legend=(
            f"Triangle to the right: {format_percent(SURE)} sure to run over; to the left: to stay under; "
            "circle: open. "
            f"Own record: {SPEAKS} finished tasks or more. Bar: 8 in 10. Dotted: as planned. "
            "Most hours at stake first."
        ),
    )


def types_table(types: pd.DataFrame) -> pd.DataFrame:
    """The figures of the types."""
    return pd.DataFrame(
        {
            "Type": types["type"],
            "Finished": types["finished"],
            "Rests on": [_BASIS[b] for b in types["basis"]],
            "Times the plan": [_range(row, "ratio") for _, row in types.iterrows()],
            "Sure to run over": ["" if p != p else say_sure(p) for p in types["probability_over"]],
            "Hours at stake": types["hours_at_stake"].round().astype(int),
            "Hours a piece now": [f"{format_percent(s)} of the first" for s in types["learned_so_far"]],
            "Still to learn": [format_percent(1 - s) for s in types["learning_to_come"]],
            "Rework": [_share(row, "rework_share") for _, row in types.iterrows()],
        }
    )


def _show_types(found: Overruns) -> None:
    share = found.outside_plan_share
    st.subheader(
        f"Work outside the plan adds {format_percent_range(share['p10'], share['p90'])} to the planned hours",
        anchor=False,
    )
    st.caption("Over all types, 8 in 10. Rework by type stands in the table above.")


def _show_practice(found: Overruns) -> None:
    st.subheader("What repeating does", anchor=False)
    types = list(found.types["type"])
    picked = st.selectbox("Type of work", types, key="practice_of")
    if picked is not None:
        now = asked()
        show(drawn(lambda: practice_figure(practice_of(now, picked)), "practice", now.key, picked))


def practice_figure(found: Practice) -> Figure:
    """The learning curve of one type."""
    return Figure(
        name="learning-curve",
        finding=found.sentence,
        chart=learning_curve(found.points, found.curve, found.measure),
        description=(
            f"{title_case(found.type)}: one dot a finished task, {found.measure}, against the pieces "
            "done; the curve that the fit draws through them, with its range."
        ),
        table=pd.DataFrame(
            {
                "Task": found.points["task"],
                "Piece": found.points["piece"].round(1),
                title_case(found.measure): found.points["value"].round(2),
                "Hours": found.points["hours"].round(1),
            }
        ),
        legend="Dot: a finished task. Line with its range (8 in 10): a task of this type, luck averaged out.",
    )


def _side(probability_over: float) -> str:
    if probability_over >= SURE:
        return "over"
    return "under" if probability_over <= 1 - SURE else "open"


def _share(row: pd.Series, name: str) -> str:
    return format_percent_range(row[f"{name}_p10"], row[f"{name}_p90"])


def _range(row: pd.Series, name: str) -> str:
    low, mid, high = (row[f"{name}_{q}"] for q in ("p10", "p50", "p90"))
    return "" if mid != mid else f"{mid:.2f} ({low:.2f} to {high:.2f})"


if __name__ == "__main__":
    show_page()
