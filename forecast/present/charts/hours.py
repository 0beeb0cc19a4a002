"""Charts of hours, ratios and shares. Frames hold days as `datetime64`."""

from __future__ import annotations

import altair as alt
import pandas as pd

from forecast.present.charts import axes
from forecast.present.charts.theme import BAND_OPACITY, BAR_OPACITY, Theme
from forecast.wording import capitalise

_BANDS = {"95": ("p02", "p98"), "80": ("p10", "p90"), "50": ("p25", "p75")}
# About equally far apart on a logarithmic scale, and round.
_RATIO_TICKS = [0.1, 0.2, 0.35, 0.5, 0.75, 1, 1.25, 1.5, 2, 3, 5, 10]
_LABEL_ROOM = 1.2  # where the axis ends relative to the longest bar, for the label beside it
_SIDES = {"over": "triangle-right", "under": "triangle-left", "open": "circle"}


def hours_left(
    logged: pd.DataFrame, forecast: pd.DataFrame, scope: pd.DataFrame, theme: Theme
) -> alt.LayerChart:
    """Hours left: the log, bands of the simulation runs, and tasks added to the plan.

    Parameters
    ----------
    logged : day, hours_left (person-hours)
    forecast : day, p02, p10, p25, p50, p75, p90, p98 (person-hours left)
    scope : day, hours (person-hours added to the plan)
    theme : colours and sizes
    """
    title = "Person-hours left"
    x = axes.dates_x("day", "Date")
    ahead = alt.Chart(axes.utc(forecast)).encode(x=x)
    bands = [
        ahead.mark_area(color=theme.blue, opacity=BAND_OPACITY[name]).encode(
            y=alt.Y(f"{low}:Q", title=title), y2=f"{high}:Q"
        )
        for name, (low, high) in _BANDS.items()
    ]
    # Without an edge the 80 % band would differ from its neighbours by shade alone.
    edge = ahead.mark_line(color=theme.blue, strokeWidth=1, strokeDash=[6, 3])
    y = alt.Y("p50:Q", title=title, scale=alt.Scale(zero=True), axis=alt.Axis(grid=True))
    log = alt.Chart(axes.utc(logged)).mark_line(color=theme.orange, strokeWidth=3, interpolate="step-after")
    added = alt.Chart(axes.utc(_on_the_line(scope, logged))).encode(x=x, y="hours_left:Q")
    return theme.layers(
        *bands,
        *(edge.encode(y=f"{column}:Q") for column in _BANDS["80"]),
        ahead.mark_line(color=theme.blue, strokeWidth=3).encode(y=y),
        log.encode(x=x, y="hours_left:Q"),
        added.mark_point(shape="triangle-up", size=120, filled=True, color=theme.orange, opacity=1),
        added.mark_text(dy=-14, align="left").encode(text="label:N"),
        height=360,
    )


def _on_the_line(scope: pd.DataFrame, logged: pd.DataFrame) -> pd.DataFrame:
    """What was added to the plan, at the height of the log's line on that day."""
    at = logged["day"].searchsorted(scope["day"], side="left").clip(max=len(logged) - 1)
    return scope.assign(
        hours_left=logged["hours_left"].to_numpy()[at],
        label=[f"+{hours:.0f} h" if hours >= 1 else "" for hours in scope["hours"]],
    )


def hours_by_week(weeks: pd.DataFrame, coming: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """Hours of past weeks as bars from zero, the range of each coming week as a bar from low to high.

    Parameters
    ----------
    weeks : monday, next (the right edge of the bar), hours (clock hours)
    coming : week_from, next, middle (the place of the tick), p10, p50, p90 (clock hours)
    theme : colours and sizes
    """
    ahead = alt.Chart(axes.utc(coming)).encode(x=axes.dates_x("week_from"))
    return theme.layers(
        alt.Chart(axes.utc(weeks))
        .mark_bar(color=theme.orange)
        .encode(
            x=axes.dates_x("monday", "Week"),
            x2="next:T",
            y=alt.Y("hours:Q", title="Clock hours per week", axis=axes.grid_axis()),
            y2=alt.YDatum(0),
        ),
        ahead.mark_bar(color=theme.blue, opacity=BAND_OPACITY["80"]).encode(
            x2="next:T", y="p10:Q", y2="p90:Q"
        ),
        ahead.mark_tick(color=theme.blue, orient="horizontal", thickness=3, width=8).encode(
            x="middle:T", y="p50:Q"
        ),
        height=280,
    )


def hours_by_month(months: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """Person-hours of each month.

    Parameters
    ----------
    months : first, next (the first days of the month and of the one after), hours (person-hours)
    theme : colours and sizes
    """
    bars = alt.Chart(axes.utc(months)).mark_bar(color=theme.orange, stroke="white", strokeWidth=1)
    y = alt.Y("hours:Q", title="Person-hours", axis=axes.grid_axis())
    return theme.layers(
        bars.encode(x=axes.dates_x("first", "Month"), x2="next:T", y=y, y2=alt.YDatum(0)), height=180
    )


def days_of_week(days: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """How often there is a session on each day of the week.

    Parameters
    ----------
    days : name, worked_share (0 to 1), label
    theme : colours and sizes
    """
    longest = max(days["worked_share"].max(), 0.1)  # an empty log has an axis too
    x = alt.X(
        "worked_share:Q",
        title="Share of such days with a session",
        scale=alt.Scale(domain=[0, _LABEL_ROOM * longest], nice=False),
        axis=axes.percent_axis(),
    )
    base = alt.Chart(days).encode(y=axes.names_y(days["name"]), x=x)
    return theme.layers(
        base.mark_bar(color=theme.orange, size=18),
        base.mark_text(align="left", dx=6).encode(text="label:N"),
        height=34 * len(days) + 40,
    )


def ratios_of_types(types: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """Hours of each type of work as a multiple of its plan; half and twice are equally far from 1.

    Parameters
    ----------
    types : type, p10, p50, p90 (hours over planned hours), label, side ("over", "under" or "open"), in the
        order to show
    theme : colours and sizes
    """
    types = types.assign(type=axes.on_lines(types["type"]))
    y = axes.names_y(types["type"])
    x = alt.X(
        "p10:Q",
        title="Hours taken, as a multiple of the plan",
        scale=alt.Scale(type="log", nice=False),
        axis=alt.Axis(values=_RATIO_TICKS, format="~g"),
    )
    sides = list(_SIDES)
    colours = alt.Scale(domain=sides, range=[theme.orange, theme.blue, theme.grey])
    shapes = alt.Scale(domain=sides, range=list(_SIDES.values()))
    base = alt.Chart(types).encode(y=y, color=alt.Color("side:N", scale=colours, legend=None))
    plan = alt.Chart(pd.DataFrame({"plan": [1.0]}))
    return theme.layers(
        plan.mark_rule(strokeDash=[4, 3], color=theme.grey).encode(x="plan:Q"),
        base.mark_bar(size=12, opacity=BAR_OPACITY).encode(x=x, x2="p90:Q"),
        base.mark_point(size=150, filled=True, opacity=1).encode(
            x="p50:Q", shape=alt.Shape("side:N", scale=shapes, legend=None)
        ),
        alt.Chart(types).mark_text(dy=-15).encode(y=y, x="p50:Q", text="label:N"),
        height=(theme.row_height - 4) * len(types) + 40,
    )


def learning_curve(points: pd.DataFrame, curve: pd.DataFrame, measure: str, theme: Theme) -> alt.LayerChart:
    """The finished tasks of one type, and the fitted curve.

    Parameters
    ----------
    points : piece, value
    curve : piece, p10, p50, p90
    measure : what the values are
    theme : colours and sizes
    """
    title = "Piece of this type, counted from the first"
    x = alt.X("piece:Q", title=title, scale=alt.Scale(type="log", nice=False))
    y = alt.Y("p10:Q", title=capitalise(measure), scale=alt.Scale(zero=True), axis=alt.Axis(grid=True))
    line = alt.Chart(curve).encode(x=x)
    dots = alt.Chart(points).mark_point(size=70, filled=True, color=theme.orange, opacity=0.9)
    return theme.layers(
        line.mark_area(color=theme.blue, opacity=BAND_OPACITY["80"]).encode(y=y, y2="p90:Q"),
        line.mark_line(color=theme.blue, strokeWidth=3).encode(y="p50:Q"),
        dots.encode(x=x, y="value:Q"),
        height=280,
    )


def help_curve(curve: pd.DataFrame, theme: Theme) -> alt.LayerChart:
    """Days gained by hours of help per week.

    Parameters
    ----------
    curve : weekly_hours (clock hours), gain_days
    theme : colours and sizes
    """
    base = alt.Chart(curve).encode(
        x=alt.X("weekly_hours:Q", title="Hours of help per week", scale=alt.Scale(nice=False)),
        y=alt.Y("gain_days:Q", title="Days gained", axis=axes.grid_axis()),
    )
    return theme.layers(
        base.mark_line(color=theme.blue, strokeWidth=3),
        base.mark_point(color=theme.blue, filled=True, size=80, opacity=1),
        height=240,
    )
