"""What all charts share: colours, type sizes, axes; one theme for the screen and one for paper.

No chart distinguishes series by colour alone. On the screen every mark colour has a contrast of at least 3:1
against a light and a dark background (WCAG 2.2, 1.4.11), and blue and orange stay apart under all three kinds
of colour blindness.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from textwrap import wrap
from typing import Any, cast

import altair as alt
import pandas as pd

BAND_OPACITY = {"95": 0.22, "80": 0.34, "50": 0.6}  # each band lies on the wider ones and darkens them
BAR_OPACITY = 0.45  # light enough for the marks on the bar, dark enough for a dark background
_LABEL_WIDTH = 15  # characters: what fits beside the bars on a phone


@dataclass(frozen=True, kw_only=True)
class Theme:
    """Colours and sizes of a chart.

    Attributes
    ----------
    blue : what is forecast
    orange : what happened, or what to look at
    grey : reference lines, and what is over
    font_size : of all text, in pixels
    row_height : of one row of names, in pixels; room for three lines of text
    frame : properties of the whole chart, such as its width; without a width it fills its page
    text : properties of all text, such as its font; without a colour it takes that of the page
    """

    blue: str = "#2f80c2"
    orange: str = "#c4661a"
    grey: str = "#7d8794"
    font_size: int = 14
    row_height: int = 54
    frame: dict[str, Any]
    text: dict[str, Any]

    def layers(self, *layers: alt.Chart, height: int) -> alt.LayerChart:
        """Layers on one pair of axes, `height` pixels high, with type, grid and frame of the theme."""
        chart = alt.layer(*layers, height=height, config=self._config(), **self.frame)
        return cast("alt.LayerChart", chart)

    def _config(self) -> alt.Config:
        """Set at once: every `configure_` method would copy the whole chart."""
        colours = {"labelColor": self.text["color"], "titleColor": self.text["color"]} if self.text else {}
        size = self.font_size
        return alt.Config(
            # Labels of 150 pixels are what _LABEL_WIDTH characters take at the larger font size.
            axis=alt.AxisConfig(
                labelFontSize=size,
                titleFontSize=size,
                titleFontWeight="normal",
                labelLimit=150,
                grid=False,
                **colours,
            ),
            # Five ticks, 14 pixels apart: labels such as "Jan 2027" do not touch on a phone of 360 pixels.
            axisX=alt.AxisConfig(labelFlush=True, labelOverlap=True, labelSeparation=14, tickCount=5),
            axisY=alt.AxisConfig(labelFlush=False, labelOverlap=False),
            view=alt.ViewConfig(stroke=None),
            text=alt.MarkConfig(fontSize=size, **({"color": self.text["color"]} if self.text else {})),
            mark=alt.MarkConfig(aria=False),  # a screen reader gets the description, not hundreds of marks
            **({"font": self.text["font"]} if self.text else {}),
        )


SCREEN = Theme(frame={}, text={})
PAPER = Theme(
    # Darker than on the screen: paper has one background, and printers lighten colours.
    orange="#b4570f",
    grey="#6b7580",
    font_size=13,
    row_height=40,
    # 560 pixels are 148 mm: the width of an A4 or letter page within its margins.
    frame={"width": 560, "background": "white", "padding": 10},
    text={"color": "#16202a", "font": "Liberation Sans, Arial, sans-serif"},
)


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
