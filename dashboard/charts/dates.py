"""Charts of dates: a frame of figures from `forecast` goes in, an `alt.Chart` comes out."""

from __future__ import annotations

from textwrap import wrap

import altair as alt
import pandas as pd

from dashboard.charts.palette import BLUE, GREY, ORANGE
from forecast.wording import format_percent

ROW_HEIGHT = 54
LABEL_SIZE = 14
_LINE = 15
_ROOM_FOR_WORDS = 0.7  # of what the bars take: on a phone the words are long beside them
_CONFIG = alt.Config(  # set at once: every `configure_` would copy the whole chart
    axis=alt.AxisConfig(labelFontSize=LABEL_SIZE, titleFontSize=LABEL_SIZE, labelLimit=150, grid=False),
    axisX=alt.AxisConfig(labelFlush=True, labelOverlap=True, labelSeparation=14, tickCount=5),
    axisY=alt.AxisConfig(labelFlush=False, labelOverlap=False),
    view=alt.ViewConfig(stroke=None),
    text=alt.MarkConfig(fontSize=LABEL_SIZE),
    mark=alt.MarkConfig(aria=False),
)


def ready(*layers: alt.Chart, height: int) -> alt.LayerChart:
    """Layers on one pair of axes, with the same type size, grid and frame for every chart."""
    return alt.layer(*layers, height=height, config=_CONFIG)


def finish_ranges(ranges: pd.DataFrame, today: pd.Timestamp, until: pd.Timestamp) -> alt.LayerChart:
    """When each stage may be finished, to scale.

    Parameters
    ----------
    ranges : target, p05, p10, p50, p80, p90, p95 (days; NaT past the horizon), finished (a text or "")
    today : the day that the forecast stands on
    until : the right edge; what lies beyond is cut there and marked by an arrow
    """
    cut = ranges.assign(
        **{q: ranges[q].fillna(until).clip(upper=until) for q in ("p05", "p10", "p90", "p95")}
    )
    cut = cut.assign(today=today, until=until, past=ranges["p95"].isna() | (ranges["p95"] > until))
    cut = cut.assign(label=[short_day(day) for day in cut["p80"]])
    open_rows = cut.loc[cut["finished"] == ""]
    y = alt.Y("target:N", sort=list(ranges["target"]), title=None, axis=names_axis())
    x = alt.X(
        "p05:T", title="Finished by", scale=alt.Scale(domain=[_day(today), _day(until)]), axis=dates_axis()
    )
    base = alt.Chart(open_rows).encode(y=y)
    whole = base.mark_rule(color=BLUE, strokeWidth=2).encode(x=x, x2="p95:T")
    thick = base.mark_bar(color=BLUE, opacity=0.45, size=16).encode(x="p10:T", x2="p90:T")
    even = (
        base.transform_filter("isValid(datum.p50)")
        .mark_point(
            shape="circle", size=110, filled=True, fill="white", stroke=BLUE, strokeWidth=3, opacity=1
        )
        .encode(x="p50:T")
    )
    sure = base.transform_filter("isValid(datum.p80) && datum.p80 <= datum.until")
    diamond = sure.mark_point(shape="diamond", size=170, filled=True, color=ORANGE, opacity=1).encode(
        x="p80:T"
    )
    label = sure.mark_text(dy=-19, fontWeight="bold", align="center").encode(x="p80:T", text="label:N")
    arrow = (
        base.transform_filter("datum.past")
        .mark_point(shape="triangle-right", size=90, filled=True, color=BLUE, opacity=1)
        .encode(x="until:T")
    )
    over = (
        alt.Chart(cut.loc[cut["finished"] != ""])
        .mark_text(align="left", dx=8)
        .encode(y=y, x="today:T", text="finished:N")
    )
    layers = (whole, thick, arrow, even, diamond, label, over, day_rule(today))
    return ready(*layers, height=ROW_HEIGHT * len(ranges) + 30)


def chance_by_day(chances: pd.DataFrame, picked: pd.Timestamp, chance: float) -> alt.LayerChart:
    """The chance of being finished by each day, with one day picked out.

    Parameters
    ----------
    chances : day, chance (0-1)
    picked, chance : the day to show, and the chance on it
    """
    x = alt.X("day:T", title="Finished by", axis=dates_axis())
    y = alt.Y("chance:Q", title="Chance", scale=alt.Scale(domain=[0, 1]), axis=percent_axis())
    line = alt.Chart(chances).mark_line(color=BLUE, strokeWidth=3).encode(x=x, y=y)
    one = pd.DataFrame(
        {"day": [picked], "chance": [chance], "zero": [0.0], "label": [format_percent(chance)]}
    )
    point = alt.Chart(one)
    drop = point.mark_rule(color=ORANGE, strokeDash=[5, 4], strokeWidth=2).encode(
        x=x, y="zero:Q", y2="chance:Q"
    )
    dot = point.mark_point(shape="diamond", size=170, filled=True, color=ORANGE, opacity=1).encode(x=x, y=y)
    text = point.mark_text(dy=-18, fontWeight="bold").encode(x=x, y=y, text="label:N")
    return ready(line, drop, dot, text, height=260)


def causes_of_move(causes: pd.DataFrame) -> alt.LayerChart:
    """By how many days each cause moved the date.

    Parameters
    ----------
    causes : cause (words), days (later above zero), label, in the order to show
    """
    causes = causes.assign(cause=on_lines(causes["cause"]), beside=causes["days"].clip(lower=0))
    y = alt.Y("cause:N", sort=list(causes["cause"]), title=None, axis=names_axis())
    low, high = min(causes["days"].min(), 0.0), max(causes["days"].max(), 0.0)
    x = alt.X(
        "days:Q",
        title="Days: earlier to the left, later to the right",
        axis=alt.Axis(tickMinStep=1),
        scale=alt.Scale(domain=[low, high + _ROOM_FOR_WORDS * max(high - low, 1.0)], nice=False),
    )
    tint = alt.condition("datum.days > 0", alt.value(ORANGE), alt.value(BLUE))
    base = alt.Chart(causes).encode(y=y)
    bars = base.mark_bar(size=20).encode(x=x, color=tint)
    words = base.mark_text(align="left", dx=6).encode(x="beside:Q", text="label:N")
    zero = alt.Chart(pd.DataFrame({"days": [0]})).mark_rule(color=GREY).encode(x="days:Q")
    return ready(bars, zero, words, height=50 * len(causes) + 30)


def day_rule(day: pd.Timestamp) -> alt.Chart:
    """A line at one day."""
    one = pd.DataFrame({"day": [day]})
    return alt.Chart(one).mark_rule(color=GREY, strokeDash=[3, 3]).encode(x="day:T")


def names_axis() -> alt.Axis:
    """An axis of names, long ones on several lines (see `on_lines`)."""
    return alt.Axis(domain=False, ticks=False, labelExpr=r"split(datum.label, '\n')", labelLimit=170)


def on_lines(names: pd.Series) -> pd.Series:
    """Names broken where they are too long for the side of a phone's chart.

    >>> [len(name.splitlines()) for name in on_lines(pd.Series(["Engine, propeller and exhaust", "Wings"]))]
    [3, 1]
    """
    return names.map(lambda name: "\n".join(wrap(name, _LINE)) or name)


def percent_axis() -> alt.Axis:
    """An axis of shares (0-1), said as everywhere else: 80 %."""
    return alt.Axis(labelExpr="round(100 * datum.value) + ' %'", tickCount=5)


def dates_axis() -> alt.Axis:
    """An axis of months."""
    return alt.Axis(format="%b %Y", labelAngle=0)


def _day(day: pd.Timestamp) -> dict[str, int]:
    return {"year": day.year, "month": day.month, "date": day.day}


def short_day(day: pd.Timestamp) -> str:
    """A day as a label beside a mark."""
    return "" if day is pd.NaT else f"{day.day} {day:%b %Y}"
