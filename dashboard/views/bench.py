"""Time at the bench: hours logged, gaps without a session, and the range of the coming weeks."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show, show_table
from dashboard.frame import current_request, show_answer
from dashboard.work.forecasts import bench_hours_of, fitted_to
from forecast import wording
from forecast.present.charts.hours import days_of_week, hours_by_week
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import Figure
from forecast.questions.bench_hours import BenchHours

_MOST_WEEKS = 78  # a year and a half of bars is what a phone shows apart
_WEEK = pd.Timedelta(days=7)
_BAR, _MIDDLE = 0.85, 0.4  # of a week: where a bar ends and where its tick is


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    found = bench_hours_of(request)
    show_answer([coming_sentence(found), past_sentence(found)])
    show(lambda: weeks_figure(found), "weeks", request.key)
    show(lambda: days_figure(found), "days", request.key)
    _show_gaps(found.silences)
    for note in fitted_to(request).bench.notes_:
        st.text(note)


def _quarter(found: BenchHours) -> pd.Series:
    """The row of the next 13 weeks."""
    return found.totals.loc[found.totals["weeks"] == 13].iloc[0]


def coming_sentence(found: BenchHours) -> str:
    """The hours of the next 13 weeks."""
    row = _quarter(found)
    low, high = wording.format_hours(row["p10"]), wording.format_hours(row["p90"])
    return f"Expect {low} to {high} hours at the bench in the next 13 weeks."


def past_sentence(found: BenchHours) -> str:
    """The hours of the last 13 weeks, and how long ago the last session was."""
    last, silent = _quarter(found)["last"], found.silent_days
    gap = f" The last session was {wording.format_span(silent)} ago." if silent else ""
    if pd.isna(last):
        return f"In 8 of 10 runs; the log itself is shorter than 13 weeks.{gap}"
    return f"In 8 of 10 runs; the last 13 weeks had {wording.format_hours(last)} hours.{gap}"


def weeks_figure(found: BenchHours) -> Figure:
    """Hours by week, logged and forecast."""
    weeks, coming = found.weeks.iloc[-_MOST_WEEKS:], found.coming
    empty = float((weeks["hours"] == 0).mean()) if len(weeks) else 0.0
    finding = f"{round(empty * 10)} in 10 weeks were without a session"
    return Figure(
        name="hours-by-week",
        # Below 5 % it would read as 0 in 10 weeks.
        finding=finding if empty >= 0.05 else "Hardly a week without a session",
        chart=hours_by_week(
            weeks.assign(next=weeks["monday"] + _WEEK * _BAR),
            coming.assign(
                next=coming["week_from"] + _WEEK * _BAR, middle=coming["week_from"] + _WEEK * _MIDDLE
            ),
            SCREEN,
        ),
        description="Clock hours by week: one bar per logged week, one range per week of the next half year.",
        table=_totals_table(found.totals),
        legend="Bars from zero: the log. Pale ranges: each coming week, 8 in 10, with a tick at even odds.",
    )


def days_figure(found: BenchHours) -> Figure:
    """The share of each day of the week with a session."""
    days = found.days.assign(label=[wording.format_percent(share) for share in found.days["worked_share"]])
    often = days.nlargest(2, "worked_share").sort_index()["name"]
    return Figure(
        name="days-of-the-week",
        finding=f"Most sessions are on {wording.join_words([f'{day}s' for day in often])}",
        chart=days_of_week(days, SCREEN),
        description="One bar per day of the week: the share of such days with a session.",
        table=pd.DataFrame(
            {
                "Day": days["name"],
                "With a session": days["label"],
                "Hours per session day": days["hours"].round(1),
            }
        ),
    )


def _show_gaps(gaps: pd.DataFrame) -> None:
    if gaps.empty:
        st.subheader("No gap of two weeks or more", anchor=False)
        return
    longest = wording.format_span(gaps["days"].iloc[0])
    finding = f"{wording.plural(len(gaps), 'gap')} of two weeks or more, the longest of {longest}"
    st.subheader(finding, anchor=False)
    top = gaps.head(10)  # the frame has the longest first
    table = {
        "From": [wording.format_short_date(day) for day in top["start"]],
        "To": [wording.format_short_date(day) for day in top["end"]],
        "Days": top["days"],
    }
    show_table(pd.DataFrame(table), "The longest gaps without a session")


def _totals_table(totals: pd.DataFrame) -> pd.DataFrame:
    """Hours of the weeks to come, and of as many weeks before."""
    return pd.DataFrame(
        {
            "Span": [f"{weeks} weeks" for weeks in totals["weeks"]],
            "Last": ["" if pd.isna(last) else wording.format_hours(last) for last in totals["last"]],
            "Next, low (80 %)": totals["p10"].map(wording.format_hours),
            "Next, even odds": totals["p50"].map(wording.format_hours),
            "Next, high (80 %)": totals["p90"].map(wording.format_hours),
        }
    )


if __name__ == "__main__":
    show_page()
