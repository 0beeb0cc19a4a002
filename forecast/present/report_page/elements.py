"""What the page is made of: sections with sentences, figures and tables."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from forecast.present.figures import Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A small table: every cell is a text, the first one names its row.

    Attributes
    ----------
    caption : what it shows
    rows : the texts
    text : columns of words; the others, except for the first, hold numbers and are set to the right
    """

    caption: str
    rows: pd.DataFrame
    text: Collection[str] = ()

    @property
    def right(self) -> list[bool]:
        """Which columns are set to the right."""
        return [n > 0 and column not in self.text for n, column in enumerate(self.rows.columns)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of the page.

    Attributes
    ----------
    id : its anchor
    title : the question that it answers
    answer : what to read first
    sentences : the explanation
    figures, tables : shown in this order
    """

    id: str
    title: str
    answer: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[PageTable, ...] = ()
