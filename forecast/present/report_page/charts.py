"""Charts for paper: a frame of figures goes in, an `alt.Chart` comes out.

Days are told to the chart as UTC, so that the picture does not depend on where it is drawn. Nothing is
said by colour alone: points have shapes, and every chart has its table beside it.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import altair as alt
import pandas as pd

BLUE = "#2f80c2"  # what the forecast says
ORANGE = "#b4570f"  # what happened, or what to look at
PLUM = "#9a5fb0"  # a second plan beside the first
GREY = "#6b7580"
WIDTH = 560
FONT = "Liberation Sans, Arial, sans-serif"
_ROW = 46
_SIZE = 13
_INK = "#16202a"
_BANDS = (("p02", "p98", "#d5e6f3"), ("p10", "p90", "#a5cae7"), ("p25", "p75", "#6faad8"))
_RATIO_TICKS = [0.25, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.2, 1.4, 1.7, 2, 2.5, 3, 4, 6]


def finish_ranges(ranges: pd.DataFrame, today: date, until: date) -> alt.Chart | alt.LayerChart:
    """When each stage may be finished, to scale.

    Parameters
    ----------
    ranges : target, p05, p10, p50, p80, p90, p95 (days; NaT past the horizon), label (of the 80 % day)
    today : the day that the forecast stands on
    until : the right edge; what lies beyond is cut there and marked by an arrow
    """
    edge = pd.Timestamp(until)
    past = ranges["p95"].isna() | (ranges["p95"] > edge)
    ends = ("p05", "p10", "p90", "p95")
    cut = ranges.assign(**{q: ranges[q].where(ranges[q] <= edge, edge) for q in ends})
    cut = cut.assign(until=edge, past=past, shown=ranges["p80"].notna() & (ranges["p80"] <= edge))
    base = alt.Chart(_utc(cut)).encode(y=_rows(ranges["target"]))
    x = _days("p05", domain=[_moment(today), _moment(until)])
    whole = base.mark_rule(color=BLUE, strokeWidth=2).encode(x=x, x2="p95:T")
    thick = base.mark_bar(color="#8dbbe0", size=14).encode(x=_days("p10"), x2="p90:T")
    even = base.transform_filter("isValid(datum.p50) && datum.p50 <= datum.until").mark_point(
        shape="circle", size=90, filled=True, fill="white", stroke=BLUE, strokeWidth=2.5, opacity=1
    )
    sure = base.transform_filter("datum.shown")
    diamond = sure.mark_point(shape="diamond", size=130, filled=True, color=ORANGE, opacity=1)
    label = sure.mark_text(dy=-15, fontWeight="bold", align="center", color=_INK)
    arrow = base.transform_filter("datum.past").mark_point(
        shape="triangle-right", size=80, filled=True, color=BLUE, opacity=1
    )
    return _ready(
        whole
        + thick
        + arrow.encode(x=_days("until"))
        + even.encode(x=_days("p50"))
        + diamond.encode(x=_days("p80"))
        + label.encode(x=_days("p80"), text="label:N"),
        height=_ROW * len(ranges) + 10,
    )


def hours_left(logged: pd.DataFrame, forecast: pd.DataFrame) -> alt.Chart | alt.LayerChart:
    """Hours left: the log behind, bands of the runs ahead.

    Parameters
    ----------
    logged : day, hours_left
    forecast : day, p02, p10, p25, p50, p75, p90, p98 (person-hours left)
    """
    ahead = alt.Chart(_utc(forecast))
    bands = [
        ahead.mark_area(color=tint).encode(x=_days("day", "Date"), y=_hours(low), y2=f"{high}:Q")
        for low, high, tint in _BANDS
    ]
    middle = ahead.mark_line(color=BLUE, strokeWidth=2.5).encode(x=_days("day", "Date"), y=_hours("p50"))
    behind = alt.Chart(_utc(logged)).mark_line(color=ORANGE, strokeWidth=2.5, interpolate="step-after")
    behind = behind.encode(x=_days("day", "Date"), y=_hours("hours_left"))
    return _ready(alt.layer(*bands, middle, behind), height=260)


def ratios(types: pd.DataFrame) -> alt.Chart | alt.LayerChart:
    """What each type of work takes beside its plan, on a scale where half and twice are equally far.

    Parameters
    ----------
    types : name, ratio_p10, ratio_p50, ratio_p90, in the order to show
    """
    shown = types.assign(
        **{
            q: types[q].clip(_RATIO_TICKS[0], _RATIO_TICKS[-1])
            for q in ("ratio_p10", "ratio_p50", "ratio_p90")
        }
    )
    base = alt.Chart(shown).encode(y=_rows(types["name"], "name"))
    domain = _domain(shown)
    line = base.mark_rule(color=BLUE, strokeWidth=5, opacity=0.6)
    middle = base.mark_point(shape="diamond", size=110, filled=True, color=ORANGE, opacity=1)
    plan = alt.Chart(pd.DataFrame({"one": [1.0]})).mark_rule(color=_INK, strokeWidth=1.5)
    return _ready(
        plan.encode(x=_times("one", domain))
        + line.encode(x=_times("ratio_p10", domain), x2="ratio_p90:Q")
        + middle.encode(x=_times("ratio_p50", domain)),
        height=26 * len(types) + 10,
    )


def past_forecasts(rows: pd.DataFrame, actual: date | None) -> alt.Chart | alt.LayerChart:
    """What past forecasts said, by the day on which they were made.

    Parameters
    ----------
    rows : as_of, p10, p50, p80, p90 (days; NaT past the horizon)
    actual : the day on which it was finished, where it is
    """
    shown = rows[["as_of", "p10", "p50", "p80", "p90"]]
    top = shown[["p50", "p80", "p90"]].max().max()
    shown = shown.assign(past=shown["p90"].isna(), p90=shown["p90"].fillna(top), top=top)
    base = alt.Chart(_utc(shown)).encode(x=_days("as_of", "Forecast on"))
    span = base.transform_filter("isValid(datum.p10)")
    layers = [
        base.transform_filter("datum.past")
        .mark_point(shape="triangle-up", size=60, filled=True, color=BLUE, opacity=1)
        .encode(y=_finish_days("top")),
        span.mark_rule(color="#8dbbe0", strokeWidth=6).encode(y=_finish_days("p10"), y2="p90:T"),
        base.mark_point(
            shape="circle", size=60, filled=True, fill="white", stroke=BLUE, strokeWidth=2, opacity=1
        ).encode(y=_finish_days("p50")),
        base.transform_filter("isValid(datum.p80)")
        .mark_point(shape="diamond", size=80, filled=True, color=ORANGE, opacity=1)
        .encode(y=_finish_days("p80")),
    ]
    if actual is not None:
        happened = alt.Chart(_utc(pd.DataFrame({"actual": [pd.Timestamp(actual)]})))
        layers.append(happened.mark_rule(color=_INK, strokeWidth=2).encode(y=_finish_days("actual")))
    return _ready(alt.layer(*layers), height=240)


def hours_by_month(months: pd.DataFrame) -> alt.Chart | alt.LayerChart:
    """Person-hours of each month.

    Parameters
    ----------
    months : first, next (the first days of the month and of the one after), hours
    """
    bars = alt.Chart(_utc(months)).mark_bar(color=ORANGE, stroke="white", strokeWidth=1)
    bars = bars.encode(
        x=_days("first", "Month"),
        x2="next:T",
        y=alt.Y("hours:Q", title="Person-hours", axis=alt.Axis(tickCount=5, grid=True, gridColor="#e3e7ea")),
        y2=alt.YDatum(0),
    )
    return _ready(bars, height=180)


def _times(column: str, domain: list[float]) -> alt.X:
    axis = alt.Axis(
        values=_RATIO_TICKS, format="~g", grid=True, gridColor="#e3e7ea", labelOverlap=True, labelSeparation=6
    )
    scale = alt.Scale(type="log", domain=domain)
    return alt.X(f"{column}:Q", title="Times the plan", scale=scale, axis=axis)


def _domain(types: pd.DataFrame) -> list[float]:
    """A round range that holds all of them, and one."""
    low, high = float(types["ratio_p10"].min()), float(types["ratio_p90"].max())
    below = [t for t in _RATIO_TICKS if t <= min(low, 0.99)]
    above = [t for t in _RATIO_TICKS if t >= max(high, 1.01)]
    return [below[-1] if below else _RATIO_TICKS[0], above[0] if above else _RATIO_TICKS[-1]]


def _rows(names: pd.Series, column: str = "target") -> alt.Y:
    axis = alt.Axis(domain=False, ticks=False, labelLimit=160)
    return alt.Y(f"{column}:N", sort=list(names), title=None, axis=axis)


def _days(column: str, title: str | None = None, *, domain: list[str] | None = None) -> alt.X:
    scale = alt.Scale(type="utc") if domain is None else alt.Scale(type="utc", domain=domain)
    axis = alt.Axis(format="%b %Y", labelAngle=0, tickCount=6, labelOverlap=True, labelSeparation=12)
    return alt.X(f"{column}:T", title=title, scale=scale, axis=axis)


def _finish_days(column: str) -> alt.Y:
    axis = alt.Axis(format="%b %Y", tickCount=6, grid=True, gridColor="#e3e7ea", labelOverlap=True)
    return alt.Y(f"{column}:T", title="Finish", scale=alt.Scale(type="utc", nice=True), axis=axis)


def _hours(column: str) -> alt.Y:
    axis = alt.Axis(tickCount=6, grid=True, gridColor="#e3e7ea")
    return alt.Y(f"{column}:Q", title="Person-hours left", axis=axis)


def _moment(day: date) -> str:
    return f"{day.isoformat()}T00:00:00Z"


def _utc(frame: pd.DataFrame) -> pd.DataFrame:
    """Days as moments in UTC."""
    days = frame.select_dtypes("datetime").columns
    return frame.assign(**{c: frame[c].dt.tz_localize("UTC") for c in days})


def _ready(chart: Any, *, height: int) -> alt.Chart | alt.LayerChart:
    """The same size of type, grid and frame for every chart."""
    ready: alt.Chart | alt.LayerChart = (
        chart.properties(width=WIDTH, height=height, background="white", padding=10)
        .configure(font=FONT)
        .configure_axis(
            labelFontSize=_SIZE, titleFontSize=_SIZE, titleFontWeight="normal", grid=False,
            labelColor=_INK, titleColor=_INK, domainColor=GREY, tickColor=GREY,
        )
        .configure_view(stroke=None)
        .configure_text(fontSize=_SIZE)
    )  # fmt: skip
    return ready
