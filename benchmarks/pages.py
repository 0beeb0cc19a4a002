"""The Markdown pages that studies write: tables, versions, standard errors of ratios."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd


def write_page(study: str, lines: Iterable[str], page: Path | None = None) -> None:
    """Print the lines of a page and write them beside its study (`__file__`), or to another file."""
    text = "\n".join(lines).rstrip("\n") + "\n"
    print(text)
    (page or Path(study).with_suffix(".md")).write_text(text, encoding="utf-8")


def versions(*libraries: str, python: bool = False) -> str:
    """Versions of the libraries that the figures of a page depend on.

    Examples
    --------
    >>> versions("numpy").startswith("numpy ")
    True
    """
    found = [f"Python {platform.python_version()}"] if python else []
    return ", ".join([*found, *(f"{name} {version(name)}" for name in libraries)])


def markdown(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """The lines of a table.

    Examples
    --------
    >>> markdown(["task", "hours"], [["A", "2"]])
    ['| task | hours |', '|---|---|', '| A | 2 |']
    """
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    return [*lines, *(f"| {' | '.join(row)} |" for row in rows)]


def markdown_of(frame: pd.DataFrame) -> list[str]:
    """The lines of a frame's table: its index as first columns, NaN as an empty cell."""
    flat = frame.reset_index()
    rows = (
        ["" if isinstance(v, float) and np.isnan(v) else str(v) for v in row]
        for row in flat.itertuples(index=False)
    )
    return markdown([str(c) for c in flat.columns], rows)


def resamples(builds: int, rng: np.random.Generator, count: int = 1000) -> np.ndarray:
    """(resample, build) indices of bootstrapped builds; 1000 give a standard error to about 2 %."""
    return rng.integers(builds, size=(count, builds))


def ratio_and_error(ours: np.ndarray, theirs: np.ndarray, index: np.ndarray) -> tuple[float, float]:
    """A ratio of mean scores and its standard error over builds, as cuts of one build are not independent.

    Parameters
    ----------
    ours, theirs : (build, cut) scores; the ratio is the mean over the cuts of the ratios of means
    index : (resample, build) rows, from `resamples`

    Examples
    --------
    >>> index = resamples(4, np.random.default_rng(0))
    >>> ratio_and_error(np.ones((4, 1)), np.full((4, 1), 2.0), index)
    (0.5, 0.0)
    """

    def ratio(rows: np.ndarray | slice) -> float:
        return float((ours[rows].mean(axis=0) / theirs[rows].mean(axis=0)).mean())

    return ratio(slice(None)), float(np.std([ratio(rows) for rows in index]))
