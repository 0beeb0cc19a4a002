"""Sentences for the pages, and the way in which a builder's own text is put into them."""

from __future__ import annotations

import re
import unicodedata
from html import escape

import pandas as pd

_SHORT = 12
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")


def plain(text: str) -> str:
    """Text as Markdown that shows exactly this text: no link, picture, formula or code comes of it.

    >>> plain("![x](http://a.b/c.png) _rib_ $2$")
    '\\\\!\\\\[x\\\\]\\\\(http\\\\:\\\\/\\\\/a\\\\.b\\\\/c\\\\.png\\\\) \\\\_rib\\\\_ \\\\$2\\\\$'
    """
    one_line = " ".join("".join(" " if unicodedata.category(c) == "Cc" else c for c in text).split())
    return _PUNCTUATION.sub(r"\\\1", one_line)


def title_case(name: str) -> str:
    """A stage or type with a capital, as it begins a sentence.

    >>> title_case("wings"), title_case("")
    ('Wings', '')
    """
    return name[:1].upper() + name[1:]


def format_span(days: float) -> str:
    """A length of time as people say it.

    >>> [format_span(d) for d in (0.6, 1, 12, 45, 200, 900)]
    ['1 day', '1 day', '12 days', '6 weeks', '7 months', '2.5 years']
    """
    days = abs(days)
    for unit, length, until in (("day", 1, 21), ("week", 7, 91), ("month", 30.44, 720)):
        if days < until:
            count = max(round(days / length), 1)
            return f"{count} {unit}{'s' if count != 1 else ''}"
    return f"{days / 365.25:.1f} years"


def format_shift(days: float) -> str:
    """A move of a date in words.

    >>> format_shift(12), format_shift(-40), format_shift(0.3)
    ('12 days later', '6 weeks earlier', 'unchanged')
    """
    if abs(days) < 0.5:
        return "unchanged"
    return f"{format_span(days)} {'later' if days > 0 else 'earlier'}"


def in_words(values: list[str], last: str = "and") -> str:
    """A list as people say it.

    >>> in_words(["a", "b", "c"]), in_words(["a"])
    ('a, b and c', 'a')
    """
    return f" {last} ".join(filter(None, [", ".join(values[:-1]), values[-1]]))


def html_table(table: pd.DataFrame, caption: str, *, scrolls: bool = False) -> str:
    """A small table as HTML, every cell as text; numbers are aligned to the right.

    A table that `scrolls` has a frame of its own, which the keyboard reaches.

    >>> html_table(pd.DataFrame({"Stage": ["<b>"], "Hours": [1]}), "Hours")[:61]
    '<table class="figures"><caption>Hours</caption><thead><tr><th'
    """
    right = [pd.api.types.is_numeric_dtype(table[c]) for c in table]
    head = "".join(
        f'<th scope="col"{_kind("", r)}>{escape(str(c))}</th>' for c, r in zip(table, right, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(f"<td{_kind(_cell(v), r)}>{escape(_cell(v))}</td>" for v, r in zip(row, right, strict=True))
        + "</tr>"
        for row in table.itertuples(index=False)
    )
    made = (
        f'<table class="figures"><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>'
        f"<tbody>{rows}</tbody></table>"
    )
    frame = f'<div class="wide" role="region" tabindex="0" aria-label="{escape(caption)}">'
    return f"{frame}{made}</div>" if scrolls else made


def _kind(cell: str, number: bool) -> str:
    """How a cell is set: numbers to the right, what is short (a day, a name) on one line."""
    if number:
        return ' class="number"'
    if _DAY.fullmatch(cell):
        return ' class="day"'
    return ' class="short"' if 0 < len(cell) <= _SHORT else ""


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and value != value) or value is pd.NaT:
        return ""
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)
