"""What all charts share: colours and type sizes; one theme for the screen and one for paper.

No chart distinguishes series by colour alone. On the screen every mark colour has a contrast of at least 3:1
against a light and a dark background (WCAG 2.2, 1.4.11), and blue and orange stay apart under all three kinds
of colour blindness.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import altair as alt

BAND_OPACITY = {"95": 0.22, "80": 0.34, "50": 0.6}  # each band lies on the wider ones and darkens them
BAR_OPACITY = 0.45  # light enough for the marks on the bar, dark enough for a dark background


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
            # Labels of 150 pixels are what `axes.on_lines` puts on a line takes at the larger font size.
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
