"""Finish dates: when each stage is done, how sure that is, what moved the date and what drives it."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import streamlit as st

from dashboard import frame
from dashboard.charts.figures import show
from dashboard.work.forecasts import ForecastRequest, date_change_of, drivers_of, outlook_of
from forecast import wording
from forecast.present.charts.dates import chance_by_day, date_causes
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import Figure, finish_figure
from forecast.present.finish import finish_lines
from forecast.questions.date_change import LEVEL, DateChange
from forecast.simulate.outlook import Outlook

_CAUSES = {
    "worked": "Hours worked",
    "over": "Tasks over or under estimate",
    "grown": "Tasks added to the plan",
    "pace": "Future pace",
    "order": "Order of tasks and waiting",
}
_CURVE_POINTS = 60  # smooth to the eye at the width of a page; every second one is in the table


def show_page() -> None:
    """Draw the page."""
    request = frame.current_request()
    outlook, complete = outlook_of(request)
    frame.show_answer(finish_lines(outlook))
    frame.wait_for_all_runs(request, outlook, complete=complete)
    st.page_link("views/log.py", label="Log a session", icon=":material/edit:")
    if outlook.open_stages:
        show(lambda: finish_figure(outlook, SCREEN), "finish", request.key, outlook.settings.runs)
        with frame.slot():
            if complete:
                _show_change(request, outlook)
        _show_chance(request, outlook)
        if complete:
            _show_drivers(request)
    frame.show_basis(outlook)


def _show_change(request: ForecastRequest, outlook: Outlook) -> None:
    work = date_change_of(request, outlook)
    if not work.done():
        frame.wait_for(work.done, "Working out what moved the date since a month ago...")
        return
    change = work.result()
    if change is None:
        st.caption("What moved the date is shown here once the log covers more than a month.")
        return
    show(lambda: change_figure(change), "change", request.key)


def change_figure(change: DateChange) -> Figure:
    """By how many days each cause moved the 80 % date."""
    days = [round(change.days[cause]) for cause in _CAUSES]
    causes = pd.DataFrame(
        {"cause": list(_CAUSES.values()), "days": days, "label": [wording.format_shift(d) for d in days]}
    )
    return Figure(
        name="date-change",
        finding=change_sentence(change),
        chart=date_causes(causes, SCREEN),
        description="One bar per cause: days by which it moved the date, earlier left, later right.",
        table=causes.rename(columns={"cause": "Cause", "days": "Days later", "label": "In words"}),
        legend=change_reasons(change),
    )


def change_sentence(change: DateChange) -> str:
    """By how much the date of the whole build moved, in one line."""
    then = wording.format_date(change.before.as_of)
    if abs(change.days_later) < 1.5:  # a day more or less is not worth a sentence: a judgement
        return f"Since {then} the date for the whole build has hardly moved."
    shift = wording.format_shift(change.days_later)
    return f"Since {then} the {wording.format_percent(LEVEL)} date of the whole build moved: {shift}."


def change_reasons(change: DateChange) -> str:
    """The hours behind the change."""
    worked, expected = wording.format_hours(change.hours_worked), wording.format_hours(change.hours_expected)
    reasons = [f"{worked} of {expected} expected hours were worked"]
    if abs(change.hours_over) >= 1:
        more = "more" if change.hours_over > 0 else "fewer"
        reasons.append(
            f"the tasks are now expected to take {wording.format_hours(abs(change.hours_over))} hours {more}"
        )
    if change.hours_grown >= 1:
        reasons.append(f"tasks of {wording.format_hours(change.hours_grown)} hours were added to the plan")
    return f"{wording.join_words(reasons)}."


def _show_drivers(request: ForecastRequest) -> None:
    st.subheader("What drives the date", anchor=False)
    work = drivers_of(request)
    if not work.done():
        frame.wait_for(work.done, "Working out what drives the date...")
        return
    for sentence in work.result().findings:
        st.text(sentence)


def _show_chance(request: ForecastRequest, outlook: Outlook) -> None:
    st.subheader("By a day of your choice", anchor=False)
    stages = {wording.target_name(stage): stage for stage in (*outlook.open_stages, None)}
    left, right = st.columns(2)
    target = left.selectbox(
        "What", list(stages), index=list(stages).index(wording.WHOLE_BUILD), key="chance_of"
    )
    stage = stages[target]
    latest = outlook.as_of + timedelta(days=outlook.settings.horizon_days)
    day = right.date_input(
        "Finished by",
        value=outlook.date_at(0.50, stage) or latest,
        min_value=outlook.as_of,
        max_value=latest,
        format="YYYY-MM-DD",
        key=f"chance_by_{target}",
    )
    if isinstance(day, date):
        key = ("chance", request.key, outlook.settings.runs, stage, day)
        show(lambda: chance_figure(outlook, stage, day), *key)


def chance_figure(outlook: Outlook, stage: str | None, day: date) -> Figure:
    """The chance of being finished by any day, with one day marked.

    Parameters
    ----------
    outlook : the forecast
    stage : name of the stage; None = the whole build
    day : the day to mark
    """
    chance, name = outlook.chance_by(day, stage), wording.target_name(stage)
    last = max(outlook.date_at(0.95, stage) or day, day) + timedelta(days=30)  # room for the label
    days = pd.date_range(outlook.as_of, last, periods=_CURVE_POINTS).normalize().unique()
    chances = pd.DataFrame({"day": days, "chance": [outlook.chance_by(d.date(), stage) for d in days]})
    some = chances.iloc[::2]
    return Figure(
        name="chance-by-day",
        finding=f"{name} finished by {wording.format_date(day)}: {wording.format_chance(chance)}.",
        chart=chance_by_day(chances, day, chance, SCREEN),
        description=f"The chance that {name} is finished, rising from 0 to 100 % over the dates.",
        table=pd.DataFrame(
            {
                "Finished by": some["day"].map(wording.format_short_date),
                "Chance": some["chance"].map(wording.format_percent),
            }
        ),
    )


if __name__ == "__main__":
    show_page()
