"""Burn-down: hours left, behind and ahead."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show
from dashboard.charts.hours import hours_left
from dashboard.frame import answer, asked, basis, place_for_passing, wait_for
from dashboard.words import title_case
from dashboard.work.forecasts import outlook_of
from forecast.present.finish import (
    finish_sentence,
    format_date,
    format_hours,
    format_short_date,
    hours_range,
    range_sentence,
)
from forecast.questions.burn_down import BurnDown, burn_down
from forecast.simulate.outlook import Outlook

_WHOLE = "Whole build"
_NAMES = {
    "p50": "Even odds",
    "p10": "Low (80 %)",
    "p90": "High (80 %)",
    "p02": "Low (95 %)",
    "p98": "High (95 %)",
}


def show_page() -> None:
    """Draw the page."""
    now = asked()
    outlook, all_played = outlook_of(now)
    answer([left_sentence(outlook), finish_sentence(outlook, None)])
    with place_for_passing():
        if not all_played:
            wait_for(lambda: outlook_of(now)[1], "A first look from 500 runs; all of them are being played.")
    stages = {_WHOLE: None} | {title_case(s): s for s in outlook.open_stages}
    picked = st.selectbox("Stage", list(stages), key="burn_stage")
    stage = stages[picked]
    key = ("burn", now.key, outlook.settings.runs, stage)
    show(drawn(lambda: burn_figure(outlook, burn_down(outlook, stage)), *key))
    st.text(range_sentence(outlook))
    basis(outlook)


def left_sentence(outlook: Outlook) -> str:
    """How much is left of the whole build."""
    if not outlook.open_stages:
        return "Nothing is left to do."
    return f"{hours_range(outlook.person_hours_left(None), 0.10, 0.90)} person-hours are still to do."


def burn_figure(outlook: Outlook, burned: BurnDown) -> Figure:
    """One stage, or the whole build."""
    name = _WHOLE if burned.stage is None else title_case(burned.stage)
    scope = _marked(burned)
    return Figure(
        name="burn-down",
        finding=_finding(name, outlook, burned),
        chart=hours_left(burned.logged, burned.forecast, scope),
        description=(
            f"{name}: person-hours left against dates. A stepped line falls through the log to "
            f"{format_date(outlook.as_of)}; from there a fan of the runs falls to nothing."
        ),
        table=_table(burned),
        legend=(
            "Stepped line: the log, as seen from today. Line ahead: even odds; dark, middle and pale: half, "
            "8 in 10 and 95 in 100 of the runs. Triangle: tasks that came into the plan."
        ),
    )


def _finding(name: str, outlook: Outlook, burned: BurnDown) -> str:
    left = format_hours(outlook_median(burned))
    grown = burned.scope["hours"].sum()
    more = f"; the plan grew by {format_hours(grown)} hours" if grown >= 1 else ""
    return f"{name}: {left} person-hours left at even odds{more}"


def outlook_median(burned: BurnDown) -> float:
    """Hours left today at even odds."""
    return float(burned.forecast["p50"].iloc[0])


def _marked(burned: BurnDown) -> pd.DataFrame:
    """Where the line of the log stands when tasks come into the plan."""
    logged = burned.logged
    at = logged["day"].searchsorted(burned.scope["day"], side="left").clip(max=len(logged) - 1)
    return burned.scope.assign(
        hours_left=logged["hours_left"].to_numpy()[at],
        label=[f"+{h:.0f} h" if h >= 1 else "" for h in burned.scope["hours"]],
    )


def _table(burned: BurnDown) -> pd.DataFrame:
    ahead = burned.forecast.iloc[:: max(len(burned.forecast) // 14, 1)]
    columns = {"Date": [format_short_date(d.date()) for d in ahead["day"]]}
    columns |= {
        _NAMES[q]: ahead[q].round().astype(int).to_list() for q in ("p50", "p10", "p90", "p02", "p98")
    }
    return pd.DataFrame(columns)


if __name__ == "__main__":
    show_page()
