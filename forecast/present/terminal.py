"""A table of texts for the terminal."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd
from rich import box
from rich.table import Table
from rich.text import Text


def terminal_table(rows: pd.DataFrame, *, text: Collection[str] = (), bold_last: bool = False) -> Table:
    """A table of texts, whose cells are never read as markup.

    Parameters
    ----------
    rows : texts; the first column names its row
    text : further columns of words, set to the left and folded where the terminal is narrow
    bold_last : whether the last row is the total
    """
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for number, column in enumerate(rows.columns):
        if number == 0 or column in text:
            table.add_column(column, overflow="fold", min_width=6)
        else:
            table.add_column(column, justify="right", no_wrap=True)  # a broken number cannot be read
    for number, row in enumerate(rows.itertuples(index=False)):
        last = bold_last and number == len(rows) - 1
        table.add_row(*(Text(str(cell)) for cell in row), style="bold" if last else "")
    return table
