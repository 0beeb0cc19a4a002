"""The table of many builds, for people and for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.many.answer import CSV_COLUMNS, BuildAnswer
from forecast.present.finish import format_short_date

if TYPE_CHECKING:
    from rich.table import Table

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_SHOWN_PROBLEMS = 3


def many_table(builds: Iterable[BuildAnswer]) -> Table:
    """One row a build: where it stands, the dates of the whole build, and what holds them."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Build", overflow="fold", min_width=8)
    table.add_column("Stage", overflow="fold", min_width=6)
    for title in ("Even odds", "80 % sure"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("What holds the date", overflow="fold")
    for build in builds:
        table.add_row(*(Text(cell) for cell in _cells(build)))
    return table


def _cells(build: BuildAnswer) -> tuple[str, ...]:
    name = Path(build.folder).resolve().name
    if build.problems:
        count = len(build.problems)
        return name, "not read", "", "", f"{count} problem{'s' if count != 1 else ''}, see below"
    row = build.row()
    if row["finished"]:
        return name, "finished", _day(row["finished"]), "", ""
    return name, row["stage"], _day(row["build_p50"]), _day(row["build_p80"]), row["held_by"]


def _day(text: str) -> str:
    return format_short_date(date.fromisoformat(text) if text else None)


def problem_lines(builds: Iterable[BuildAnswer]) -> list[str]:
    """The first problems of each build that has any, each line with its folder."""
    lines = []
    for build in builds:
        lines += [f"{build.folder}: {problem}" for problem in build.problems[:_SHOWN_PROBLEMS]]
        if more := len(build.problems) - _SHOWN_PROBLEMS:
            lines += (
                [f"{build.folder}: and {more} more: `benchdays check {build.folder}`."] if more > 0 else []
            )
    return lines


def table_csv(builds: Iterable[BuildAnswer]) -> bytes:
    """The table as CSV (RFC 4180); a text that a spreadsheet would take for a formula gets an apostrophe."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(CSV_COLUMNS)
    for build in builds:
        row = build.row()
        writer.writerow([_harmless(row[column]) for column in CSV_COLUMNS])
    return text.getvalue().encode()


def _harmless(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA_STARTS) else cell
