"""The log: who was at the bench, when, for how long, on what.

Turns the rows of log.csv into the sessions frame and reports every bad row at once.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.errors import Problem, first_few
from forecast.files.fields import HOURS_RULE, table_schema
from forecast.files.plan import Plan
from forecast.files.tables import DTYPES, CheckedTable

_HELPERS = re.compile(r"[1-9]\d?", re.ASCII)  # 1 to 99 unnamed helpers


@dataclass(frozen=True, slots=True, kw_only=True)
class Builder:
    """One builder of build.toml; `weekly_hours` is their own guess, `joins` their first day in the log."""

    id: str
    joins: date | None = None
    weekly_hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """Days on which `builder` (None: everybody) cannot build; `start` and `end` are included."""

    builder: str | None
    start: date
    end: date
    reason: str = ""


def read_sessions(
    tables: Sequence[CheckedTable], builders: Sequence[Builder] | None, plan: Plan | None
) -> tuple[pd.DataFrame, list[Problem], list[str]]:
    """Build the sessions frame from one or more log tables.

    Parameters
    ----------
    tables : log files as `read_table` returns them; their own problems are not repeated here
    builders : the builders of build.toml, the first of whom is meant where a row names nobody; None when
        that file could not be read (then no builder is reported as unknown)
    plan : the plan; None when it could not be read (then no task is reported as unknown)

    Returns
    -------
    sessions : one row per log row, sorted by date, until, file and line (columns: schemas/sessions.json);
        hours are clock hours, person_hours = hours x people
    problems : every row that cannot be right
    notices : sentences about rows that are possible but odd
    """
    problems: list[Problem] = []
    parts = []
    for table in tables:
        people, unknown = _read_people(table, builders)
        problems += unknown + _hours_problems(table) + _task_problems(table, plan)
        problems += _early_problems(table, people, builders or ())
        parts.append(_typed_sessions(table, people, plan))
    sessions = pd.concat(parts, ignore_index=True) if parts else _no_sessions()
    sessions = sessions.sort_values(["date", "until", "file", "line"], kind="stable", ignore_index=True)
    notices = [
        *_contradicted(tables, plan),
        *_reports_without_task(sessions),
        *_reopened(sessions),
        *_long_days(sessions),
        *_identical(sessions),
    ]
    return sessions, problems + _done_twice(sessions), notices


def read_away(
    table: CheckedTable, builders: Sequence[Builder] | None
) -> tuple[tuple[Away, ...], list[Problem]]:
    """Build the days away from an away.csv table.

    Parameters
    ----------
    table : away.csv as `read_table` returns it
    builders : the builders of build.toml; None when that file could not be read

    Returns
    -------
    The days away, and every problem between the cells of a row.
    """
    f = table.frame
    problems = table.problems_where(f["to"] < f["from"], "to", "must not be before from")
    if builders is not None:
        ids = [b.id for b in builders]
        rule = f"must be a builder of build.toml ({', '.join(ids)}), or blank for everybody"
        problems += table.problems_where(~f["builder"].isin([*ids, ""]), "builder", rule)
    whole = f.loc[f["from"].notna() & f["to"].notna()]
    away = tuple(
        Away(builder=who or None, start=start.date(), end=end.date(), reason=reason)
        for who, start, end, reason in whole[["builder", "from", "to", "reason"]].itertuples(index=False)
    )
    return away, problems


def split_people(text: str, first_builder: str) -> tuple[tuple[str, ...], int] | None:
    """Read one cell of builders, such as A+B or A+2.

    Parameters
    ----------
    text : the cell
    first_builder : id that a cell without names means

    Returns
    -------
    The ids (sorted) and the number of unnamed helpers, or None if the cell cannot be read.

    Examples
    --------
    >>> split_people("B+A", "A"), split_people("A+2", "A"), split_people("", "A"), split_people("+1", "A")
    ((('A', 'B'), 0), (('A',), 2), (('A',), 0), (('A',), 1))
    >>> split_people("A+A", "A"), split_people("2", "A")
    (None, None)
    """
    first, *others = [part.strip() for part in text.split("+")]
    numbers = [part for part in others if part.isdigit()]
    names = [part for part in (first, *others) if part and part not in numbers]
    helpers = numbers[0] if numbers else "0"
    understood = (
        all(others)
        and not first.isdigit()
        and len(numbers) <= 1
        and len(set(names)) == len(names)
        and (not numbers or _HELPERS.fullmatch(helpers))
    )
    return (tuple(sorted(names)) or (first_builder,), int(helpers)) if understood else None


def _read_people(
    table: CheckedTable, builders: Sequence[Builder] | None
) -> tuple[pd.DataFrame, list[Problem]]:
    """The columns builders, helpers and people (one row per log row), and the cells that cannot be read."""
    first = builders[0].id if builders else ""
    codes, uniques = pd.factorize(table.frame["builders"].to_numpy(dtype=object))
    split = [split_people(text, first) for text in uniques]
    named = [s or ((first,), 0) for s in split]
    people = pd.DataFrame(
        {
            "builders": pd.Series(["+".join(names) for names, _ in named], dtype="str"),
            "helpers": np.array([helpers for _, helpers in named], dtype=np.int64),
            "people": np.array([len(names) + helpers for names, helpers in named], dtype=np.int64),
        }
    ).take(codes)
    if builders is None:
        return people.reset_index(drop=True), []
    ids = {b.id for b in builders}
    bad = np.array([s is None or not set(s[0]) <= ids for s in split], dtype=bool)
    rule = f"must be builders of build.toml ({', '.join(sorted(ids))}) joined by +, helpers as +2"
    return people.reset_index(drop=True), table.problems_where(bad[codes], "builders", rule)


def _hours_problems(table: CheckedTable) -> list[Problem]:
    f = table.frame
    days = ((f["until"].fillna(f["date"]) - f["date"]).dt.days + 1).to_numpy(dtype=float)
    hours = f["hours"].to_numpy(dtype=float)
    backwards = f["until"] < f["date"]
    single = ~(days > 1)  # also where a date is bad and days is NaN
    problems = table.problems_where(backwards, "until", "must not be before date")
    problems += table.problems_where((hours <= 0) | (single & (hours > 24)), "hours", HOURS_RULE)
    for row in np.flatnonzero(~single & (hours > 24 * days)):
        allowed = f"must be above 0 and at most {24 * days[row]:.0f} for {days[row]:.0f} days"
        problems.append(table.problem(int(row), "hours", allowed))
    return problems


def _task_problems(table: CheckedTable, plan: Plan | None) -> list[Problem]:
    if plan is None:
        return []
    unknown = ~table.frame["task"].isin([*plan.by_id, ""])
    rule = "must be an id of plan.csv, or blank for work outside the plan"
    return table.problems_where(unknown, "task", rule)


def _early_problems(table: CheckedTable, people: pd.DataFrame, builders: Sequence[Builder]) -> list[Problem]:
    problems = []
    first_day = {b.id: b.joins for b in builders if b.joins is not None}
    for builder, joins in first_day.items():
        before = (table.frame["date"] < pd.Timestamp(joins)).to_numpy()
        early = before & _names(people["builders"], builder)
        rule = f"must not name {builder} before {joins}, when build.toml says they join"
        problems += table.problems_where(early, "builders", rule)
    return problems


def _names(builders: pd.Series, builder: str) -> np.ndarray:
    """Mask of the rows that name one builder."""
    codes, uniques = pd.factorize(builders.to_numpy(dtype=object))
    return np.array([builder in text.split("+") for text in uniques], dtype=bool)[codes]


def _typed_sessions(table: CheckedTable, people: pd.DataFrame, plan: Plan | None) -> pd.DataFrame:
    f = table.frame
    tasks = {} if plan is None else plan.by_id
    in_plan = f["task"].isin(list(tasks))
    stage = f["task"].map({t: tasks[t].stage for t in tasks}).where(in_plan, f["stage"].replace("", "other"))
    kind = f["task"].map({t: tasks[t].type for t in tasks}).where(in_plan, f["type"].replace("", "general"))
    # 9:15 becomes 09:15, so that sorting the texts sorts the times.
    padded_start = f["start"].where(f["start"].str.len() != 4, "0" + f["start"])
    sessions = f.assign(
        until=f["until"].fillna(f["date"]),
        start=padded_start.astype("str"),
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


def _no_sessions() -> pd.DataFrame:
    fields = table_schema("sessions").fields
    return pd.DataFrame({f.name: pd.Series([], dtype=DTYPES[f.type]) for f in fields})


def _done_twice(sessions: pd.DataFrame) -> list[Problem]:
    """Rows that finish a task which is already finished and was not reopened by a session in between.

    On the same day, rows without `done` count as worked before the row with it. A row of rework with `done`
    reopens the task and finishes it again.
    """
    planned = sessions.loc[sessions["task"] != ""].sort_values(
        ["task", "until", "done", "start", "file", "line"], kind="stable", ignore_index=True
    )
    done, task = planned["done"].to_numpy(), planned["task"].to_numpy(dtype=object)
    twice = np.zeros(len(planned), dtype=bool)
    twice[1:] = done[1:] & done[:-1] & (task[1:] == task[:-1]) & ~planned["rework"].to_numpy()[1:]
    places = _places(planned) if twice.any() else []
    rule = "must occur only once per task"
    return [
        Problem(
            planned["file"][i], int(planned["line"][i]), "done", "yes",
            f"{rule}: {places[i - 1]}, has already finished {task[i]}",
        )
        for i in np.flatnonzero(twice).tolist()
    ]  # fmt: skip


def _contradicted(tables: Sequence[CheckedTable], plan: Plan | None) -> list[str]:
    """Rows on planned tasks that name a stage or type other than the plan's."""
    tasks = {} if plan is None else plan.by_id
    places = []
    for table in tables:
        f = table.frame
        named = f.loc[f["task"].isin(list(tasks)) & ((f["stage"] != "") | (f["type"] != ""))]
        for row, task, stage, kind in named[["task", "stage", "type"]].itertuples():
            if stage not in ("", tasks[task].stage) or kind not in ("", tasks[task].type):
                places.append(f"{table.file}, line {table.line[row]}")
    sentence = "Where the log names another stage or type than the plan, the plan's is used"
    return [f"{sentence} ({first_few(places)})."] if places else []


def _reports_without_task(sessions: pd.DataFrame) -> list[str]:
    rows = sessions.loc[(sessions["task"] == "") & (sessions["done"] | sessions["percent"].notna())]
    sentence = f"`done` and `percent` have no effect without a task ({first_few(_places(rows))})."
    return [] if rows.empty else [sentence]


def _reopened(sessions: pd.DataFrame) -> list[str]:
    planned = sessions.loc[sessions["task"] != ""]
    last_day = planned.groupby("task")["until"].transform("max")
    finished = (planned["done"] & (planned["until"] == last_day)).groupby(planned["task"]).any()
    reopened = planned.groupby("task")["done"].any() & ~finished
    tasks = list(reopened.index[reopened])
    return [f"Open again, because there are sessions after `done`: {first_few(tasks)}."] if tasks else []


def _long_days(sessions: pd.DataFrame) -> list[str]:
    """Days on which the rows of one builder add up to more than 24 hours."""
    single = sessions.loc[sessions["date"] == sessions["until"]]
    by_group = single.groupby(["date", "builders"], as_index=False)["hours"].sum()
    days = []
    for builder in sorted({b for group in by_group["builders"].unique() for b in group.split("+")}):
        hours = by_group.loc[_names(by_group["builders"], builder)].groupby("date")["hours"].sum()
        days += [(day, builder, h) for day, h in hours[hours > 24].items()]
    shown = [f"{builder} {day.date()} ({h:g} h)" for day, builder, h in sorted(days)]
    return [f"More than 24 hours in one day: {first_few(shown)}."] if days else []


def _identical(sessions: pd.DataFrame) -> list[str]:
    content = [c for c in sessions.columns if c not in ("file", "line")]
    rows = sessions.loc[sessions.duplicated(content)]
    sentence = f"Logged twice? Identical to an earlier row: {first_few(_places(rows))}."
    return [] if rows.empty else [sentence]


def _places(rows: pd.DataFrame) -> list[str]:
    return [f"{file}, line {line}" for file, line in rows[["file", "line"]].itertuples(index=False)]
