"""Time at the bench: the hours there were, the silences, and the range of the coming weeks."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show, show_table
from dashboard.charts.hours import days_of_week, hours_by_week
from dashboard.frame import answer, asked
from dashboard.words import format_span, in_words
from dashboard.work.forecasts import fitted_to, record_of
from forecast.present.finish import format_hours, format_short_date
from forecast.questions.bench_hours import BenchHours
from forecast.wording import format_percent

_WEEKS_SHOWN = 78
_WEEK = pd.Timedelta(days=7)


def show_page() -> None:
    """Draw the page."""
    now = asked()
    record = record_of(now)
    answer([quarter_sentence(record), last_sentence(record)])
    show(drawn(lambda: weeks_figure(record), "weeks", now.key))
    show(drawn(lambda: days_figure(record), "days", now.key))
    _show_silences(record)
    for note in fitted_to(now).bench.notes_:
        st.text(note)


def quarter_sentence(record: BenchHours) -> str:
    """What to expect of the next 13 weeks."""
    row = record.totals.loc[record.totals["weeks"] == 13].iloc[0]
    low, high = format_hours(row["p10"]), format_hours(row["p90"])
    return f"Expect {low} to {high} hours at the bench in the next 13 weeks."


def last_sentence(record: BenchHours) -> str:
    """What the last 13 weeks brought."""
    last = record.totals.loc[record.totals["weeks"] == 13, "last"].iloc[0]
    silent = record.silent_days
    rest = f" Nobody has been there for {format_span(silent)}." if silent else ""
    if last != last:
        return f"In 8 of 10 runs; the log itself is shorter than 13 weeks.{rest}"
    return f"In 8 of 10 runs; the last 13 weeks brought {format_hours(last)} hours.{rest}"


def weeks_figure(record: BenchHours) -> Figure:
    """Hours by week, behind and ahead."""
    weeks = record.weeks.iloc[-_WEEKS_SHOWN:]
    coming = record.coming
    empty = float((weeks["hours"] == 0).mean()) if len(weeks) else 0.0
    return Figure(
        name="hours-by-week",
        finding=f"{round(empty * 10)} in 10 weeks were without a session"
        if empty >= 0.05
        else "Hardly a week without a session",
        chart=hours_by_week(
            weeks.assign(next=weeks["monday"] + _WEEK * 0.85),
            coming.assign(next=coming["week_from"] + _WEEK * 0.85, middle=coming["week_from"] + _WEEK * 0.4),
        ),
        description="Clock hours by week: a bar a week for the log, a range a week for the coming half year.",
        table=_spans_table(record.totals),
        legend="Bars from zero: the log. Pale ranges: each coming week, 8 in 10, with a tick at even odds.",
    )


def days_figure(record: BenchHours) -> Figure:
    """The habit by day of the week."""
    days = record.days.assign(label=[format_percent(s) for s in record.days["worked_share"]])
    often = days.nlargest(2, "worked_share").sort_index()["name"]
    return Figure(
        name="days-of-the-week",
        finding=f"Most often there on {in_words([f'{day}s' for day in often])}",
        chart=days_of_week(days),
        description="One bar a day of the week: the share of such days with a session.",
        table=pd.DataFrame(
            {
                "Day": days["name"],
                "With a session": days["label"],
                "Hours then": days["hours"].round(1),
            }
        ),
    )


def _show_silences(record: BenchHours) -> None:
    silences = record.silences
    if silences.empty:
        st.subheader("No silence of two weeks or more", anchor=False)
        return
    count = len(silences)
    longest = format_span(silences["days"].iloc[0])
    st.subheader(
        f"{count} silence{'s' if count != 1 else ''} of two weeks or more, the longest of {longest}",
        anchor=False,
    )
    top = silences.head(10)
    show_table(
        pd.DataFrame(
            {
                "From": [format_short_date(d.date()) for d in top["start"]],
                "To": [format_short_date(d.date()) for d in top["end"]],
                "Days": top["days"],
            }
        ),
        "The longest stretches without a session",
    )


def _spans_table(totals: pd.DataFrame) -> pd.DataFrame:
    """What lies ahead, and as many weeks behind."""
    behind = ["" if last != last else format_hours(last) for last in totals["last"]]
    return pd.DataFrame(
        {
            "Span": [f"{w} weeks" for w in totals["weeks"]],
            "Last": behind,
            "Next, low (80 %)": [format_hours(h) for h in totals["p10"]],
            "Next, even odds": [format_hours(h) for h in totals["p50"]],
            "Next, high (80 %)": [format_hours(h) for h in totals["p90"]],
        }
    )


if __name__ == "__main__":
    show_page()
