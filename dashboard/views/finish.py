"""Finish dates: when each stage is done, how sure that is, and what moved it."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import streamlit as st

from dashboard.charts.dates import causes_of_move, chance_by_day, finish_ranges
from dashboard.charts.figures import Figure, drawn, show
from dashboard.frame import answer, asked, basis, place_for_passing, wait_for
from dashboard.words import format_shift, in_words, title_case
from dashboard.work.forecasts import Asked, holders_of, moved_of, outlook_of
from forecast.present.finish import finish_lines, format_date, format_hours, format_short_date, hours_range
from forecast.questions.date_change import LEVEL, DateChange
from forecast.simulate.outlook import Outlook
from forecast.wording import format_percent

WHOLE = "Whole build"
_SHOWN = (0.05, 0.10, 0.50, 0.80, 0.90, 0.95)
_CAUSES = {
    "worked": "Hours worked",
    "over": "Tasks over or under",
    "grown": "New in the plan",
    "pace": "Pace from here on",
    "order": "Order and waiting",
}


def show_page() -> None:
    """Draw the page."""
    now = asked()
    outlook, all_played = outlook_of(now)
    answer(finish_lines(outlook))
    with place_for_passing():
        if not all_played:
            wait_for(lambda: outlook_of(now)[1], "A first look from 500 runs; all of them are being played.")
    st.page_link("views/log.py", label="Write a session down", icon=":material/edit:")
    if outlook.open_stages:
        show(drawn(lambda: ranges_figure(outlook), "ranges", now.key, outlook.settings.runs))
        with place_for_passing():
            if all_played:
                _show_moved(now, outlook)
        _show_chance(now, outlook)
        if all_played:
            _show_holders(now)
    basis(outlook)


def ranges_figure(outlook: Outlook) -> Figure:
    """The range of every stage and of the whole build."""
    frame = ranges_frame(outlook)
    until = _right_edge(outlook, frame)
    return Figure(
        name="finish-dates",
        finding=_ranges_finding(outlook),
        chart=finish_ranges(frame, pd.Timestamp(outlook.as_of), until),
        description=(
            f"One row per stage and one for the build, against dates from {format_date(outlook.as_of)}: "
            "a range that widens the further away the finish lies."
        ),
        table=dates_table(outlook),
        legend=(
            "Circle: even odds. Diamond with its date: 80 % sure. Broad bar: 8 in 10 runs; line: 9 in 10. "
            f"Dotted: {format_date(outlook.as_of)}."
        ),
    )


def ranges_frame(outlook: Outlook) -> pd.DataFrame:
    """One row a target with its dates."""
    rows = []
    for stage in (*outlook.stages, None):
        done = outlook.finished_on(stage)
        days = {f"p{round(q * 100):02d}": outlook.date_at(q, stage) for q in _SHOWN}
        finished = "" if done is None else f"finished {format_short_date(done)}"
        rows.append({"target": _name(stage), **days, "finished": finished})
    frame = pd.DataFrame(rows)
    quantiles = [c for c in frame if str(c).startswith("p")]
    return frame.assign(**{c: pd.to_datetime(frame[c]).astype("datetime64[us]") for c in quantiles})


def dates_table(outlook: Outlook) -> pd.DataFrame:
    """The dates in words, as the command prints them."""
    rows = []
    for stage in (*outlook.stages, None):
        done = outlook.finished_on(stage)
        hours = outlook.person_hours_left(stage)
        rows.append(
            {
                "Stage": _name(stage),
                "Person-hours left": "0" if done else hours_range(hours, 0.10, 0.90),
                "Even odds": format_short_date(done or outlook.date_at(0.50, stage)),
                "80 % sure": "finished" if done else format_short_date(outlook.date_at(0.80, stage)),
                "9 in 10 hours done": ""
                if done
                else format_short_date(outlook.date_at(0.50, stage, first_90=True)),
            }
        )
    return pd.DataFrame(rows)


def moved_figure(moved: DateChange) -> Figure:
    """By how many days each cause moved the 80 % date."""
    causes = pd.DataFrame(
        {
            "cause": list(_CAUSES.values()),
            "days": [round(moved.days[c]) for c in _CAUSES],
        }
    )
    causes = causes.assign(label=[format_shift(d) for d in causes["days"]])
    return Figure(
        name="what-moved",
        finding=moved_sentence(moved),
        chart=causes_of_move(causes),
        description="One bar a cause: days by which it moved the date, to the left earlier, to the ri"
        "ght later.",
        table=causes.rename(columns={"cause": "Cause", "days": "Days later", "label": "In words"}),
        legend=moved_reasons(moved),
    )


def moved_sentence(moved: DateChange) -> str:
    """By how much the whole build moved, in one line."""
    then = format_date(moved.before.as_of)
    if abs(moved.days_later) < 1.5:
        return f"Since {then} the date for the whole build has hardly moved."
    return (
        f"Since {then} the date that is {format_percent(LEVEL)} sure moved: {format_shift(moved.days_later)}."
    )


def moved_reasons(moved: DateChange) -> str:
    """The hours behind the move."""
    said = [
        f"{format_hours(moved.hours_worked)} of {format_hours(moved.hours_expected)} "
        "expected hours were worked"
    ]
    if abs(moved.hours_over) >= 1:
        word = "more" if moved.hours_over > 0 else "fewer"
        said.append(f"the tasks look like {format_hours(abs(moved.hours_over))} hours {word}")
    if moved.hours_grown >= 1:
        said.append(f"{format_hours(moved.hours_grown)} hours came into the plan")
    return f"{in_words(said)}."


def _show_moved(now: Asked, outlook: Outlook) -> None:
    work = moved_of(now, outlook)
    if not work.done():
        wait_for(work.done, "Looking at what moved since a month ago.")
        return
    moved = work.result()
    if moved is None:
        st.caption("What moved shows here once the log is more than a month long.")
        return
    show(drawn(lambda: moved_figure(moved), "moved", now.key))


def _show_holders(now: Asked) -> None:
    """What holds the date, in sentences."""
    st.subheader("What holds the date", anchor=False)
    work = holders_of(now)
    if not work.done():
        wait_for(work.done, "Tracing the runs back from their finish.")
        return
    for sentence in work.result().findings:
        st.text(sentence)


def _show_chance(now: Asked, outlook: Outlook) -> None:
    st.subheader("By a day of your choice", anchor=False)
    targets = {title_case(s): s for s in outlook.open_stages} | {WHOLE: None}
    left, right = st.columns(2)
    target = left.selectbox("What", list(targets), index=len(targets) - 1, key="chance_of")
    stage = targets[target]
    latest = outlook.as_of + timedelta(days=outlook.settings.horizon_days)
    usual = outlook.date_at(0.50, stage) or latest
    picked = right.date_input(
        "Finished by",
        value=usual,
        min_value=outlook.as_of,
        max_value=latest,
        format="YYYY-MM-DD",
        key=f"chance_by_{target}",
    )
    if isinstance(picked, date):
        key = ("chance", now.key, outlook.settings.runs, stage, picked)
        show(drawn(lambda: chance_figure(outlook, stage, picked), *key))


def chance_figure(outlook: Outlook, stage: str | None, picked: date) -> Figure:
    """The chance of being finished by any day, with one picked out."""
    chance = outlook.chance_by(picked, stage)
    last = max(outlook.date_at(0.95, stage) or picked, picked) + timedelta(days=30)
    days = pd.date_range(outlook.as_of, last, periods=60).normalize().unique()
    chances = pd.DataFrame({"day": days, "chance": [outlook.chance_by(d.date(), stage) for d in days]})
    name = _name(stage)
    some = chances.iloc[::2]
    return Figure(
        name="chance-by-day",
        finding=f"{name} finished by {format_date(picked)}: {say_chance(chance)}.",
        chart=chance_by_day(chances, pd.Timestamp(picked), chance),
        description=f"The chance that {name} is finished, rising from 0 to 100 % over the dates.",
        table=some.assign(
            day=[format_short_date(d.date()) for d in some["day"]],
            chance=[format_percent(c) for c in some["chance"]],
        ).rename(columns={"day": "Finished by", "chance": "Chance"}),
    )


def say_chance(chance: float) -> str:
    """A chance as people say it."""
    if chance < 0.01:
        return "next to no chance"
    if chance > 0.99:
        return "as good as certain"
    return f"a chance of {round(chance * 100)} in 100"


def _ranges_finding(outlook: Outlook) -> str:
    early, late = outlook.date_at(0.10, None), outlook.date_at(0.90, None)
    if early is None:
        return "Fewer than one run in ten finishes the whole build within the horizon"
    if late is None:
        return f"The whole build is hardly done before {format_date(early)}; how late is open"
    return f"The whole build: 8 in 10 runs end between {format_date(early)} and {format_date(late)}"


def _right_edge(outlook: Outlook, frame: pd.DataFrame) -> pd.Timestamp:
    """Where the picture ends: behind nine in ten runs, or behind the last date there is."""
    for column in ("p90", "p80", "p50", "p10"):
        latest = frame.loc[frame["target"] == WHOLE, column].iloc[0]
        if latest is not pd.NaT:
            return latest + (latest - pd.Timestamp(outlook.as_of)) * 0.08 + pd.Timedelta(days=7)
    return pd.Timestamp(outlook.as_of + timedelta(days=outlook.settings.horizon_days))


def _name(stage: str | None) -> str:
    return WHOLE if stage is None else title_case(stage)


if __name__ == "__main__":
    show_page()
