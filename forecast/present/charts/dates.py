"""Charts against dates. Frames hold days as `datetime64`; NaT is past the horizon."""

from __future__ import annotations

from datetime import date

import altair as alt
import pandas as pd

from forecast.present.charts import axes
from forecast.present.charts.theme import BAR_OPACITY, Theme
from forecast.wording import format_percent, format_short_date

_TEXT_ROOM = 0.7  # width left for the text beside bars, relative to the bars: on a phone it is long


def finish_ranges(ranges: pd.DataFrame, today: date, until: date, theme: Theme) -> alt.LayerChart:
    """When each target may be finished, to scale.

    Parameters
    ----------
    ranges : target, p05, p10, p50, p80, p90, p95, finished (a text; "" while open)
    today : the day as of which the forecast is made
    until : the right edge; what lies beyond is cut there and marked by an arrow
    theme : colours and sizes
    """
    edge = pd.Timestamp(until)
    ends = {q: _cut(ranges[q], edge) for q in ("p05", "p10", "p90", "p95")}
    cut = ranges.assign(
        **ends,
        target=axes.on_lines(ranges["target"]),
        today=pd.Timestamp(today),
        until=edge,
        past=ranges["p95"].isna() | (ranges["p95"] > edge),
        label=_labels(ranges["p80"]),
    )
    y, x = axes.names_y(cut["target"]), axes.dates_x("p05", "Finished by", domain=[today, until])
    base = alt.Chart(axes.utc(cut.loc[cut["finished"] == ""])).encode(y=y)
    sure = base.transform_filter("isValid(datum.p80) && datum.p80 <= datum.until").encode(x="p80:T")
    even = base.transform_filter("isValid(datum.p50) && datum.p50 <= datum.until").encode(x="p50:T")
    over = alt.Chart(axes.utc(cut.loc[cut["finished"] != ""]))
    return theme.layers(
        base.mark_rule(color=theme.blue, strokeWidth=2).encode(x=x, x2="p95:T"),
        base.mark_bar(color=theme.blue, opacity=BAR_OPACITY, size=16).encode(x="p10:T", x2="p90:T"),
        base.transform_filter("datum.past")
        .mark_point(shape="triangle-right", size=90, filled=True, color=theme.blue, opacity=1)
        .encode(x="until:T"),
        _circle(even, theme, size=110),
        _diamond(sure, theme, size=170),
        sure.mark_text(dy=-19, fontWeight="bold", align="center").encode(text="label:N"),
        over.mark_text(align="left", dx=8).encode(y=y, x="today:T", text="finished:N"),
        _day_rule(today, theme),
        height=theme.row_height * len(ranges) + 30,  # 30: the label above the first row
    )


def chance_by_day(chances: pd.DataFrame, day: date, chance: float, theme: Theme) -> alt.LayerChart:
    """The chance of being finished by each day, with one day marked.

    Parameters
    ----------
    chances : day, chance (0 to 1)
    day, chance : the day to mark, and the chance on it
    theme : colours and sizes
    """
    x = axes.dates_x("day", "Finished by")
    y = alt.Y("chance:Q", title="Chance", scale=alt.Scale(domain=[0, 1]), axis=axes.percent_axis())
    marked = pd.DataFrame({"day": [pd.Timestamp(day)], "chance": [chance], "zero": [0.0]})
    point = alt.Chart(axes.utc(marked.assign(label=format_percent(chance))))
    return theme.layers(
        alt.Chart(axes.utc(chances)).mark_line(color=theme.blue, strokeWidth=3).encode(x=x, y=y),
        point.mark_rule(color=theme.orange, strokeDash=[5, 4], strokeWidth=2).encode(
            x=x, y="zero:Q", y2="chance:Q"
        ),
        _diamond(point.encode(x=x, y=y), theme, size=170),
        point.mark_text(dy=-18, fontWeight="bold").encode(x=x, y=y, text="label:N"),
        height=260,
    )


def date_causes(causes: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """By how many days each cause moved the date.

    Parameters
    ----------
    causes : cause (words), days (later is positive), label, in the order to show
    theme : colours and sizes
    """
    causes = causes.assign(cause=axes.on_lines(causes["cause"]), beside=causes["days"].clip(lower=0))
    low, high = min(causes["days"].min(), 0.0), max(causes["days"].max(), 0.0)
    x = alt.X(
        "days:Q",
        title="Days: earlier to the left, later to the right",
        axis=alt.Axis(tickMinStep=1),
        scale=alt.Scale(domain=[low, high + _TEXT_ROOM * max(high - low, 1.0)], nice=False),
    )
    tint = alt.condition("datum.days > 0", alt.value(theme.orange), alt.value(theme.blue))
    base = alt.Chart(causes).encode(y=axes.names_y(causes["cause"]))
    zero = alt.Chart(pd.DataFrame({"days": [0]}))
    return theme.layers(
        base.mark_bar(size=20).encode(x=x, color=tint),
        zero.mark_rule(color=theme.grey).encode(x="days:Q"),
        base.mark_text(align="left", dx=6).encode(x="beside:Q", text="label:N"),
        height=50 * len(causes) + 30,
    )


def two_plans(ranges: pd.DataFrame, until: date, theme: Theme) -> alt.LayerChart:
    """The same targets under two plans, one below the other.

    Parameters
    ----------
    ranges : target, plan, p10, p50, p80, p90
    until : the right edge; what lies beyond is cut there
    theme : colours and sizes
    """
    ranges = ranges.assign(target=axes.on_lines(ranges["target"]))
    cut = ranges.loc[ranges["p10"].notna()]
    cut = cut.assign(p90=_cut(cut["p90"], pd.Timestamp(until)))
    plans = list(dict.fromkeys(ranges["plan"]))
    legend = alt.Legend(orient="bottom", title=None, symbolOpacity=1, labelLimit=300)
    colours = alt.Scale(domain=plans, range=[theme.blue, theme.orange])
    shapes = alt.Scale(domain=plans, range=["circle", "diamond"])
    colour = alt.Color("plan:N", scale=colours, legend=legend)
    base = alt.Chart(axes.utc(cut)).encode(
        y=axes.names_y(ranges["target"]), yOffset=alt.YOffset("plan:N", sort=plans), color=colour
    )
    sure = base.transform_filter("isValid(datum.p80)").mark_point(size=130, filled=True, opacity=1)
    return theme.layers(
        base.mark_bar(size=10, opacity=BAR_OPACITY).encode(x=axes.dates_x("p10", "Finished by"), x2="p90:T"),
        sure.encode(x="p80:T", shape=alt.Shape("plan:N", scale=shapes, legend=legend)),
        height=(theme.row_height - 6) * ranges["target"].nunique() + 70,
    )


def order_dates(orders: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """By when to order each delivery, and when it is first needed.

    Parameters
    ----------
    orders : title, order_by, p10, p50, p90 (NaT where there is none)
    theme : colours and sizes
    """
    orders = orders.assign(label=_labels(orders["order_by"]), title=axes.on_lines(orders["title"]))
    base = alt.Chart(axes.utc(orders)).encode(y=axes.names_y(orders["title"]))
    needed = base.transform_filter("isValid(datum.p10) && isValid(datum.p90)")
    due = base.transform_filter("isValid(datum.order_by)").encode(x="order_by:T")
    # The text goes to the side that has room: to the right of a mark in the left half of the chart.
    middle = orders[["order_by", "p10", "p90"]].stack().agg(["min", "max"]).mean()
    early = orders["order_by"] <= middle
    labels = (
        alt.Chart(axes.utc(orders.loc[early])).mark_text(dy=-18, dx=-8, align="left", fontWeight="bold"),
        alt.Chart(axes.utc(orders.loc[~early & orders["order_by"].notna()])).mark_text(
            dy=-18, dx=8, align="right", fontWeight="bold"
        ),
    )
    return theme.layers(
        needed.mark_bar(color=theme.blue, opacity=BAR_OPACITY, size=14).encode(
            x=axes.dates_x("p10", "Date"), x2="p90:T"
        ),
        needed.mark_tick(color=theme.blue, thickness=4, size=22).encode(x="p50:T"),
        due.mark_point(shape="triangle-down", size=190, filled=True, color=theme.orange, opacity=1),
        *(text.encode(y=axes.names_y(orders["title"]), x="order_by:T", text="label:N") for text in labels),
        height=(theme.row_height + 16) * len(orders) + 40,
    )


def past_forecasts(rows: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """Past forecasts of one target by the day on which they were made, and the day it was finished.

    Parameters
    ----------
    rows : as_of, p10, p50, p80, p90, actual (NaT while it is open)
    theme : colours and sizes
    """
    # What is past the horizon goes up to the latest date there is, with a triangle on top.
    top = rows[["p50", "p80", "p90"]].max().max()
    shown = rows.assign(past=rows["p90"].isna(), top=top, p90=rows["p90"].fillna(top))
    base = alt.Chart(axes.utc(shown)).encode(x=axes.dates_x("as_of", "Forecast on"))
    y = alt.Y("p10:T", title="Finished by", scale=alt.Scale(type="utc"), axis=axes.grid_axis(format="%b %Y"))
    span = base.transform_filter("isValid(datum.p10) && isValid(datum.p90)")
    even = base.transform_filter("isValid(datum.p50)").encode(y="p50:T")
    sure = base.transform_filter("isValid(datum.p80)").encode(y="p80:T")
    past = base.transform_filter("datum.past && isValid(datum.top)").encode(y="top:T")
    finished = alt.Chart(axes.utc(rows.loc[rows["actual"].notna()].head(1)))
    return theme.layers(
        span.mark_bar(color=theme.blue, opacity=BAR_OPACITY, size=10).encode(y=y, y2="p90:T"),
        past.mark_point(shape="triangle-up", size=60, filled=True, color=theme.blue, opacity=1),
        _circle(even, theme, size=70),
        _diamond(sure, theme, size=110),
        finished.mark_rule(color=theme.grey, strokeWidth=2).encode(y="actual:T"),
        height=320,
    )


def _circle(chart: alt.Chart, theme: Theme, *, size: int) -> alt.Chart:
    """Even odds."""
    return chart.mark_point(
        shape="circle", size=size, filled=True, fill="white", stroke=theme.blue, strokeWidth=3, opacity=1
    )


def _diamond(chart: alt.Chart, theme: Theme, *, size: int) -> alt.Chart:
    """The date to plan by."""
    return chart.mark_point(shape="diamond", size=size, filled=True, color=theme.orange, opacity=1)


def _day_rule(day: date, theme: Theme) -> alt.Chart:
    one = axes.utc(pd.DataFrame({"day": [pd.Timestamp(day)]}))
    return alt.Chart(one).mark_rule(color=theme.grey, strokeDash=[3, 3]).encode(x="day:T")


def _cut(days: pd.Series, edge: pd.Timestamp) -> pd.Series:
    """Days with what lies beyond the edge, or past the horizon, put on the edge."""
    return days.where(days <= edge, edge)


def _labels(days: pd.Series) -> list[str]:
    return ["" if day is pd.NaT else format_short_date(day) for day in days]
