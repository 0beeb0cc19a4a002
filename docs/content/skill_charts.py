"""The two kinds of chart on the skill page: values by row and series, and stated chances against outcomes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import pandas as pd

from docs.content.pictures import svg_of

BLUE, ORANGE, PLUM, GREY = "#2f80c2", "#b4570f", "#9a5fb0", "#6b7580"
_SHAPES = ["circle", "diamond", "triangle-up", "square"]
_WIDTH = 330
_STEP = 16
_MOST_COLUMNS_BESIDE = 4
_CONFIG = alt.Config(
    font="Liberation Sans, Arial, sans-serif",
    axis=alt.AxisConfig(labelFontSize=12, titleFontSize=12, labelLimit=220, gridColor="#e3e7ea"),
    legend=alt.LegendConfig(labelFontSize=12, titleFontSize=12, orient="top", labelLimit=300),
    title=alt.TitleConfig(fontSize=13, anchor="start"),
    view=alt.ViewConfig(stroke=None),
)


@dataclass(frozen=True, kw_only=True)
class SkillFigure:
    """One finding: the chart, what its marks are, and the figures behind it.

    Attributes
    ----------
    study : name of the study whose table the figures come from
    title : the finding
    caption : what was forecast, what the marks are
    chart : the picture
    table : the plotted figures, one row per row of the chart
    """

    study: str
    title: str
    caption: str
    chart: alt.LayerChart | alt.VConcatChart
    table: pd.DataFrame

    def svg(self, name: str) -> str:
        """The picture; its description is the finding and what the marks are."""
        chart = self.chart.copy()
        chart.config = _CONFIG
        return svg_of(chart, name=name, title=self.title, text=f"{self.title}. {self.caption}")

    @property
    def is_wide(self) -> bool:
        """Whether the table needs the whole width of the page, below the chart."""
        return len(self.table.columns) > _MOST_COLUMNS_BESIDE

    def markdown(self) -> str:
        """The figures as a Markdown table."""
        rows = [" | ".join(_cell(value) for value in row) for row in self.table.itertuples(index=False)]
        head = [" | ".join(map(str, self.table.columns)), " | ".join("---" for _ in self.table.columns)]
        return "\n".join(f"| {line} |" for line in [*head, *rows])


@dataclass(frozen=True, kw_only=True)
class Axis:
    """The axis of values: its title with the unit, its ends, and the value of a perfect or equal forecast."""

    title: str
    ends: tuple[float, float]
    nominal: float
    ticks: tuple[float, ...] = ()

    def x(self, column: str) -> alt.X:
        """Ratios (with ticks of their own) are drawn on a log scale, where half and double look alike."""
        kind = {"type": "log"} if self.ticks else {"zero": False}
        scale = alt.Scale(domain=self.ends, nice=False, **kind)
        axis = alt.Axis(values=self.ticks, format="~g") if self.ticks else alt.Axis()
        return alt.X(f"{column}:Q", title=self.title, scale=scale, axis=axis)


def dot_chart(frame: pd.DataFrame, axis: Axis, *, series_title: str) -> alt.LayerChart | alt.VConcatChart:
    """Points with whiskers, one row per `row`, series told apart by colour and shape.

    Parameters
    ----------
    frame : row, series, value, low, high, in the order in which they are drawn; with a column `panel` one
        chart per panel on a common axis
    axis : of the values
    series_title : what the series are
    """
    if "panel" not in frame:
        return _panel(frame, axis, series_title)
    panels = [
        _panel(group, axis, series_title).properties(title=str(name))
        for name, group in frame.groupby("panel", sort=False)
    ]
    return alt.vconcat(*panels)


def _panel(frame: pd.DataFrame, axis: Axis, series_title: str) -> alt.LayerChart:
    rows, series = list(frame["row"].unique()), list(frame["series"].unique())
    color = alt.Color(
        "series:N",
        sort=series,
        title=series_title,
        scale=alt.Scale(domain=series, range=[BLUE, ORANGE, PLUM, GREY][: len(series)]),
    )
    shape = alt.Shape(
        "series:N",
        sort=series,
        title=series_title,
        scale=alt.Scale(domain=series, range=_SHAPES[: len(series)]),
    )
    base = alt.Chart(frame).encode(
        y=alt.Y("row:N", sort=rows, title=None, axis=alt.Axis(ticks=False, domain=False)),
        yOffset=alt.YOffset("series:N", sort=series),
        color=color if len(series) > 1 else alt.value(BLUE),
    )
    line = alt.Chart(pd.DataFrame({"value": [axis.nominal]})).mark_rule(color=GREY, strokeDash=[4, 3])
    points = base.mark_point(filled=True, size=70, opacity=1).encode(x=axis.x("value"))
    return alt.layer(
        line.encode(x=axis.x("value")),
        base.mark_rule(strokeWidth=1.5, clip=True).encode(x=axis.x("low"), x2="high:Q"),
        points.encode(shape=shape) if len(series) > 1 else points,
    ).properties(width=_WIDTH, height=alt.Step(_STEP))


def calibration_chart(frame: pd.DataFrame, x_title: str, y_title: str) -> alt.LayerChart:
    """Stated chances against the share that came true, with their bands and the line of equality.

    Parameters
    ----------
    frame : chance, share, low, high, all in percent
    """
    ends = alt.Scale(domain=[0, 100])
    equal = alt.Chart(pd.DataFrame({"chance": [0, 100], "share": [0, 100]}))
    base = alt.Chart(frame).encode(x=alt.X("chance:Q", title=x_title, scale=ends))
    y = alt.Y("share:Q", title=y_title, scale=ends)
    return alt.layer(
        equal.mark_line(color=GREY, strokeDash=[4, 3]).encode(x="chance:Q", y=y),
        base.mark_rule(color=BLUE, strokeWidth=1.5).encode(y=alt.Y("low:Q", title=y_title), y2="high:Q"),
        base.mark_point(filled=True, size=70, opacity=1, color=BLUE).encode(y=y),
    ).properties(width=_WIDTH, height=_WIDTH)


def table_of(frame: pd.DataFrame, *, row: str, digits: int, panel: str = "") -> pd.DataFrame:
    """The figures of a dot chart: one row per row (and panel), one column per series.

    Examples
    --------
    >>> frame = pd.DataFrame({"row": ["a", "b"], "series": ["x", "x"], "value": [1.04, 2.0]})
    >>> table_of(frame, row="Of", digits=1).to_numpy().tolist()
    [['a', '1.0'], ['b', '2.0']]
    """
    keys = ["panel", "row"] if panel else ["row"]
    series: Sequence[str] = list(frame["series"].unique())
    wide = frame.pivot(index=keys, columns="series", values="value")
    wide = wide.reindex(
        pd.MultiIndex.from_frame(frame[keys].drop_duplicates()) if panel else frame["row"].unique()
    )
    wide = wide[series].map(lambda value: "" if pd.isna(value) else f"{value:.{digits}f}")
    return wide.reset_index().rename(columns={"row": row, "panel": panel}).rename_axis(columns=None)


def _cell(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
