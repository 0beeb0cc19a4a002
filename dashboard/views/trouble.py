"""What is shown in place of a forecast while the files do not allow one: what to do next."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.frame import answer
from dashboard.server.opening import opened
from dashboard.views.tables import problems_table
from dashboard.words import plain
from dashboard.work.reading import read_folder
from forecast.errors import BenchdaysError
from forecast.files.folder import start_build


def show_page() -> None:
    """Draw the page."""
    folder = opened().folder
    if not any(folder.iterdir()):
        _offer_start()
        return
    problems = read_folder(folder).problems
    count = len(problems)
    answer([f"{count} thing{'s' if count != 1 else ''} in your files must be put right before a forecast."])
    show_table(problems_table(problems), "Every problem of the folder at once")
    st.write("Rows of the log can be put right on the page **The log**; the other files in any editor.")


def _offer_start() -> None:
    answer(["There is no build in this folder yet."])
    st.write("Begin with a few invented rows, and write your own over them.")
    if st.button("Begin a build here", type="primary", key="start"):
        try:
            start_build(opened().folder, date.today())
        except BenchdaysError as error:
            st.error(plain(str(error)))
            return
        st.rerun()


if __name__ == "__main__":
    show_page()
