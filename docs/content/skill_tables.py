"""The tables that the studies wrote, as DataFrames."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

BENCHMARKS = Path(__file__).resolve().parents[2] / "benchmarks"
_NO_VALUE = ("", "-")


def study_file(study: str) -> Path:
    """The page of a study, wherever it is within benchmarks/.

    Raises
    ------
    FileNotFoundError unless there is exactly one.
    """
    found = sorted(BENCHMARKS.rglob(f"{study}.md"))
    if len(found) != 1:
        raise FileNotFoundError(f"One page {study}.md is needed within {BENCHMARKS}. Found {len(found)}.")
    return found[0]


def study_table(study: str, heading: str = "") -> pd.DataFrame:
    """The first table below a heading of a study's page (of the page when no heading is named).

    Columns whose cells are all numbers or blank become float with NaN; the others are text.

    Raises
    ------
    KeyError when the page has no such heading or no table below it.
    """
    lines = study_file(study).read_text(encoding="utf-8").splitlines()
    if heading:
        starts = [n for n, line in enumerate(lines) if line.startswith("#") and line.lstrip("# ") == heading]
        if not starts:
            raise KeyError(f"{study}.md has no heading {heading!r}.")
        lines = lines[starts[0] + 1 :]
    first = next((n for n, line in enumerate(lines) if line.startswith("|")), None)
    if first is None:
        raise KeyError(f"{study}.md has no table below {heading!r}.")
    length = next((n for n, line in enumerate(lines[first:]) if not line.startswith("|")), None)
    names, _, *rows = [_cells(line) for line in lines[first:][:length]]
    return pd.DataFrame(rows, columns=names).apply(_numbers)


def builds_of(study: str) -> int:
    """How many invented builds a study says that it used (of each kind, where it names kinds).

    Raises
    ------
    KeyError when its page does not say.
    """
    said = re.search(r"(\d+) invented builds", study_file(study).read_text(encoding="utf-8"))
    if said is None:
        raise KeyError(f"{study}.md does not say how many builds it invented.")
    return int(said[1])


def value_and_error(cells: pd.Series) -> pd.DataFrame:
    """Columns value and error of cells such as `0.61 +- 0.02`; the error is 0 where none is given.

    >>> value_and_error(pd.Series(["0.61 +- 0.02", "1.00"])).to_numpy().tolist()
    [[0.61, 0.02], [1.0, 0.0]]
    """
    parts = cells.astype(str).str.split(" +- ", regex=False)
    return pd.DataFrame(
        {
            "value": parts.str[0].astype(float),
            "error": parts.str[1].fillna("0").astype(float),
        }
    )


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def _numbers(column: pd.Series) -> pd.Series:
    known = column[~column.isin(_NO_VALUE)]
    numbers = pd.to_numeric(known, errors="coerce")
    return column if known.empty or numbers.isna().any() else numbers.reindex(column.index)
