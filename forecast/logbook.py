"""The log: who was at the bench, when, for how long, on what.

Rows of log.csv go in, the sessions frame comes out; every bad row is reported at once.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.errors import Problem
from forecast.plan import Plan
from forecast.tables import HOURS_RULE, Table, table_schema

_HELPERS = re.compile(r"[1-9]\d?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Builder:
    """Somebody who builds, as build.toml names them."""

    id: str
    joins: date | None = None
    weekly_hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """Days on which `builder` (None: everybody) cannot build, both ends included."""

    builder: str | None
    start: date
    end: date
    reason: str = ""


def read_sessions(
    tables: Sequence[Table], builders: Sequence[Builder], plan: Plan | None
) -> tuple[pd.DataFrame, list[Problem], list[str]]:
    """The sessions of one or more log tables, what is wrong with them, and what was passed over.

    Parameters
    ----------
    tables : log files as `read_table` gives them; their own problems are not repeated here
    builders : the builders of build.toml, the first one standing where a row names nobody
    plan : the plan, or None when it could not be read (then no task is called unknown)

    Returns
    -------
    sessions : one row a log row, sorted by date, until, file and line (columns: schemas/sessions.json);
        hours are clock hours, person_hours = hours x people
    problems, notices
    """
    problems: list[Problem] = []
    parts = []
    for table in tables:
        people, found = _read_people(table, builders)
        problems += found + _hours_problems(table) + _task_problems(table, plan)
        parts.append(_typed_sessions(table, people, plan))
        problems += _early_problems(table, people, builders)
    sessions = pd.concat(parts, ignore_index=True) if parts else _typed_nothing()
    sessions = sessions.sort_values(["date", "until", "file", "line"], kind="stable", ignore_index=True)
    return sessions, problems + _done_twice(sessions), _notices(tables, sessions, plan)


def read_away(table: Table, builders: Sequence[Builder]) -> tuple[tuple[Away, ...], list[Problem]]:
    """The days away of an away.csv table, and everything wrong between its cells."""
    f = table.frame
    ids = [b.id for b in builders]
    problems = table.problems_where(f["to"] < f["from"], "to", "must not be before from")
    unknown = ~f["builder"].isin([*ids, ""])
    problems += table.problems_where(
        unknown, "builder", f"must be a builder of build.toml ({', '.join(ids)})"
    )
    whole = f.loc[f["from"].notna() & f["to"].notna()]
    away = tuple(
        Away(builder=who or None, start=start.date(), end=end.date(), reason=reason)
        for who, start, end, reason in whole[["builder", "from", "to", "reason"]].itertuples(index=False)
    )
    return away, problems


def split_people(text: str, first_builder: str) -> tuple[tuple[str, ...], int] | None:
    """The named builders (sorted) and the number of helpers of one cell, or None if it cannot be read.

    Examples
    --------
    >>> split_people("B+A", "A"), split_people("A+2", "A"), split_people("", "A"), split_people("+1", "A")
    ((('A', 'B'), 0), (('A',), 2), (('A',), 0), (('A',), 1))
    >>> split_people("A+A", "A"), split_people("2", "A")
    (None, None)
    """
    parts = [part.strip() for part in text.split("+")]
    numbers = [part for part in parts[1:] if part.isdigit()]
    names = [part for i, part in enumerate(parts) if part and not (i and part.isdigit())]
    blanks = [part for part in parts[1:] if not part]
    if (
        blanks
        or len(numbers) > 1
        or len(set(names)) < len(names)
        or names[:1] == [parts[0]]
        and parts[0].isdigit()
    ):
        return None
    if numbers and not _HELPERS.fullmatch(numbers[0]):
        return None
    return tuple(sorted(names)) or (first_builder,), int(numbers[0]) if numbers else 0


def _read_people(table: Table, builders: Sequence[Builder]) -> tuple[pd.DataFrame, list[Problem]]:
    """The columns builders and helpers, and the cells that name somebody unknown."""
    ids = {b.id for b in builders}
    first = builders[0].id if builders else ""
    codes, uniques = pd.factorize(table.frame["builders"].to_numpy(dtype=object))
    split = [split_people(text, first) for text in uniques]
    bad = [s is None or (bool(ids) and not set(s[0]) <= ids) for s in split]
    rule = f"must be builders of build.toml ({', '.join(sorted(ids))}) joined by +, helpers as +2"
    people = pd.DataFrame(
        {
            "builders": pd.Series(
                np.array(["+".join(s[0]) if s else first for s in split], dtype=object)[codes], dtype="str"
            ),
            "helpers": np.array([s[1] if s else 0 for s in split], dtype=np.int64)[codes],
            "people": np.array([len(s[0]) + s[1] if s else 1 for s in split], dtype=np.int64)[codes],
        }
    )
    return people, table.problems_where(np.array(bad, dtype=bool)[codes], "builders", rule)


def _hours_problems(table: Table) -> list[Problem]:
    f = table.frame
    days = ((f["until"].fillna(f["date"]) - f["date"]).dt.days + 1).to_numpy(dtype=float)
    hours = f["hours"].to_numpy(dtype=float)
    backwards = f["until"] < f["date"]
    single = ~(days > 1)
    problems = table.problems_where(backwards, "until", "must not be before date")
    problems += table.problems_where((hours <= 0) | (single & (hours > 24)), "hours", HOURS_RULE)
    for row in np.flatnonzero(~single & (hours > 24 * days)):
        allowed = f"must be above 0 and at most {24 * days[row]:.0f} for {days[row]:.0f} days"
        problems.append(table.problem(int(row), "hours", allowed))
    return problems


def _task_problems(table: Table, plan: Plan | None) -> list[Problem]:
    if plan is None:
        return []
    unknown = ~table.frame["task"].isin([*plan.by_id, ""])
    return table.problems_where(
        unknown, "task", "must be an id of plan.csv, or blank for work outside the plan"
    )


def _early_problems(table: Table, people: pd.DataFrame, builders: Sequence[Builder]) -> list[Problem]:
    problems = []
    for builder in builders:
        if builder.joins is None:
            continue
        before = (table.frame["date"] < pd.Timestamp(builder.joins)).to_numpy()
        early = before & _names(people["builders"], builder.id)
        rule = (
            f"must not name {builder.id} before {builder.joins}, the day on which build.toml says they join"
        )
        problems += table.problems_where(early, "builders", rule)
    return problems


def _names(builders: pd.Series, builder: str) -> np.ndarray:
    codes, uniques = pd.factorize(builders.to_numpy(dtype=object))
    return np.array([builder in text.split("+") for text in uniques], dtype=bool)[codes]


def _typed_sessions(table: Table, people: pd.DataFrame, plan: Plan | None) -> pd.DataFrame:
    f = table.frame
    tasks = {} if plan is None else plan.by_id
    in_plan = f["task"].isin(list(tasks))
    stage = f["task"].map({t: tasks[t].stage for t in tasks}).where(in_plan, f["stage"].replace("", "other"))
    kind = f["task"].map({t: tasks[t].type for t in tasks}).where(in_plan, f["type"].replace("", "general"))
    clock = f["start"].where(f["start"].str.len() != 4, "0" + f["start"])
    sessions = f.assign(
        until=f["until"].fillna(f["date"]),
        start=clock.astype("str"),
        stage=stage.astype("str"),
        type=kind.astype("str"),
        builders=people["builders"],
        helpers=people["helpers"],
        people=people["people"],
        person_hours=f["hours"] * people["people"],
        file=pd.Series([table.file] * len(f), dtype="str"),
        line=table.line,
    )
    return sessions[list(table_schema("sessions").columns)]


def _typed_nothing() -> pd.DataFrame:
    kinds = {
        "string": "str",
        "number": "float64",
        "integer": "int64",
        "boolean": "bool",
        "date": "datetime64[us]",
    }
    return pd.DataFrame({f.name: pd.Series([], dtype=kinds[f.type]) for f in table_schema("sessions").fields})


def _done_twice(sessions: pd.DataFrame) -> list[Problem]:
    """A task said to be done on two rows with no session between that opened it again.

    On one day, the rows that do not say done count as worked before the one that does. A row of rework
    that says done opened the task and closed it.
    """
    planned = sessions.loc[sessions["task"] != ""].sort_values(
        ["task", "until", "done", "start", "file", "line"], kind="stable"
    )
    done, task = planned["done"].to_numpy(), planned["task"].to_numpy(dtype=object)
    twice = np.zeros(len(planned), dtype=bool)
    twice[1:] = done[1:] & done[:-1] & (task[1:] == task[:-1]) & ~planned["rework"].to_numpy()[1:]
    rows = planned.reset_index(drop=True)
    return [
        Problem(
            rows["file"][i], int(rows["line"][i]), "done", "yes",
            f"must be there once for a task: {_place(rows, i - 1)} has already finished {task[i]}",
        )
        for i in np.flatnonzero(twice).tolist()
    ]  # fmt: skip


def _place(rows: pd.DataFrame, i: int) -> str:
    return f"{rows['file'][i]}, line {rows['line'][i]},"


def _notices(tables: Sequence[Table], sessions: pd.DataFrame, plan: Plan | None) -> list[str]:
    return []
