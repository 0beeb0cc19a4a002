"""A figure on a page: its finding, the chart, the table behind it, and both as downloads."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Hashable
from copy import deepcopy
from functools import partial
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from dashboard.markup import html_table, plain
from forecast.files.csv_file import guard_formula
from forecast.present.figures import Figure

_MOST_ROWS = 40  # above that, or above so many columns, a table scrolls in a frame of its own
_MOST_COLUMNS = 6
_CACHED_FIGURES = 150  # some dozen pages, for a handful of states of the folder and slider positions
_PNG_WIDTH = 900
_PNG_SCALE = 2


def show(draw: Callable[[], Figure], *key: Hashable) -> None:
    """Put a figure on the page; it is drawn once per key, because charts take most of a page's time.

    Parameters
    ----------
    draw : makes the figure
    key : everything that the figure depends on, its kind included
    """
    figure, spec = _drawn(key, draw)
    st.subheader(plain(figure.finding), anchor=False)
    if figure.legend:
        st.caption(plain(figure.legend))
    # The server writes into the specification that it is given.
    st.vega_lite_chart(deepcopy(spec), key=f"chart_{figure.name}")
    with st.expander("Table and downloads"):
        show_table(figure.table, figure.description)
        with st.container(horizontal=True):
            download("Table as CSV", partial(as_csv, figure.table), f"{figure.name}.csv", "text/csv")
            download("Picture as PNG", partial(as_png, figure), f"{figure.name}.png", "image/png")


@st.cache_resource(max_entries=_CACHED_FIGURES, show_spinner=False)
def _drawn(key: tuple[Hashable, ...], _draw: Callable[[], Figure]) -> tuple[Figure, dict[str, Any]]:
    figure = _draw()
    return figure, _page_spec(figure)


def _page_spec(figure: Figure) -> dict[str, Any]:
    """The Vega-Lite specification for the page, as wide as its column.

    Validating against the schema would take longer than everything else; the tests do it.
    """
    spec = dict(figure.chart.to_dict(validate=False)) | {"description": figure.description}
    # A default width in the configuration would keep the chart from filling the column.
    view = {k: v for k, v in spec["config"]["view"].items() if not k.startswith("continuous")}
    return spec | {"config": spec["config"] | {"view": view}}


def show_table(table: pd.DataFrame, caption: str) -> None:
    """A table as text; a long or a wide one scrolls in its own frame."""
    if len(table) <= _MOST_ROWS:
        st.html(html_table(table, caption, scrolls=table.shape[1] > _MOST_COLUMNS))
    else:
        st.dataframe(table, hide_index=True)


def download(label: str, content: str | Callable[[], bytes], file: str, mime: str) -> None:
    """A button that downloads a file without running the page again.

    Parameters
    ----------
    label : on the button
    content : of the file; a function is called on the click
    file : its name, unique on the page
    mime : its type
    """
    st.download_button(label, content, file, mime, on_click="ignore", key=f"download_{file}")


def as_csv(table: pd.DataFrame) -> bytes:
    """A table as CSV in UTF-8; no cell is one that a spreadsheet takes for a formula."""
    text = table.select_dtypes(include=["str", "object"]).columns
    guarded = table.assign(
        **{c: table[c].map(lambda v: guard_formula(v) if isinstance(v, str) else v) for c in text}
    )
    named = guarded.rename(columns=lambda c: guard_formula(str(c)))
    return named.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def as_png(figure: Figure) -> bytes:
    """A figure with its title and legend, on white."""
    import vl_convert

    title = alt.TitleParams(
        textwrap.wrap(figure.finding, 70),
        subtitle=textwrap.wrap(figure.legend, 110),
        anchor="start",
        fontSize=18,
        subtitleFontSize=13,
        offset=14,
    )
    chart = figure.chart.properties(title=title, width=_PNG_WIDTH, background="white", padding=16)
    return bytes(vl_convert.vegalite_to_png(chart.to_dict(), scale=_PNG_SCALE))
