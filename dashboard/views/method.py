"""Method: how well the program did, what it computes, on what it rests, and what it is not."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.charts.figures import as_csv, show_table
from dashboard.frame import answer
from dashboard.words import html_table, title_case
from dashboard.work.measured import chances_held, finish_ranges_held, held_sentence, measured, words_of
from forecast.files.reference_tables import METHOD_READERS, method_page, reference_names, reference_table

_APART = ("cautions", "published_checks")
_STEPS = (
    (
        "What each task took",
        "The log gives person-hours (clock hours times people) for every task, first-time work and rework "
        "apart. A task under way is not left out: it takes at least what went into it already.",
    ),
    (
        "What the rest will take",
        "From your finished tasks: how your hours compare with the plan, by kind of work, and how much "
        "faster you get with every piece. Kinds of work with few finished tasks lean on the others, and at "
        "first on published rates. Every run draws its own rates, so that the range of the whole is as wide "
        "as it should be.",
    ),
    (
        "When somebody is at the bench",
        "Weeks are worked or silent, and both tend to last; the level of hours wanders over the months; days "
        "of the week and company follow habit; away days and public holidays are kept.",
    ),
    (
        "Both, played through the plan",
        "Each run draws hours for every open task and days at the bench, and plays them through the plan: "
        "what must come first, two-person tasks, holds, deliveries, what the shop has only so much of. Ten "
        "thousand runs give the ranges. Same log, same seed: the same answer.",
    ),
)


def show_page() -> None:
    """Draw the page."""
    answer(
        [
            held_sentence(),
            "So on invented builds whose true end is known; your own track record will say more.",
        ]
    )
    _show_measured()
    st.subheader("How a date comes about", anchor=False)
    for number, (title, text) in enumerate(_STEPS, start=1):
        st.markdown(f"**{number}. {title}.** {text}")
    for reader in METHOD_READERS:
        with st.expander(f"The method for {reader}, in two pages"):
            st.markdown(words_of(reader).partition("\n")[2])
            st.download_button(
                "Take it away, with its tables",
                method_page(reader),
                f"method-for-{reader}.md",
                "text/markdown",
                on_click="ignore",
                key=f"page_{reader}",
            )
    st.subheader("What it is not", anchor=False)
    for caution in reference_table("cautions")["text"]:
        st.text(caution)
    _show_checks()
    _show_figures()


def _show_measured() -> None:
    _table_to_take(
        "finish-ranges", finish_ranges_held, "Builds of many kinds, cut at three points of their hours"
    )
    with st.expander("The chances of finishing a task tonight"):
        _table_to_take(
            "chances-tonight", chances_held, "Tasks of invented builds, by the chance that was given"
        )
    with st.expander("All figures, beside simpler ways and beside one who knows the truth"):
        table = measured("statisticians")["finish"]
        st.html(
            html_table(
                table, "Coverage, and the mean error in days (CRPS) as a ratio to each way", scrolls=True
            )
        )
        st.caption("Below 1: better than that way. The oracle knows every true rate and only lacks the luck.")
        _csv_of("finish-skill", lambda: table)


def _show_checks() -> None:
    st.subheader("Checked against printed figures", anchor=False)
    checks = reference_table("published_checks")
    with st.expander(f"{len(checks)} of the checks, each with its source"):
        shown = checks[["checked", "figure", "closeness", "source"]].rename(columns=str.capitalize)
        show_table(shown, "Run by every test of the program; the full list is in tests/published")
        _csv_of("published-checks", lambda: checks)


def _show_figures() -> None:
    st.subheader("Published figures that it starts from", anchor=False)
    st.caption("Your own log outweighs them as it grows.")
    for name in reference_names():
        if name not in _APART:
            title = title_case(name.replace("_", " "))
            with st.expander(title):
                show_table(reference_table(name), f"{title}, a source in every row")


def _table_to_take(name: str, table: Callable[[], pd.DataFrame], caption: str) -> None:
    show_table(table(), caption)
    _csv_of(name, table)


def _csv_of(name: str, table: Callable[[], pd.DataFrame]) -> None:
    st.download_button(
        "Table as CSV",
        lambda: as_csv(table()),
        f"{name}.csv",
        "text/csv",
        on_click="ignore",
        key=f"csv_{name}",
    )


if __name__ == "__main__":
    show_page()
