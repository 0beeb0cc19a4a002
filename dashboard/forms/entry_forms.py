"""The forms that write: a session, a task, a corrected row. Each reports what it wrote, or why not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard.markup import plain
from dashboard.server.opening import opened
from dashboard.work.reading import LogReading
from forecast.errors import BenchdaysError
from forecast.files.amend import LogRow, change_row, remove_row
from forecast.files.entry import add_step, log_session, propose_step
from forecast.files.folder import PartialBuild
from forecast.files.plan import Plan, Task
from forecast.files.tables import table_schema

OUTSIDE = ""
# The lengths of most sessions; any other goes into the field "Other hours".
_HOURS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0)
_MOST_RECENT = 6  # more tasks in progress than that are rare, and all are in the list below


def session_form(log: LogReading) -> None:
    """Add a session: two taps where everything else is as last time."""
    records, sessions = log.records, log.sessions
    tasks = task_order(records.plan, sessions)
    count = st.session_state.setdefault("sessions_written", 0)
    today = date.today()
    with st.form(f"session_{count}", border=False):
        hours = st.pills(
            "Hours", _HOURS, format_func=lambda h: f"{h:g}", key=f"hours_{count}", width="stretch"
        )
        task = st.selectbox(
            "Task", tasks, format_func=lambda t: task_words(records.plan, t), key=f"task_{count}"
        )
        left, right = st.columns(2)
        day = left.date_input("Day", value=today, max_value=today, format="YYYY-MM-DD", key=f"day_{count}")
        who = _choose_builders(records, sessions, right, count)
        done = st.checkbox("This finished the task", key=f"done_{count}")
        saved = st.form_submit_button("Save", type="primary", width="stretch", key=f"save_{count}")
        with st.expander("More: pieces, other hours, helpers, rework, a note"):
            more = _rare_fields(count)
    if saved:
        helpers = f"+{more['helpers']}" if more["helpers"] else ""
        entry = {
            "hours": str(more["hours"] or ("" if hours is None else f"{hours:g}")),
            "builders": f"{who}{helpers}",
            "task": task or "",
            "stage": "" if task else str(more["stage"]),
            "type": "" if task else str(more["type"]),
            "quantity": str(more["quantity"]),
            "percent": str(more["percent"]),
            "note": str(more["note"]),
        }
        flags = {"done": done, "rework": bool(more["rework"])}
        _write(
            lambda: log_session(opened().folder, day=day, today=today, **entry, **flags).sentence,
            "sessions_written",
        )


def _choose_builders(records: PartialBuild, sessions: pd.DataFrame, place: DeltaGenerator, count: int) -> str:
    """Who was there; with one builder there is nothing to ask."""
    ids = [b.id for b in records.settings.builders]
    if len(ids) == 1:
        return ids[0]
    last = sessions["builders"].iloc[-1].split("+") if len(sessions) else ids[:1]
    names = place.pills(
        "Who", ids, selection_mode="multi", default=[i for i in last if i in ids], format_func=plain,
        key=f"who_{count}", width="stretch",
    )  # fmt: skip
    return "+".join(names)


def _rare_fields(count: int) -> dict[str, str | int | bool]:
    """What most sessions leave blank."""
    left, right = st.columns(2)
    return {
        "quantity": left.text_input("Pieces finished", key=f"pieces_{count}"),
        "percent": right.text_input("Progress of the task, in %", key=f"percent_{count}"),
        "hours": left.text_input("Other hours, as 2:15", key=f"other_hours_{count}"),
        "helpers": right.number_input("Helpers without a name", 0, 9, 0, key=f"helpers_{count}"),
        "stage": left.text_input("Stage, for work outside the plan", key=f"stage_{count}"),
        "type": right.text_input("Type, for work outside the plan", key=f"type_{count}"),
        "rework": st.checkbox("Rework: the hours went into doing something again", key=f"rework_{count}"),
        "note": st.text_input("Note", key=f"note_{count}"),
    }


def step_form(records: PartialBuild) -> None:
    """Add a task to the plan."""
    plan = records.plan
    count = st.session_state.setdefault("steps_written", 0)
    with st.form(f"step_{count}", border=False):
        title = st.text_input("Title", key=f"step_title_{count}")
        left, right = st.columns(2)
        stage = left.selectbox(
            "Stage", list(plan.stages), accept_new_options=True, index=None, key=f"step_stage_{count}"
        )
        task = right.text_input("Id, if the manual gives one", key=f"step_id_{count}")
        hours = left.text_input("Planned hours, by the guide or a guess", key=f"step_hours_{count}")
        after = right.text_input("After which tasks (ids)", key=f"step_after_{count}")
        if st.form_submit_button("Add to the plan", width="stretch", key=f"save_step_{count}"):
            proposed = propose_step(plan, title=title, task=task, stage=stage or "")
            entry = {
                "title": title or task or proposed.task,
                "task": task,
                "stage": stage or "",
                "planned_hours": hours,
                "after": after,
            }
            _write(lambda: add_step(opened().folder, added=date.today(), **entry).sentence, "steps_written")


def change_form(row: LogRow) -> None:
    """Change or delete one row of the log."""
    columns = table_schema("log").columns
    # With the cells in its key the form shows a row anew once another program has changed it.
    key = f"{row.file}_{row.line}_{abs(hash(tuple(row.cells.items())))}"
    with st.form(f"change_{key}", border=True):
        sides = st.columns(2)
        texts = {
            column: sides[i % 2].text_input(
                column.capitalize(), value=row.cells.get(column, ""), key=f"cell_{column}_{key}"
            )
            for i, column in enumerate(columns)
        }
        changed = st.form_submit_button("Save the change", width="stretch", key=f"save_change_{key}")
        deleted = st.form_submit_button("Delete the row", width="stretch", key=f"delete_{key}")
    if changed:
        differing = {c: text for c, text in texts.items() if text != row.cells.get(c, "")}
        _write(lambda: _change(row, differing))
    if deleted:
        _write(lambda: _delete(row))


def _change(row: LogRow, differing: dict[str, str]) -> str:
    line = change_row(opened().folder, row, differing)
    return f"{row.file}, line {line}: {', '.join(differing) or 'nothing'} changed."


def _delete(row: LogRow) -> str:
    remove_row(opened().folder, row)
    return f"{row.file}: deleted line {row.line}."


def _write(write: Callable[[], str], counter: str = "") -> None:
    """Write, then report it on a new page; or show in place why it was refused.

    Parameters
    ----------
    write : writes and returns the sentence that reports it
    counter : of the session state; counting on clears the form
    """
    try:
        st.session_state["notice"] = write()
    except BenchdaysError as error:
        for line in str(error).splitlines():
            st.error(plain(line))
        return
    if counter:
        st.session_state[counter] += 1
    st.rerun()


def task_order(plan: Plan, sessions: pd.DataFrame) -> list[str]:
    """Task ids, the likeliest first: the last one worked on, earlier ones, the next ones, the finished ones.

    Where the last task is finished, the first open task of its stage comes first. `OUTSIDE` follows the
    recent tasks.

    Parameters
    ----------
    plan : the plan
    sessions : the log, in order of time
    """
    done = _finished_tasks(sessions)
    worked = [t for t in dict.fromkeys(reversed(sessions["task"].to_list())) if t in plan.by_id]
    recent = [t for t in worked if t not in done][:_MOST_RECENT]
    untouched = [t.task for t in plan.tasks if t.task not in done and t.task not in recent]
    if worked and worked[0] in done:
        stage = plan.by_id[worked[0]].stage
        recent = [*[t for t in untouched if plan.by_id[t].stage == stage][:1], *recent]
    first = recent or untouched[:1]
    rest = [t for t in untouched if t not in first]
    return [*first, OUTSIDE, *rest, *(t.task for t in plan.tasks if t.task in done)]


def _finished_tasks(sessions: pd.DataFrame) -> set[str]:
    planned = sessions.loc[sessions["task"] != ""]
    last = planned.groupby("task")["until"].transform("max")
    return set(planned.loc[planned["done"] & (planned["until"] == last), "task"])


def task_words(plan: Plan, task: str) -> str:
    """A task as an entry of the list."""
    if task == OUTSIDE:
        return "Work outside the plan"
    found: Task = plan.by_id[task]
    return found.task if found.title == found.task else f"{found.title} ({found.task})"
