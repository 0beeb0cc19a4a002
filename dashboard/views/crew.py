"""Solo or two: what a second pair of hands would change, by how many hours and from when."""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil, inf

import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show, show_table
from dashboard.charts.plans import help_curve, two_plans
from dashboard.frame import answer, asked, wait_for
from dashboard.words import format_shift, format_span, plain, title_case
from dashboard.work.forecasts import Asked, crew_answer_of, held_of, help_of
from dashboard.work.help_plays import ALONE, Help, likely_next
from forecast.present.finish import format_hours, format_short_date
from forecast.questions.crew import CrewAnswer
from forecast.questions.crew.shared_draws import CrewOutcome, SharedDraws

_ALONE = "Alone"
_WHOLE = "Whole build"
_LATEST_WEEKS = 104
_STEP = 0.5
_LEVELS = {"p10": 0.10, "p50": 0.50, "p80": 0.80, "p90": 0.90}


def show_page() -> None:
    """Draw the page."""
    now = asked()
    held = held_of(now)
    if not held.done():
        answer(["Would a second pair of hands help?"])
        wait_for(held.done, "Drawing the rest of the build, so that the sliders answer at once.")
        return
    place = st.container()
    way, most = _controls(now, held.result())
    plays = help_of(now, held.result())
    (alone, helped), all_played = plays.look(ALONE, way)
    with place:
        answer(gain_lines(alone, helped, held.result().crew.name))
        if not all_played:
            said = f"A first look from {alone.runs:,} runs; all of them are being played."
            wait_for(lambda: plays.ready(ALONE, way), said)
    name = f"With {held.result().crew.name}"
    show(drawn(lambda: plans_figure(alone, helped, name), "plans", now.key, way, alone.runs))
    st.text(cost_sentence(alone, helped))
    _show_worth(now)
    plays.prepare(likely_next(way, step=_STEP, least=_STEP, most=most))


def _controls(now: Asked, held: SharedDraws) -> tuple[Help, float]:
    """How many hours, from when, for what; and the most hours that can be asked."""
    usual = max(round(2 * held.usual_hours) / 2, 0.5)
    most = float(max(ceil(2 * usual), 6))
    name = title_case(held.crew.name)
    hours = st.slider(
        f"{plain(name)}: hours a week", _STEP, most, usual, _STEP, format="%.1f", key="help_hours"
    )
    tomorrow = now.as_of + timedelta(days=1)
    latest = tomorrow + timedelta(days=7 * max(min(held.days // 7, _LATEST_WEEKS), 1))
    begin = st.slider(
        f"{plain(name)}: from",
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
    """What it comes to, the answer first."""
    low, middle, high = (helped.sooner_than(alone, q) for q in (0.10, 0.50, 0.90))
    if middle != middle or middle == inf:
        return [f"Alone the build is not finished within the days looked at; with {name} it may be."]
    if middle < 1:
        return [f"{title_case(name)} would not bring the date forward.", _dates_line(alone, helped)]
    said = f"With {name} the build is finished {format_span(middle)} sooner."
    top = "without end" if high == inf else format_span(high)
    bottom = format_span(low) if low >= 1 else "nothing"
    return [said, f"{title_case(bottom)} to {top} in 8 of 10 runs. {_dates_line(alone, helped)}"]


def _dates_line(alone: CrewOutcome, helped: CrewOutcome) -> str:
    sooner, later = (format_short_date(way.date_at(0.80)) for way in (helped, alone))
    return f"80 % sure by {sooner} instead of {later}."


def plans_figure(alone: CrewOutcome, helped: CrewOutcome, name: str) -> Figure:
    """Both schedules on one axis."""
    ranges = pd.DataFrame(
        [
            {"target": title_case(stage or _WHOLE), "plan": plan, **_dates(hands, stage)}
            for stage in (*_open_stages(alone), None)
            for plan, hands in ((_ALONE, alone), (name, helped))
        ]
    )
    ranges = ranges.assign(**{q: pd.to_datetime(ranges[q]).astype("datetime64[us]") for q in _LEVELS})
    latest = ranges[list(_LEVELS)].max().max()
    middle = helped.sooner_than(alone, 0.5)
    return Figure(
        name="solo-or-two",
        finding=f"{name} the even-odds date is {format_shift(-middle) if middle == middle else 'open'}",
        chart=two_plans(ranges, latest + pd.Timedelta(days=10)),
        description="Two bars a stage on one axis of dates: alone, and with the second builder.",
        table=_dates_table(ranges),
        legend="Bar: 8 in 10 runs. Mark: 80 % sure; a circle alone, a diamond with the second builder.",
    )


def _open_stages(alone: CrewOutcome) -> list[str]:
    return [s for i, s in enumerate(alone.stages) if (alone.finish_days[:, i] > 0).any()]


def _dates(hands: CrewOutcome, stage: str | None) -> dict[str, date | None]:
    return {name: hands.date_at(level, stage) for name, level in _LEVELS.items()}


def _dates_table(ranges: pd.DataFrame) -> pd.DataFrame:
    def words(column: str) -> list[str]:
        return ["past horizon" if d is pd.NaT else format_short_date(d.date()) for d in ranges[column]]

    return pd.DataFrame(
        {
            "Stage": ranges["target"],
            "Way": ranges["plan"],
            "Even odds": words("p50"),
            "80 % sure": words("p80"),
        }
    )


def cost_sentence(alone: CrewOutcome, helped: CrewOutcome) -> str:
    """What it costs in person-hours."""
    ours, theirs = helped.hours_at(0.5), helped.hours_at(0.5, others=True)
    if ours != ours:
        return "None of the runs finishes the build within the days that are looked at."
    said = (
        f"It takes {format_hours(ours)} person-hours in all instead of {format_hours(alone.hours_at(0.5))}, "
        f"{format_hours(theirs)} of them by the second builder"
    )
    gain = helped.sooner_than(alone, 0.5)
    low, middle, high = (helped.sooner_per_hour(alone, q) for q in (0.10, 0.50, 0.90))
    if theirs >= 1 and 0 < gain < inf and high < inf:
        return (
            f"{said}: {_days(middle)} days sooner for each of those hours "
            f"({_days(low)} to {_days(high)} in 8 of 10 runs)."
        )
    return f"{said}."


def _days(days: float) -> str:
    """A few days with one decimal place, a fraction of one with two figures.

    >>> _days(1.26), _days(0.034), _days(0.0)
    ('1.3', '0.034', '0')
    """
    return f"{days:.1f}" if abs(days) >= 1 else f"{days:.2g}"


def _show_worth(now: Asked) -> None:
    """Where the second pair of hands buys most, and how many hours are enough."""
    found = crew_answer_of(now)
    if not found.done():
        wait_for(found.done, "Looking where the second pair of hands buys most.")
        return
    crew = found.result()
    if crew.help.gain_days[-1] >= 1 and crew.help.gain_days[-1] < inf:
        show(drawn(lambda: worth_figure(crew), "worth", now.key))
    st.subheader("What it rests on", anchor=False)
    for sentence in crew.findings:
        st.text(sentence)
    bought = crew.by_type.loc[crew.by_type["days_bought"] >= 0.5].head(10)
    if len(bought):
        show_table(
            pd.DataFrame(
                {
                    "Type of work": bought["type"],
                    "Open tasks": bought["tasks"],
                    "Days bought": bought["days_bought"].round().astype(int),
                }
            ),
            "Days of the way to the finish that a second pair of hands buys, by type of work",
        )


def worth_figure(crew: CrewAnswer) -> Figure:
    """How the gain grows with the hours."""
    curve = pd.DataFrame(
        {"weekly_hours": [0.0, *crew.help.weekly_hours], "gain_days": [0.0, *crew.help.gain_days]}
    )
    half = crew.help.hours_for(0.5)
    finding = "The gain by hours of help a week"
    if half is not None:
        finding = f"{half:.1f} hours of help a week buy half of the gain"
    return Figure(
        name="hours-of-help",
        finding=finding,
        chart=help_curve(curve),
        description="A line over the hours of help a week: the days by which the build is done sooner.",
        table=pd.DataFrame(
            {
                "Hours a week": curve["weekly_hours"].round(1),
                "Days sooner": curve["gain_days"].round().astype(int),
            }
        ),
    )


if __name__ == "__main__":
    show_page()
