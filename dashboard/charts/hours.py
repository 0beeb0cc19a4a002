"""Charts of hours: a frame of figures from `forecast` goes in, an `alt.Chart` comes out."""

from __future__ import annotations

import altair as alt
import pandas as pd

from dashboard.charts.dates import dates_axis, names_axis, on_lines, percent_axis, ready
from dashboard.charts.palette import BAND_OPACITY, BLUE, GREY, ORANGE

_BANDS = {"95": ("p02", "p98"), "80": ("p10", "p90"), "50": ("p25", "p75")}
_RATIOS = [0.1, 0.2, 0.35, 0.5, 0.75, 1, 1.25, 1.5, 2, 3, 5, 10]
_PAST_THE_LONGEST = 1.2  # where the axis ends, so that the words beside the longest bar have room
_DASHES = {"95": [2, 3], "80": [6, 3], "50": [1, 0]}


def hours_left(logged: pd.DataFrame, forecast: pd.DataFrame, scope: pd.DataFrame) -> alt.LayerChart:
    """Hours left: the log behind, bands of the runs ahead, and what came into the plan.

    Parameters
    ----------
    logged : day, hours_left
    forecast : day, p02, p10, p25, p50, p75, p90, p98 (person-hours left)
    scope : day, hours_left (where the line stands on that day), label
    """
    x = alt.X("day:T", title="Date", axis=dates_axis())
    y = alt.Y("p50:Q", title="Person-hours left", scale=alt.Scale(zero=True), axis=alt.Axis(grid=True))
    layers: list[alt.Chart] = []
    ahead = alt.Chart(forecast).encode(x=x)
    for name, (low, high) in _BANDS.items():
        band = ahead.encode(y=alt.Y(f"{low}:Q", title="Person-hours left"), y2=f"{high}:Q")
        layers.append(band.mark_area(color=BLUE, opacity=BAND_OPACITY[name]))
    for edge in _BANDS["80"]:
        layers.append(
            ahead.mark_line(color=BLUE, strokeWidth=1, strokeDash=_DASHES["80"]).encode(y=f"{edge}:Q")
        )
    layers.append(ahead.mark_line(color=BLUE, strokeWidth=3).encode(y=y))
    behind = alt.Chart(logged).mark_line(color=ORANGE, strokeWidth=3, interpolate="step-after")
    layers.append(behind.encode(x=x, y="hours_left:Q"))
    came = alt.Chart(scope).encode(x=x, y="hours_left:Q")
    layers.append(came.mark_point(shape="triangle-up", size=120, filled=True, color=ORANGE, opacity=1))
    layers.append(came.mark_text(dy=-14, align="left").encode(text="label:N"))
    return ready(*layers, height=360)


def hours_by_week(weeks: pd.DataFrame, coming: pd.DataFrame) -> alt.LayerChart:
    """Hours of the past weeks as bars, the range of each coming week as a bar from low to high.

    Parameters
    ----------
    weeks : monday, hours
    coming : week_from, p10, p50, p90
    """
    y_axis = alt.Axis(grid=True, tickCount=5)
    past = (
        alt.Chart(weeks)
        .mark_bar(color=ORANGE)
        .encode(
            x=alt.X("monday:T", title="Week", axis=dates_axis()),
            x2="next:T",
            y=alt.Y("hours:Q", title="Clock hours a week", axis=y_axis),
            y2=alt.YDatum(0),
        )
    )
    ahead = alt.Chart(coming).encode(x=alt.X("week_from:T", axis=dates_axis()))
    spread = ahead.mark_bar(color=BLUE, opacity=BAND_OPACITY["80"]).encode(x2="next:T", y="p10:Q", y2="p90:Q")
    even = ahead.mark_tick(color=BLUE, orient="horizontal", thickness=3, width=8).encode(
        x="middle:T", y="p50:Q"
    )
    return ready(past, spread, even, height=280)


def days_of_week(days: pd.DataFrame) -> alt.LayerChart:
    """How often somebody is there on each day of the week.

    Parameters
    ----------
    days : name, worked_share (0-1), label
    """
    y = alt.Y("name:N", sort=None, title=None, axis=names_axis())
    x = alt.X(
        "worked_share:Q",
        title="Share of such days with a session",
        scale=alt.Scale(domain=[0, _PAST_THE_LONGEST * max(days["worked_share"].max(), 0.1)], nice=False),
        axis=percent_axis(),
    )
    base = alt.Chart(days).encode(y=y, x=x)
    words = base.mark_text(align="left", dx=6).encode(text="label:N")
    return ready(base.mark_bar(color=ORANGE, size=18), words, height=34 * len(days) + 40)


def ratios_of_types(types: pd.DataFrame) -> alt.LayerChart:
    """What each type of work takes, as a multiple of its plan.

    Parameters
    ----------
    types : type, p10, p50, p90 (ratio), label, sure ("over", "under" or "open"), in the order to show
    """
    types = types.assign(type=on_lines(types["type"]))
    y = alt.Y("type:N", sort=list(types["type"]), title=None, axis=names_axis())
    x = alt.X(
        "p10:Q",
        title="Hours taken, as a multiple of the plan",
        scale=alt.Scale(type="log", nice=False),
        axis=alt.Axis(values=_RATIOS, format="~g"),
    )
    sides = ["over", "under", "open"]
    colour = alt.Color("sure:N", scale=alt.Scale(domain=sides, range=[ORANGE, BLUE, GREY]), legend=None)
    shape = alt.Shape(
        "sure:N",
        scale=alt.Scale(domain=sides, range=["triangle-right", "triangle-left", "circle"]),
        legend=None,
    )
    base = alt.Chart(types).encode(y=y, color=colour)
    bars = base.mark_bar(size=12, opacity=0.45).encode(x=x, x2="p90:Q")
    mid = base.mark_point(size=150, filled=True, opacity=1).encode(x="p50:Q", shape=shape)
    words = alt.Chart(types).mark_text(dy=-15).encode(y=y, x="p50:Q", text="label:N")
    one = alt.Chart(pd.DataFrame({"plan": [1.0]})).mark_rule(strokeDash=[4, 3], color=GREY).encode(x="plan:Q")
    return ready(one, bars, mid, words, height=50 * len(types) + 40)


def learning_curve(points: pd.DataFrame, curve: pd.DataFrame, measure: str) -> alt.LayerChart:
    """The finished tasks of one type, and the curve through them.

    Parameters
    ----------
    points : piece, value, task
    curve : piece, p10, p50, p90
    measure : what the values are
    """
    x = alt.X(
        "piece:Q", title="Piece of this type, counted from the first", scale=alt.Scale(type="log", nice=False)
    )
    title = measure[:1].upper() + measure[1:]
    line = alt.Chart(curve).encode(x=x)
    band = line.mark_area(color=BLUE, opacity=BAND_OPACITY["80"]).encode(
        y=alt.Y("p10:Q", title=title, scale=alt.Scale(zero=True), axis=alt.Axis(grid=True)), y2="p90:Q"
    )
    middle = line.mark_line(color=BLUE, strokeWidth=3).encode(y="p50:Q")
    dots = (
        alt.Chart(points).mark_point(size=70, filled=True, color=ORANGE, opacity=0.9).encode(x=x, y="value:Q")
    )
    return ready(band, middle, dots, height=280)
