"""A figure on a page: what it found, the picture, the table beside it, both to take away."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Hashable
from copy import deepcopy
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from dashboard.words import html_table, plain
from forecast.files.csv_file import guard_formula

_LONGEST_TABLE = 40
_MOST_COLUMNS = 6
_KEPT = 150
_PNG_WIDTH = 900
_PNG_SCALE = 2


@dataclass(frozen=True, kw_only=True)
class Figure:
    """What is shown of one finding.

    Attributes
    ----------
    name : of the files to take away
    finding : what the figure found, in one sentence: its title
    chart : the picture
    description : what the picture shows, for those who cannot see it
    table : the figures behind it, as they are read
    legend : how to read the marks, in one line
    """

    name: str
    finding: str
    chart: alt.Chart | alt.LayerChart
    description: str
    table: pd.DataFrame
    legend: str = ""

    @cached_property
    def spec(self) -> dict[str, Any]:
        """The Vega-Lite of the picture as the page shows it, as wide as there is room.

        The tests hold every chart against the schema; here that would take longer than all the rest.
        """
        spec = dict(self.chart.to_dict(validate=False)) | {"description": self.description}
        spec["config"] = {k: v for k, v in spec["config"].items() if k != "view"} | {
            "view": {k: v for k, v in spec["config"]["view"].items() if not k.startswith("continuous")}
        }
        return spec


def drawn(draw: Callable[[], Figure], *key: Hashable) -> Figure:
    """A figure, drawn once for each key: most of the time that a page takes goes into its charts."""
    return _drawn(key, draw)


@st.cache_resource(max_entries=_KEPT, show_spinner=False)
def _drawn(key: tuple[Hashable, ...], _draw: Callable[[], Figure]) -> Figure:
    figure = _draw()
    _ = figure.spec
    return figure


def show(figure: Figure) -> None:
    """Put a figure on the page."""
    st.subheader(plain(figure.finding), anchor=False)
    if figure.legend:
        st.caption(plain(figure.legend))
    st.vega_lite_chart(deepcopy(figure.spec), key=f"chart_{figure.name}")
    with st.expander("The figures, to read or take away"):
        show_table(figure.table, figure.description)
        with st.container(horizontal=True):
            st.download_button(
                "Table as CSV",
                partial(as_csv, figure.table),
                file_name=f"{figure.name}.csv",
                mime="text/csv",
                on_click="ignore",
                key=f"csv_{figure.name}",
            )
            st.download_button(
                "Picture as PNG",
                partial(as_png, figure),
                file_name=f"{figure.name}.png",
                mime="image/png",
                on_click="ignore",
                key=f"png_{figure.name}",
            )


def show_table(table: pd.DataFrame, caption: str) -> None:
    """A table as text; a long or a wide one scrolls in its own frame."""
    if len(table) <= _LONGEST_TABLE:
        st.html(html_table(table, caption, scrolls=table.shape[1] > _MOST_COLUMNS))
    else:
        st.dataframe(table, hide_index=True)


def as_csv(table: pd.DataFrame) -> bytes:
    """A table as CSV in UTF-8, no cell of which a spreadsheet takes for a formula."""
    text = table.select_dtypes(include=["str", "object"]).columns
    safe = table.assign(
        **{c: table[c].map(lambda v: guard_formula(v) if isinstance(v, str) else v) for c in text}
    )
    named = safe.rename(columns=lambda c: guard_formula(str(c)))
    return named.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def as_png(figure: Figure) -> bytes:
    """A figure with its title as a picture on white."""
    import vl_convert

    return bytes(vl_convert.vegalite_to_png(picture(figure), scale=_PNG_SCALE))


def picture(figure: Figure) -> dict[str, Any]:
    """The Vega-Lite of a figure as it stands alone: with title and legend, on white."""
    title = alt.TitleParams(
        textwrap.wrap(figure.finding, 70),
        subtitle=textwrap.wrap(figure.legend, 110),
        anchor="start",
        fontSize=18,
        subtitleFontSize=13,
        offset=14,
    )
    alone = figure.chart.properties(title=title, width=_PNG_WIDTH, background="white", padding=16)
    return dict(alone.to_dict())
