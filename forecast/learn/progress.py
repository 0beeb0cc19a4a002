"""Hours of each task so far, and how far the open ones are, as known at the end of one day.

Sessions and plan go in; one row per task comes out. Nothing dated after `as_of` is used, and the order of
the rows in the log does not matter: they are sorted by their content.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.files.plan import Plan

_CONTENT_ORDER = [
    "date", "until", "start", "task", "stage", "type", "builders", "helpers",
    "hours", "quantity", "percent", "done", "rework", "note",
]  # fmt: skip
_PLAN_TEXT = ("task", "stage", "type", "crew")


@dataclass(frozen=True, kw_only=True)
class Progress:
    """The build as known at the end of `as_of`.

    Attributes
    ----------
    tasks : one row per task known on that day, in plan order (columns: see `read_progress`)
    reports : one row per report of how far a task was: task, date, kind (percent or quantity), fraction
        (0-1), hours_so_far and total_hours (person-hours; NaN while the task is open)
    sessions : the log up to that day, sorted by content
    outside : the sessions of work outside the plan
    as_of : the last day that counts
    """

    tasks: pd.DataFrame
    reports: pd.DataFrame
    sessions: pd.DataFrame
    outside: pd.DataFrame
    as_of: date

    @property
    def started(self) -> date | None:
        """The day of the first session, or None while nothing is logged."""
        return None if self.sessions.empty else self.sessions["date"].iloc[0].date()

    @property
    def open_tasks(self) -> pd.DataFrame:
        """The rows of `tasks` that are not done."""
        return self.tasks.loc[~self.tasks["done"]].reset_index(drop=True)

    @property
    def finished_tasks(self) -> int:
        """Number of tasks done."""
        return int(self.tasks["done"].sum())


def read_progress(plan: Plan, sessions: pd.DataFrame, as_of: date) -> Progress:
    """Combine plan and log as known at the end of `as_of`.

    Parameters
    ----------
    plan : the whole plan; tasks added after `as_of` are left out
    sessions : the sessions frame of the logbook; rows that end after `as_of` are left out
    as_of : the last day that counts

    Returns
    -------
    Progress, whose `tasks` has the columns task, stage, type, crew, repeat_of, quantity (pieces),
    planned_hours (person-hours, NaN unknown), hold_days, added, started, finished, last_session,
    done, sessions (number of rows), hours_first and hours_rework (person-hours), quantity_done (pieces),
    percent (last report, NaN none), pieces_before (pieces of the same type that come earlier),
    position (rank in working order), shared_fraction (0-1, share of hours_first during which two or more
    people worked together) and idle_days (since the type was last worked on before this task began).

    A task is done when a row of its last day marks it done; a later session reopens it.

    Examples
    --------
    >>> from forecast.files.logbook import read_sessions
    >>> from forecast.files.plan import Task
    >>> plan = Plan(tasks=(Task(task="T", stage="S", title="T", planned_hours=3),))
    >>> progress = read_progress(plan, read_sessions([], None, plan)[0], date(2026, 3, 1))
    >>> progress.tasks[["task", "planned_hours", "hours_first", "done"]].values.tolist()
    [['T', 3.0, 0.0, False]]
    """
    known = plan.known_on(as_of)
    rows = _known_sessions(sessions, known, as_of)
    planned = rows.loc[rows["task"] != ""]
    tasks = _fill_untouched(_plan_columns(known).join(_logged_columns(planned), on="task"))
    tasks = tasks.assign(position=_positions(tasks))
    tasks = tasks.assign(pieces_before=_pieces_before(tasks), idle_days=_idle_days(tasks, planned))
    outside = rows.loc[rows["task"] == ""].reset_index(drop=True)
    return Progress(
        tasks=tasks, reports=_reports(planned, tasks), sessions=rows, outside=outside, as_of=as_of
    )


def _known_sessions(sessions: pd.DataFrame, known: Plan, as_of: date) -> pd.DataFrame:
    rows = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)]
    rows = rows.sort_values(_CONTENT_ORDER, kind="stable").reset_index(drop=True)
    in_plan = rows["task"].isin(list(known.by_id))
    return rows.assign(task=rows["task"].where(in_plan, ""))


def _plan_columns(plan: Plan) -> pd.DataFrame:
    tasks = plan.tasks
    return pd.DataFrame(
        {
            **{c: pd.Series([getattr(t, c) for t in tasks], dtype="str") for c in _PLAN_TEXT},
            "repeat_of": pd.Series([t.repeat_of or "" for t in tasks], dtype="str"),
            "quantity": np.array([t.quantity for t in tasks], dtype=float),
            "planned_hours": np.array([t.planned_hours for t in tasks], dtype=float),
            "hold_days": np.array([t.hold_days for t in tasks], dtype=float),
            "added": pd.to_datetime(pd.Series([t.added for t in tasks], dtype="object")).astype(
                "datetime64[us]"
            ),
        }
    )


def _logged_columns(rows: pd.DataFrame) -> pd.DataFrame:
    """Totals of the log, indexed by task."""
    first = rows["person_hours"].where(~rows["rework"], 0.0)
    split = rows.assign(
        first=first,
        redone=rows["person_hours"] - first,
        shared=first.where(rows["people"] >= 2, 0.0),
        pieces=rows["quantity"].fillna(0.0),
    )
    by_task = split.groupby("task")
    last_day = by_task["until"].transform("max")
    done = (split["done"] & (split["until"] == last_day)).groupby(split["task"]).any()
    reported = split.loc[split["percent"].notna()].groupby("task")["percent"].last()
    totals = by_task.agg(
        started=("date", "min"),
        last_session=("until", "max"),
        sessions=("hours", "size"),
        hours_first=("first", "sum"),
        hours_rework=("redone", "sum"),
        shared_hours=("shared", "sum"),
        quantity_done=("pieces", "sum"),
    )
    return totals.assign(done=done, percent=reported.reindex(totals.index))


def _fill_untouched(tasks: pd.DataFrame) -> pd.DataFrame:
    """Zeros where a task has no session."""
    hours = tasks["hours_first"].fillna(0.0)
    done = tasks["done"].eq(True)
    return tasks.assign(
        done=done,
        finished=tasks["last_session"].where(done),
        sessions=tasks["sessions"].fillna(0).astype("int64"),
        hours_first=hours,
        hours_rework=tasks["hours_rework"].fillna(0.0),
        quantity_done=tasks["quantity_done"].fillna(0.0),
        percent=tasks["percent"].astype(float),
        shared_fraction=(tasks["shared_hours"] / hours.where(hours > 0)).fillna(0.0),
    ).drop(columns="shared_hours")


def _positions(tasks: pd.DataFrame) -> np.ndarray:
    """Rank in working order: finished tasks by finish day, then those under way, then the others."""
    under_way = tasks["started"].notna() & ~tasks["done"]
    group = np.where(tasks["done"], 0, np.where(under_way, 1, 2))
    day = tasks["finished"].fillna(tasks["started"]).fillna(pd.Timestamp.min.as_unit("us"))
    order = np.lexsort((np.arange(len(tasks)), day.to_numpy(), group))
    position = np.empty(len(tasks), dtype="int64")
    position[order] = np.arange(len(tasks))
    return position


def _pieces_before(tasks: pd.DataFrame) -> pd.Series:
    ordered = tasks.sort_values("position")
    before = ordered.groupby("type")["quantity"].cumsum() - ordered["quantity"]
    return before.reindex(tasks.index)


def _idle_days(tasks: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    typed = rows[["task", "until"]].merge(tasks[["task", "type"]], on="task")
    days_worked = {k: np.unique(v) for k, v in typed.groupby("type")["until"]}
    idle = np.full(len(tasks), np.nan)
    for i, (kind, start) in enumerate(zip(tasks["type"], tasks["started"].to_numpy(), strict=True)):
        if np.isnat(start) or kind not in days_worked:
            continue
        earlier = int(np.searchsorted(days_worked[kind], start, side="left"))
        if earlier:
            idle[i] = (start - days_worked[kind][earlier - 1]) / np.timedelta64(1, "D")
    return pd.Series(idle, index=tasks.index)


def _reports(rows: pd.DataFrame, tasks: pd.DataFrame) -> pd.DataFrame:
    """One row per judged percent and per count of pieces, with the hours spent by then."""
    first = rows["person_hours"].where(~rows["rework"], 0.0)
    totals = tasks[["task", "quantity", "done", "hours_first"]]
    so_far = rows.assign(
        hours_so_far=first.groupby(rows["task"]).cumsum(),
        pieces=rows["quantity"].fillna(0.0).groupby(rows["task"]).cumsum(),
    ).merge(totals.rename(columns={"quantity": "all_pieces"}), on="task", suffixes=("", "_task"))
    so_far = so_far.assign(total_hours=so_far["hours_first"].where(so_far["done_task"]))
    judged = so_far.loc[so_far["percent"].gt(0)].assign(
        kind="percent", fraction=lambda f: (f["percent"] / 100.0).clip(upper=1.0)
    )
    counted = so_far.loc[so_far["quantity"].gt(0)].assign(
        kind="quantity", fraction=lambda f: (f["pieces"] / f["all_pieces"]).clip(upper=1.0)
    )
    columns = ["task", "date", "kind", "fraction", "hours_so_far", "total_hours"]
    both = pd.concat([judged[columns], counted[columns]])
    return both.loc[both["hours_so_far"] > 0].reset_index(drop=True)
