"""Tables that more than one page shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from forecast.errors import Problem


def problems_table(
    problems: Sequence[Problem], rows: Mapping[tuple[str, int | None], str] | None = None
) -> pd.DataFrame:
    """One row a problem: where, what it says, what it must be, and the row it stands in if known."""
    table = pd.DataFrame(
        {
            "Where": [p.file if p.line is None else f"{p.file}, line {p.line}" for p in problems],
            "Column": [p.column for p in problems],
            "It says": [p.value for p in problems],
            "It": [p.allowed for p in problems],
        }
    )
    return (
        table
        if rows is None
        else table.assign(**{"The row": [rows.get((p.file, p.line), "") for p in problems]})
    )
