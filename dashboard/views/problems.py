"""What is shown while the files allow no forecast: what to fix, or how to start."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.frame import errors_shown, show_answer
from dashboard.server.opening import opened
from dashboard.work.reading import read_folder
from forecast.errors import Problem
from forecast.files.folder import start_build
from forecast.wording import plural


def show_page() -> None:
    """Draw the page."""
    folder = opened().folder
    if not any(folder.iterdir()):
        _offer_start()
        return
    problems = read_folder(folder).problems
    show_answer([f"Fix {plural(len(problems), 'problem')} in your files to get a forecast."])
    show_table(problems_table(problems), "Every problem in the folder")
    st.write("Rows of the log can be fixed on the page **The log**, the other files in any editor.")


def problems_table(problems: Sequence[Problem]) -> pd.DataFrame:
    """One row per problem: where it is, the value found, and the rule that it breaks."""
    return pd.DataFrame(
        {
            "Where": [p.file if p.line is None else f"{p.file}, line {p.line}" for p in problems],
            "Column": [p.column for p in problems],
            "Value": [p.value for p in problems],
            "Rule": [p.allowed for p in problems],
        }
    )


def _offer_start() -> None:
    show_answer(["There is no build in this folder yet."])
    st.write("Start with a few invented rows and overwrite them with your own.")
    if st.button("Start a build here", type="primary", key="start"):
        with errors_shown():
            start_build(opened().folder, date.today())
            st.rerun()


if __name__ == "__main__":
    show_page()
