"""From the rows of a simulation to a builder's log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date as Day

import numpy as np
import pandas as pd

from benchmarks.invented.workshop.job import OUTSIDE, Row
from benchmarks.invented.workshop.presence import HELPER, QUARTERS
from forecast.files.plan import Plan
from forecast.files.tables import table_schema

_LONGEST_LUMP_DAYS = 15  # nobody catches up on more than a fortnight from memory: judgement
OUTSIDE_TYPES = ("shop", "tools", "ordering", "planning", "cleaning")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One row of log.csv; `hours` are clock hours, `stage` and `type` those of the plan."""

    date: Day
    until: Day
    hours: float
    builders: str
    helpers: int
    task: str
    stage: str
    type: str
    quantity: float | None = None
    percent: float | None = None
    done: bool = False
    rework: bool = False
    start: str = ""
    note: str = ""

    @property
    def people(self) -> int:
        """Builders and helpers."""
        return self.builders.count("+") + 1 + self.helpers

    @property
    def person_hours(self) -> float:
        """Clock hours times people."""
        return self.hours * self.people


def log_rows(
    rows: Sequence[Row], tasks: Sequence[str], plan: Plan, stage_of_day: dict[int, str]
) -> list[LogRow]:
    """The rows of a simulation as log rows.

    Parameters
    ----------
    rows : of the simulation
    tasks : task ids by position, added tasks included
    plan : with the added tasks
    stage_of_day : the stage under which work outside the plan is logged; see `stages_of_days`
    """
    return [_log_row(row, tasks, plan, stage_of_day) for row in rows]


def _log_row(row: Row, tasks: Sequence[str], plan: Plan, stage_of_day: dict[int, str]) -> LogRow:
    named = sorted(p for p in row.people if p != HELPER)
    day = Day.fromordinal(row.day)
    if row.task == OUTSIDE:
        task, stage = "", stage_of_day.get(row.day, "other")
        kind = OUTSIDE_TYPES[(row.day * 7) % len(OUTSIDE_TYPES)]
    else:
        task = tasks[row.task]
        stage, kind = plan.by_id[task].stage, plan.by_id[task].type
    return LogRow(
        date=day,
        until=day,
        hours=row.quarters / QUARTERS,
        builders="+".join(named),
        helpers=len(row.people) - len(named),
        task=task,
        stage=stage,
        type=kind,
        quantity=None if row.pieces is None else float(row.pieces),
        percent=None if row.percent is None else float(row.percent),
        done=row.done,
        rework=row.rework,
    )


def stages_of_days(rows: Sequence[Row], tasks: Sequence[str], plan: Plan) -> dict[int, str]:
    """Ordinal -> the stage that was worked on last on that day."""
    return {r.day: plan.by_id[tasks[r.task]].stage for r in rows if r.task != OUTSIDE}


def lump(rows: Sequence[LogRow], chance: float, rng: np.random.Generator) -> list[LogRow]:
    """Merge some runs of sessions on one task into rows of several days, as if logged later.

    Parameters
    ----------
    rows : in order of date
    chance : per row, that a run begins with it
    rng : decides where runs begin
    """
    out: list[LogRow] = []
    i = 0
    starts = rng.random(len(rows)) < chance
    while i < len(rows):
        end = i + 1
        if starts[i]:
            while end < len(rows) and _continues_run(rows[i], rows[end - 1], rows[end]):
                end += 1
        run = rows[i:end]
        hours = sum(r.hours for r in run)
        out.append(replace(run[0], until=run[-1].until, hours=hours, done=run[-1].done,
                           percent=run[-1].percent, quantity=_pieces(run)))  # fmt: skip
        i = end
    return sorted(out, key=lambda r: (r.date, r.until))


def _continues_run(first: LogRow, before: LogRow, row: LogRow) -> bool:
    same = (row.task, row.builders, row.helpers, row.rework) == (
        first.task, first.builders, first.helpers, first.rework,
    )  # fmt: skip
    days = (row.date - first.date).days
    return same and not before.done and first.task != "" and days <= _LONGEST_LUMP_DAYS


def _pieces(run: Sequence[LogRow]) -> float | None:
    known = [r.quantity for r in run if r.quantity is not None]
    return sum(known) if known else None


def sessions_of(rows: Sequence[LogRow]) -> pd.DataFrame:
    """The sessions frame of log rows, which must be sorted by date and until."""

    def number(values: list[float | None]) -> np.ndarray:
        return np.array([np.nan if v is None else v for v in values], dtype=float)

    def text(values: list[str]) -> pd.Series:
        return pd.Series(values, dtype="str")

    def days(values: list[Day]) -> np.ndarray:
        return np.array(values, dtype="datetime64[D]").astype("datetime64[us]")

    frame = pd.DataFrame(
        {
            "date": days([r.date for r in rows]),
            "until": days([r.until for r in rows]),
            "start": text([r.start for r in rows]),
            "hours": np.array([r.hours for r in rows], dtype=float),
            "builders": text([r.builders for r in rows]),
            "helpers": np.array([r.helpers for r in rows], dtype=np.int64),
            "people": np.array([r.people for r in rows], dtype=np.int64),
            "person_hours": np.array([r.person_hours for r in rows], dtype=float),
            "task": text([r.task for r in rows]),
            "stage": text([r.stage for r in rows]),
            "type": text([r.type for r in rows]),
            "quantity": number([r.quantity for r in rows]),
            "percent": number([r.percent for r in rows]),
            "done": np.array([r.done for r in rows], dtype=bool),
            "rework": np.array([r.rework for r in rows], dtype=bool),
            "note": text([r.note for r in rows]),
            "file": text(["log.csv"] * len(rows)),
            "line": np.arange(2, len(rows) + 2, dtype=np.int64),
        }
    )
    return frame[list(table_schema("sessions").columns)]
