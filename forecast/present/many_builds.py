"""The table of many builds, for the terminal and for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

import pandas as pd

from forecast.files.csv_file import format_csv, guard_formula
from forecast.many.answer import CSV_COLUMNS, BuildAnswer
from forecast.wording import format_short_date, plural

_MOST_PROBLEMS = 3  # per build: enough to see what is wrong, and `check` lists all


def many_rows(builds: Iterable[BuildAnswer]) -> pd.DataFrame:
    """One row per build: its first open stage, the dates of the whole build and what drives them."""
    columns = ["Build", "Stage", "Even odds", "80 % sure", "What drives the date"]
    return pd.DataFrame([_many_row(build) for build in builds], columns=columns)


def _many_row(build: BuildAnswer) -> tuple[str, ...]:
    name = Path(build.folder).resolve().name
    if build.problems:
        return name, "not read", "", "", f"{plural(len(build.problems), 'problem')}, see below"
    row = build.row()
    if row["finished"]:
        return name, "finished", _format_day(row["finished"]), "", ""
    return name, row["stage"], _format_day(row["build_p50"]), _format_day(row["build_p80"]), row["held_by"]


def _format_day(text: str) -> str:
    return format_short_date(date.fromisoformat(text) if text else None)


def problem_lines(builds: Iterable[BuildAnswer]) -> list[str]:
    """The first problems of every build that has any, each line with its folder."""
    lines = []
    for build in builds:
        lines += [f"{build.folder}: {problem}" for problem in build.problems[:_MOST_PROBLEMS]]
        more = len(build.problems) - _MOST_PROBLEMS
        if more > 0:
            lines.append(f"{build.folder}: and {more} more: `benchdays check {build.folder}`.")
    return lines


def table_csv(builds: Iterable[BuildAnswer]) -> bytes:
    """One row per build as CSV (RFC 4180); no cell is one that a spreadsheet takes for a formula."""
    rows = (list(map(guard_formula, build.row().values())) for build in builds)
    return format_csv([CSV_COLUMNS, *rows])
