"""Solo or two: what a second builder changes, by hours per week and first day."""

from __future__ import annotations

from datetime import timedelta
from math import ceil, inf, isnan

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show, show_table
from dashboard.frame import current_request, show_answer, wait_for
from dashboard.markup import plain
from dashboard.work.forecasts import ForecastRequest, crew_answer_of, help_queue_of, shared_draws_of
from dashboard.work.help_queue import ALONE, Help, likely_next
from forecast import wording
from forecast.present.charts.dates import two_plans
from forecast.present.charts.hours import help_curve
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import Figure, as_days
from forecast.questions.crew import CrewAnswer
from forecast.questions.crew.shared_draws import CrewOutcome, SharedDraws

_ALONE = "Alone"
_LATEST_WEEKS = 104  # of the first day of help: what a builder can plan for
_STEP = 0.5
_LEVELS = {"p10": 0.10, "p50": 0.50, "p80": 0.80, "p90": 0.90}


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    work = shared_draws_of(request)
    if not work.done():
        show_answer(["Would a second pair of hands help?"])
        wait_for(work.done, "Preparing the simulation...")
        return
    draws = work.result()
    place = st.container()
    option, most = _controls(request, draws)
    queue = help_queue_of(request, draws)
    (alone, helped), complete = queue.outcomes(ALONE, option)
    with place:
        show_answer(gain_lines(alone, helped, draws.crew.name))
        if not complete:
            message = f"Preliminary result from {alone.runs:,} runs; the others are running..."
            wait_for(lambda: queue.ready(ALONE, option), message)
    name = f"With {draws.crew.name}"
    show(lambda: plans_figure(alone, helped, name), "plans", request.key, option, alone.runs)
    st.text(cost_sentence(alone, helped))
    _show_where_help_matters(request)
    queue.prefetch(likely_next(option, step=_STEP, least=_STEP, most=most))


def _controls(request: ForecastRequest, draws: SharedDraws) -> tuple[Help, float]:
    """The help that the visitor sets, and the most hours per week that the slider offers."""
    # The slider starts at the helper's usual hours and goes to twice those, in steps of half an hour.
    usual = max(round(2 * draws.usual_hours) / 2, 0.5)
    most = float(max(ceil(2 * usual), 6))
    name = plain(wording.capitalise(draws.crew.name))
    hours = st.slider(f"{name}: hours per week", _STEP, most, usual, _STEP, format="%.1f", key="help_hours")
    tomorrow = request.as_of + timedelta(days=1)
    latest = tomorrow + timedelta(days=7 * max(min(draws.days // 7, _LATEST_WEEKS), 1))
    begin = st.slider(
        f"{name}: from",
        tomorrow,
        latest,
        tomorrow,
        timedelta(days=7),
        format="D MMM YYYY",
        key="help_from",
    )
    only_two = st.checkbox("Only for tasks that need two", key="help_only_two")
    return Help(weekly_hours=hours, from_date=begin, only_two=only_two), most


def gain_lines(alone: CrewOutcome, helped: CrewOutcome, name: str) -> list[str]:
    """How much sooner the build is finished with help, in one or two lines.

    Parameters
    ----------
    alone, helped : outcomes from the same runs
    name : who helps
    """
    low, middle, high = (helped.sooner_than(alone, q) for q in (0.10, 0.50, 0.90))
    if isnan(middle) or middle == inf:
        return [f"Alone the build is not finished within the simulated days; with {name} it may be."]
    if middle < 1:  # less than a day is not worth announcing
        return [f"{wording.capitalise(name)} would not bring the date forward.", _dates_line(alone, helped)]
    gain = f"With {name} the build is finished {wording.format_span(middle)} sooner."
    bottom = wording.format_span(low) if low >= 1 else "nothing"
    top = "no limit" if high == inf else wording.format_span(high)
    return [gain, f"{wording.capitalise(bottom)} to {top} in 8 of 10 runs. {_dates_line(alone, helped)}"]


def _dates_line(alone: CrewOutcome, helped: CrewOutcome) -> str:
    sooner, later = (wording.format_short_date(outcome.date_at(0.80)) for outcome in (helped, alone))
    return f"80 % sure by {sooner} instead of {later}."


def plans_figure(alone: CrewOutcome, helped: CrewOutcome, name: str) -> Figure:
    """Both schedules on one axis.

    Parameters
    ----------
    alone, helped : outcomes from the same runs
    name : of the plan with help
    """
    rows = [
        {"target": wording.target_name(stage), "plan": plan}
        | {q: outcome.date_at(level, stage) for q, level in _LEVELS.items()}
        for stage in (*_open_stages(alone), None)
        for plan, outcome in ((_ALONE, alone), (name, helped))
    ]
    ranges = as_days(pd.DataFrame(rows), list(_LEVELS))
    latest = ranges[list(_LEVELS)].max().max()
    middle = helped.sooner_than(alone, 0.5)
    return Figure(
        name="solo-or-two",
        finding=f"{name} the even-odds date is {'open' if isnan(middle) else wording.format_shift(-middle)}",
        chart=two_plans(ranges, latest + pd.Timedelta(days=10), SCREEN),
        description="Two bars per stage on one axis of dates: alone, and with the second builder.",
        table=pd.DataFrame(
            {
                "Stage": ranges["target"],
                "Plan": ranges["plan"],
                "Even odds": ranges["p50"].map(wording.format_short_date),
                "80 % sure": ranges["p80"].map(wording.format_short_date),
            }
        ),
        legend="Bar: 8 in 10 runs. Mark: 80 % sure; a circle alone, a diamond with the second builder.",
    )


def _open_stages(alone: CrewOutcome) -> list[str]:
    return [s for i, s in enumerate(alone.stages) if (alone.finish_days[:, i] > 0).any()]


def cost_sentence(alone: CrewOutcome, helped: CrewOutcome) -> str:
    """What the help costs in person-hours.

    Parameters
    ----------
    alone, helped : outcomes from the same runs
    """
    total, others = helped.hours_at(0.5), helped.hours_at(0.5, others=True)
    if isnan(total):
        return "No run finishes the build within the simulated days."
    cost = (
        f"It takes {wording.format_hours(total)} person-hours in all instead of "
        f"{wording.format_hours(alone.hours_at(0.5))}, {wording.format_hours(others)} of them by the "
        "second builder"
    )
    gain = helped.sooner_than(alone, 0.5)
    low, middle, high = (helped.sooner_per_hour(alone, q) for q in (0.10, 0.50, 0.90))
    if others < 1 or not 0 < gain < inf or high == inf:
        return f"{cost}."
    return (
        f"{cost}: {_format_days(middle)} days sooner per hour of help "
        f"({_format_days(low)} to {_format_days(high)} in 8 of 10 runs)."
    )


def _format_days(days: float) -> str:
    """A few days to one decimal place, a fraction of a day to two significant digits.

    >>> _format_days(1.26), _format_days(0.034), _format_days(0.0)
    ('1.3', '0.034', '0')
    """
    return f"{days:.1f}" if abs(days) >= 1 else f"{days:.2g}"


def _show_where_help_matters(request: ForecastRequest) -> None:
    """How many hours are enough, and for which work."""
    work = crew_answer_of(request)
    if not work.done():
        wait_for(work.done, "Working out where help matters most...")
        return
    crew = work.result()
    if 1 <= crew.help.gain_days[-1] < inf:
        show(lambda: help_figure(crew), "help", request.key)
    st.subheader("What it rests on", anchor=False)
    for sentence in crew.findings:
        st.text(sentence)
    # Types that gain less than half a day would show as 0.
    gains = crew.by_type.loc[crew.by_type["days_bought"] >= 0.5].head(10)
    if len(gains):
        table = {
            "Type of work": gains["type"],
            "Open tasks": gains["tasks"],
            "Days gained": gains["days_bought"].round().astype(int),
        }
        show_table(pd.DataFrame(table), "Days by which a second pair of hands shortens the way to the finish")


def help_figure(crew: CrewAnswer) -> Figure:
    """Days gained by hours of help per week."""
    curve = pd.DataFrame(
        {"weekly_hours": [0.0, *crew.help.weekly_hours], "gain_days": [0.0, *crew.help.gain_days]}
    )
    half = crew.help.hours_for(0.5)
    return Figure(
        name="hours-of-help",
        finding="Days gained by hours of help per week"
        if half is None
        else f"{half:.1f} hours of help per week bring half of the gain",
        chart=help_curve(curve, SCREEN),
        description="A line over the hours of help per week: the days by which the build is finished sooner.",
        table=pd.DataFrame(
            {
                "Hours per week": curve["weekly_hours"].round(1),
                "Days gained": curve["gain_days"].round().astype(int),
            }
        ),
    )


if __name__ == "__main__":
    show_page()
