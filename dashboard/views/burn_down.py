"""Burn-down: hours left, in the log and in the forecast."""

from __future__ import annotations

import streamlit as st

from dashboard.charts.figures import show
from dashboard.frame import current_request, show_answer, show_basis, wait_for_all_runs
from dashboard.work.forecasts import outlook_of
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import burn_down_figure
from forecast.present.finish import finish_sentence, format_middle_80, spread_sentence
from forecast.questions.burn_down import burn_down
from forecast.simulate.outlook import Outlook
from forecast.wording import WHOLE_BUILD, target_name


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    outlook, complete = outlook_of(request)
    show_answer([left_sentence(outlook), finish_sentence(outlook, None)])
    wait_for_all_runs(request, outlook, complete=complete)
    stages = {WHOLE_BUILD: None} | {target_name(stage): stage for stage in outlook.open_stages}
    stage = stages[st.selectbox("Stage", list(stages), key="burn_down_stage")]
    key = ("burn-down", request.key, outlook.settings.runs, stage)
    show(lambda: burn_down_figure(outlook, burn_down(outlook, stage), SCREEN), *key)
    st.text(spread_sentence(outlook))
    show_basis(outlook)


def left_sentence(outlook: Outlook) -> str:
    """How much is left of the whole build."""
    if not outlook.open_stages:
        return "Nothing is left to do."
    return f"{format_middle_80(outlook.person_hours_left(None))} person-hours are left."


if __name__ == "__main__":
    show_page()
