"""What each task took, and how far the open ones are, as known at the end of one day.

Sessions and plan go in; one row a task comes out. Nothing dated after `as_of` is looked at, and the
order of the rows in the log does not matter: everything is sorted by what the rows say.
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


@dataclass(frozen=True, kw_only=True)
class Progress:
    """The build as it stood at the end of `as_of`.

    Attributes
    ----------
    tasks : one row a task known on that day, in plan order (columns: see `read_progress`)
    reports : one row a statement of how far a task was
    sessions : the log up to that day, sorted by what it says
    outside : the part of `sessions` that went into work outside the plan
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
        """How many tasks are done."""
        return int(self.tasks["done"].sum())


def read_progress(plan: Plan, sessions: pd.DataFrame, as_of: date) -> Progress:
    """Bring plan and log together as they stood at the end of `as_of`.

    Parameters
    ----------
    plan : the whole plan; tasks added after `as_of` are left out
    sessions : the sessions frame of the logbook; rows that end after `as_of` are left out
    as_of : the last day that counts

    Returns
    -------
    Progress, whose `tasks` has the columns task, stage, type, crew, repeat_of, quantity (pieces),
    planned_hours (person-hours, NaN unknown), hold_days, added, started, finished, last_session,
    done, sessions (rows), hours_first and hours_rework (person-hours), quantity_done (pieces),
    percent (last report, NaN none), pieces_before (pieces of the same type that come earlier),
    position (order of working), shared_fraction (0-1, share of hours_first that two or more people
    worked at once) and idle_days (since the type was last worked on before this task began).

    A task is done when the last day on which it was worked has a row that says so: a session
    after `done` opens it again.
    """
    known = plan.known_on(as_of)
    rows = _known_sessions(sessions, known, as_of)
    planned = rows.loc[rows["task"] != ""]
    tasks = _plan_columns(known)
    tasks = tasks.join(_logged_columns(planned), on="task")
    tasks = _fill_untouched(tasks)
    tasks = tasks.assign(position=_positions(tasks))
    tasks = tasks.assign(
        pieces_before=_pieces_before(tasks),
        idle_days=_idle_days(tasks, planned),
    )
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
            "task": pd.Series([t.task for t in tasks], dtype="str"),
            "stage": pd.Series([t.stage for t in tasks], dtype="str"),
            "type": pd.Series([t.type for t in tasks], dtype="str"),
            "crew": pd.Series([t.crew for t in tasks], dtype="str"),
            "repeat_of": pd.Series([t.repeat_of or "" for t in tasks], dtype="str"),
            "quantity": np.array([t.quantity for t in tasks], dtype=float),
            "planned_hours": np.array(
                [np.nan if t.planned_hours is None else t.planned_hours for t in tasks], dtype=float
            ),
            "hold_days": np.array([t.hold_days for t in tasks], dtype=float),
            "added": pd.to_datetime(pd.Series([t.added for t in tasks], dtype="object")).astype(
                "datetime64[us]"
            ),
        }
    )


def _logged_columns(rows: pd.DataFrame) -> pd.DataFrame:
    first = rows["person_hours"].where(~rows["rework"], 0.0)
    marked = rows.assign(
        first=first,
        again=rows["person_hours"] - first,
        shared=first.where(rows["people"] >= 2, 0.0),
        pieces=rows["quantity"].fillna(0.0),
    )
    by_task = marked.groupby("task")
    last_day = by_task["until"].transform("max")
    done = (marked["done"] & (marked["until"] == last_day)).groupby(marked["task"]).any()
    reported = marked.loc[marked["percent"].notna()].groupby("task")["percent"].last()
    out = by_task.agg(
        started=("date", "min"),
        last_session=("until", "max"),
        sessions=("hours", "size"),
        hours_first=("first", "sum"),
        hours_rework=("again", "sum"),
        shared_hours=("shared", "sum"),
        quantity_done=("pieces", "sum"),
    )
    return out.assign(done=done, percent=reported.reindex(out.index))


def _fill_untouched(tasks: pd.DataFrame) -> pd.DataFrame:
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
    """Finished tasks by the day they were finished, then those under way, then the untouched."""
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
    worked = {k: np.unique(v) for k, v in typed.groupby("type")["until"]}
    idle = np.full(len(tasks), np.nan)
    for i, (kind, start) in enumerate(zip(tasks["type"], tasks["started"].to_numpy(), strict=True)):
        if np.isnat(start) or kind not in worked:
            continue
        earlier = int(np.searchsorted(worked[kind], start, side="left"))
        if earlier:
            idle[i] = (start - worked[kind][earlier - 1]) / np.timedelta64(1, "D")
    return pd.Series(idle, index=tasks.index)


def _reports(rows: pd.DataFrame, tasks: pd.DataFrame) -> pd.DataFrame:
    first = rows["person_hours"].where(~rows["rework"], 0.0)
    ongoing = rows.assign(
        hours_so_far=first.groupby(rows["task"]).cumsum(),
        pieces=rows["quantity"].fillna(0.0).groupby(rows["task"]).cumsum(),
    ).merge(
        tasks[["task", "quantity", "done", "hours_first"]].rename(columns={"quantity": "all_pieces"}),
        on="task",
        suffixes=("", "_task"),
    )
    ongoing = ongoing.assign(total_hours=ongoing["hours_first"].where(ongoing["done_task"]))
    said = ongoing.loc[ongoing["percent"].gt(0)].assign(
        kind="percent", fraction=lambda f: (f["percent"] / 100.0).clip(upper=1.0)
    )
    counted = ongoing.loc[ongoing["quantity"].gt(0)].assign(
        kind="quantity", fraction=lambda f: (f["pieces"] / f["all_pieces"]).clip(upper=1.0)
    )
    columns = ["task", "date", "kind", "fraction", "hours_so_far", "total_hours"]
    both = pd.concat([said[columns], counted[columns]])
    return both.loc[both["hours_so_far"] > 0].reset_index(drop=True)
