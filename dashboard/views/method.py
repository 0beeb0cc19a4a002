"""Method: what is computed, on what it rests, and what it is not."""

from __future__ import annotations

import streamlit as st

from dashboard.figures import show_table
from dashboard.frame import answer
from dashboard.words import title_case
from forecast.reference import METHOD_READERS, method_page, reference_names, reference_table

_STEPS = (
    (
        "What each task took",
        "The log gives person-hours (clock hours times people) for every task, first-time work and rework "
        "apart. A task under way is not left out: its hours so far are a lower bound.",
    ),
    (
        "What the rest will take",
        "A regression on the logarithm of hours: planned hours, the kind of work, a learning curve over the "
        "pieces (unit theory), the second of a pair, a drift that all tasks share. Kinds of work with few "
        "finished tasks lean on the others. It is fitted by Gibbs sampling, and every draw has its own "
        "parameters, so that totals are as uncertain as they should be.",
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
    answer(["How the dates come about, and how far to trust them."])
    for number, (title, text) in enumerate(_STEPS, start=1):
        st.subheader(f"{number}. {title}", anchor=False)
        st.write(text)
    for reader in METHOD_READERS:
        st.download_button(
            f"The method for {reader}, in two pages",
            method_page(reader),
            f"method-for-{reader}.md",
            "text/markdown",
            on_click="ignore",
        )
    st.subheader("What it is not", anchor=False)
    for caution in reference_table("cautions")["text"]:
        st.text(caution)
    st.subheader("Published figures that it starts from", anchor=False)
    st.caption("Your own log outweighs them as it grows.")
    for name in reference_names():
        if name == "cautions":
            continue
        with st.expander(title_case(name.replace("_", " "))):
            table = reference_table(name)
            show_table(table, f"{title_case(name.replace('_', ' '))}, a source in every row")


if __name__ == "__main__":
    show_page()
