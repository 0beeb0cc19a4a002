"""The axes of all charts, and what they ask of a frame."""

from __future__ import annotations

from datetime import date
from textwrap import wrap
from typing import Any

import altair as alt
import pandas as pd

_LABEL_WIDTH = 15  # characters: what fits beside the bars on a phone


def utc(frame: pd.DataFrame) -> pd.DataFrame:
    """Days as moments in UTC, so that a chart does not depend on the time zone in which it is drawn."""
    days = frame.select_dtypes("datetime").columns
    return frame.assign(**{column: frame[column].dt.tz_localize("UTC") for column in days})


def moment(day: date) -> str:
    """A day as the chart's data has it."""
    return f"{day:%Y-%m-%d}T00:00:00Z"


def dates_x(column: str, title: str | None = None, *, domain: list[date] | None = None) -> alt.X:
    """A horizontal axis of dates, in UTC as `utc` makes them."""
    return alt.X(
        f"{column}:T",
        title=title,
        scale=alt.Scale(type="utc", domain=alt.Undefined if domain is None else [moment(d) for d in domain]),
        axis=alt.Axis(format="%b %Y", labelAngle=0),
    )


def names_y(names: pd.Series) -> alt.Y:
    """A vertical axis of names in the order given; long ones, broken by `on_lines`, take several lines."""
    axis = alt.Axis(
        domain=False, ticks=False, labelExpr=r"split(datum.label, '\n')", labelLimit=170, labelPadding=10
    )
    return alt.Y(f"{names.name}:N", sort=list(dict.fromkeys(names)), title=None, axis=axis)


def on_lines(names: pd.Series) -> pd.Series:
    """Names broken where they are too long for the side of a phone's chart.

    Examples
    --------
    >>> [len(name.splitlines()) for name in on_lines(pd.Series(["Engine, propeller and exhaust", "Wings"]))]
    [3, 1]
    """
    return names.map(lambda name: "\n".join(wrap(name, _LABEL_WIDTH)) or name)


def percent_axis() -> alt.Axis:
    """An axis of shares from 0 to 1, labelled as 80 %."""
    return alt.Axis(labelExpr="round(100 * datum.value) + ' %'", tickCount=5)


def grid_axis(**more: Any) -> alt.Axis:
    """A vertical axis with lines to read values by."""
    return alt.Axis(grid=True, tickCount=5, **more)
