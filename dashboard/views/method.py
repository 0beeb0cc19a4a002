"""Method: how well the forecasts did, how they are computed, what they rest on, and what they are not."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard.charts.figures import as_csv, download, show_table
from dashboard.frame import show_answer
from dashboard.markup import html_table
from dashboard.work import study_tables
from forecast.files.reference_tables import METHOD_READERS, method_page, reference_names, reference_table
from forecast.wording import capitalise

_SHOWN_ELSEWHERE = ("cautions", "published_checks")
_STEPS = (
    (
        "What each task took",
        "The log gives person-hours (clock hours times people) for every task, first-time work and rework "
        "separately. A task in progress counts too: it takes at least the hours spent on it so far.",
    ),
    (
        "What the rest will take",
        "Your finished tasks show how your hours compare with the plan, by type of work, and how much faster "
        "you get with every piece. Types with few finished tasks borrow from the others, and at first from "
        "published rates. Every run draws its own rates, so that the range of the total is wide enough.",
    ),
    (
        "When somebody is at the bench",
        "Weeks have sessions or none, and both tend to come in stretches; the level of hours changes over "
        "the months. Days of the week and joint sessions follow habit; days away and holidays are free.",
    ),
    (
        "Both, simulated through the plan",
        "Each run draws hours for every open task and days at the bench, and simulates the plan: the order "
        "of tasks, two-person tasks, holds, deliveries and limits of the shop. Ten thousand runs give the "
        "ranges. The same log and seed give the same answer.",
    ),
)


def show_page() -> None:
    """Draw the page."""
    show_answer(
        [
            study_tables.coverage_sentence(),
            "The studies use invented builds with a known end; your own track record is the better measure.",
        ]
    )
    _show_studies()
    st.subheader("How a date is computed", anchor=False)
    for number, (title, text) in enumerate(_STEPS, start=1):
        st.markdown(f"**{number}. {title}.** {text}")
    for reader in METHOD_READERS:
        with st.expander(f"The method for {reader}, in two pages"):
            st.markdown(study_tables.method_text(reader).partition("\n")[2])
            file = f"method-for-{reader}.md"
            download("Download, with its tables", method_page(reader), file, "text/markdown")
    st.subheader("What it is not", anchor=False)
    for caution in reference_table("cautions")["text"]:
        st.text(caution)
    _show_checks()
    _show_reference_tables()


def _show_studies() -> None:
    coverage, calibration = study_tables.range_coverage(), study_tables.chance_calibration()
    show_table(coverage, "Builds of many kinds, cut at three shares of their hours")
    _download_csv("finish-ranges", coverage)
    with st.expander("The chances of finishing a task tonight"):
        show_table(calibration, "Tasks of invented builds, by the chance that was forecast")
        _download_csv("chances-tonight", calibration)
    with st.expander("All figures, beside simpler forecasts and the oracle"):
        skill = study_tables.study_tables("statisticians")["finish"]
        caption = "Coverage, and the mean error in days (CRPS) as a ratio to each other forecast"
        st.html(html_table(skill, caption, scrolls=True))
        st.caption(
            "Below 1: better than that forecast. The oracle knows every true rate; only chance is left to it."
        )
        _download_csv("finish-skill", skill)


def _show_checks() -> None:
    st.subheader("Checked against published figures", anchor=False)
    checks = reference_table("published_checks")
    with st.expander(f"{len(checks)} of the checks, each with its source"):
        shown = checks[["checked", "figure", "closeness", "source"]].rename(columns=str.capitalize)
        show_table(shown, "Run with the program's tests; the full list is in tests/published")
        _download_csv("published-checks", checks)


def _show_reference_tables() -> None:
    st.subheader("Published figures that it starts from", anchor=False)
    st.caption("Your own log outweighs them as it grows.")
    for name in reference_names():
        if name not in _SHOWN_ELSEWHERE:
            title = capitalise(name.replace("_", " "))
            with st.expander(title):
                show_table(reference_table(name), f"{title}, with a source in every row")


def _download_csv(name: str, table: pd.DataFrame) -> None:
    download("Table as CSV", partial(as_csv, table), f"{name}.csv", "text/csv")


if __name__ == "__main__":
    show_page()
