"""Charts of ways to go on: a frame of figures from `forecast` goes in, an `alt.Chart` comes out."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.dates import ROW_HEIGHT, dates_axis, names_axis, on_lines, ready, short_day
from dashboard.charts.palette import BLUE, GREY, ORANGE


def two_plans(ranges: pd.DataFrame, until: pd.Timestamp) -> alt.LayerChart:
    """The same stages under two ways of working, one below the other.

    Parameters
    ----------
    ranges : target, plan, p10, p50, p80, p90 (days)
    until : the right edge; what lies beyond is cut there
    """
    ranges = ranges.assign(target=on_lines(ranges["target"]))
    known = ranges.loc[ranges["p10"].notna()]
    cut = known.assign(p90=known["p90"].fillna(until).clip(upper=until))
    plans = list(dict.fromkeys(ranges["plan"]))
    y = alt.Y("target:N", sort=list(dict.fromkeys(ranges["target"])), title=None, axis=names_axis())
    x = alt.X("p10:T", title="Finished by", axis=dates_axis())
    side = alt.YOffset("plan:N", sort=plans)
    legend = alt.Legend(orient="bottom", title=None, symbolOpacity=1, labelLimit=300)
    colour = alt.Color("plan:N", scale=alt.Scale(domain=plans, range=[BLUE, ORANGE]), legend=legend)
    shape = alt.Shape("plan:N", scale=alt.Scale(domain=plans, range=["circle", "diamond"]), legend=legend)
    base = alt.Chart(cut).encode(y=y, yOffset=side)
    bars = base.mark_bar(size=10, opacity=0.45).encode(x=x, x2="p90:T", color=colour)
    sure = base.transform_filter("isValid(datum.p80)").mark_point(size=130, filled=True, opacity=1)
    marks = sure.encode(x="p80:T", color=colour, shape=shape)
    return ready(bars, marks, height=(ROW_HEIGHT - 6) * len(set(ranges["target"])) + 70)


def help_curve(curve: pd.DataFrame) -> alt.LayerChart:
    """How many days sooner, by hours of help a week.

    Parameters
    ----------
    curve : weekly_hours, gain_days
    """
    base = alt.Chart(curve).encode(
        x=alt.X("weekly_hours:Q", title="Hours of help a week", scale=alt.Scale(nice=False)),
        y=alt.Y("gain_days:Q", title="Days sooner", axis=alt.Axis(grid=True, tickCount=5)),
    )
    line = base.mark_line(color=BLUE, strokeWidth=3)
    return ready(line, base.mark_point(color=BLUE, filled=True, size=80, opacity=1), height=240)


def order_dates(frame: pd.DataFrame) -> alt.LayerChart:
    """By when to order each delivery, and when it is first needed.

    Parameters
    ----------
    frame : title, order_by, p10, p50, p90 (days; NaT where there is none)
    """
    labelled = frame.assign(
        label=[short_day(day) for day in frame["order_by"]], title=on_lines(frame["title"])
    )
    y = alt.Y("title:N", sort=list(labelled["title"]), title=None, axis=names_axis())
    base = alt.Chart(labelled).encode(y=y)
    needed = base.transform_filter("isValid(datum.p10) && isValid(datum.p90)")
    bars = needed.mark_bar(color=BLUE, opacity=0.45, size=14).encode(
        x=alt.X("p10:T", title="Date", axis=dates_axis()), x2="p90:T"
    )
    ticks = needed.mark_tick(color=BLUE, thickness=4, size=22).encode(x="p50:T")
    due = base.transform_filter("isValid(datum.order_by)").encode(x="order_by:T")
    marks = due.mark_point(shape="triangle-down", size=190, filled=True, color=ORANGE, opacity=1)
    middle = frame[["order_by", "p10", "p90"]].stack().agg(["min", "max"]).mean()
    early = labelled["order_by"] <= middle
    words = (_beside(labelled.loc[early], y, "left", -8), _beside(labelled.loc[~early], y, "right", 8))
    return ready(bars, ticks, marks, *words, height=(ROW_HEIGHT + 16) * len(frame) + 40)


def _beside(rows: pd.DataFrame, y: alt.Y, align: str, dx: int) -> alt.Chart:
    """The order-by dates as words above their marks, away from the edge."""
    words = alt.Chart(rows.loc[rows["order_by"].notna()]).mark_text(
        dy=-18, dx=dx, align=align, fontWeight="bold"
    )
    return words.encode(y=y, x="order_by:T", text="label:N")


def past_forecasts(rows: pd.DataFrame) -> alt.LayerChart:
    """The dates that would have been said, by the day on which they were.

    Parameters
    ----------
    rows : as_of, p10, p50, p80, p90 and actual (days; NaT past the horizon or still open)
    """
    x = alt.X("as_of:T", title="Said on", axis=dates_axis())
    base = alt.Chart(rows).encode(x=x)
    y = alt.Y("p10:T", title="Finished by", axis=alt.Axis(format="%b %Y", grid=True, tickCount=6))
    bars = base.transform_filter("isValid(datum.p10) && isValid(datum.p90)")
    bars = bars.mark_bar(color=BLUE, opacity=0.45, size=10).encode(y=y, y2="p90:T")
    even = base.transform_filter("isValid(datum.p50)").mark_point(
        shape="circle", size=70, filled=True, fill="white", stroke=BLUE, strokeWidth=2.5, opacity=1
    )
    sure = base.transform_filter("isValid(datum.p80)").mark_point(
        shape="diamond", size=110, filled=True, color=ORANGE, opacity=1
    )
    came = alt.Chart(rows.loc[rows["actual"].notna()].head(1)).mark_rule(color=GREY, strokeWidth=2)
    return ready(bars, even.encode(y="p50:T"), sure.encode(y="p80:T"), came.encode(y="actual:T"), height=320)
