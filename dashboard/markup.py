"""Texts of a builder as Markdown and tables as HTML, in which nothing is ever interpreted."""

from __future__ import annotations

import re
import unicodedata
from html import escape

import pandas as pd

_SHORT = 12  # characters, the length of a date: breaking it on a phone would make it harder to read
_ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")


def plain(text: str) -> str:
    """Text as Markdown that shows exactly this text: no link, picture, formula or code.

    Examples
    --------
    >>> plain("![x](http://a.b/c.png) _rib_ $2$")
    '\\\\!\\\\[x\\\\]\\\\(http\\\\:\\\\/\\\\/a\\\\.b\\\\/c\\\\.png\\\\) \\\\_rib\\\\_ \\\\$2\\\\$'
    """
    one_line = " ".join("".join(" " if unicodedata.category(c) == "Cc" else c for c in text).split())
    return _PUNCTUATION.sub(r"\\\1", one_line)


def html_table(table: pd.DataFrame, caption: str, *, scrolls: bool = False) -> str:
    """A small table as HTML, every cell as text; numbers are aligned to the right.

    Parameters
    ----------
    table : the cells
    caption : what it shows
    scrolls : whether it scrolls in a frame of its own, which the keyboard reaches

    Examples
    --------
    >>> html_table(pd.DataFrame({"Stage": ["<b>"], "Hours": [1]}), "Hours")[:61]
    '<table class="figures"><caption>Hours</caption><thead><tr><th'
    """
    right = [pd.api.types.is_numeric_dtype(table[c]) for c in table]
    head = "".join(
        f'<th scope="col"{_cell_class("", r)}>{escape(str(c))}</th>'
        for c, r in zip(table, right, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(
            f"<td{_cell_class(_cell_text(v), r)}>{escape(_cell_text(v))}</td>"
            for v, r in zip(row, right, strict=True)
        )
        + "</tr>"
        for row in table.itertuples(index=False)
    )
    html = (
        f'<table class="figures"><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )
    frame = f'<div class="wide" role="region" tabindex="0" aria-label="{escape(caption)}">'
    return f"{frame}{html}</div>" if scrolls else html


def _cell_class(cell: str, number: bool) -> str:
    """The class of a cell: numbers to the right, short texts (a day, a name) on one line."""
    if number:
        return ' class="number"'
    if _ISO_DAY.fullmatch(cell):
        return ' class="day"'
    return ' class="short"' if 0 < len(cell) <= _SHORT else ""


def _cell_text(value: object) -> str:
    if value is None or (isinstance(value, float) and value != value) or value is pd.NaT:
        return ""
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)
