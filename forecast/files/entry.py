"""A session or a step written down at the bench: checked like every other row, then added safely."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from forecast.errors import InputError, Problem, UsageError
from forecast.files.csv_file import format_record
from forecast.files.folder import PartialBuild, read_partial_build
from forecast.files.logbook import read_sessions
from forecast.files.plan import Plan, Task, read_plan
from forecast.files.storage import append_row, undo
from forecast.files.tables import read_table, table_schema

_NEW = "the new row"
_MOST_CANDIDATES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A row that was written: where it stands, its cells by column, and the same in one sentence."""

    file: str
    line: int
    row: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepProposal:
    """What a new step is likely to be called, and where it belongs."""

    task: str
    stage: str
    type: str


def log_session(
    folder: Path | str,
    *,
    day: date,
    hours: str = "",
    start: str = "",
    end: str = "",
    until: date | None = None,
    builders: str = "",
    task: str = "",
    stage: str = "",
    type: str = "",
    quantity: str = "",
    percent: str = "",
    done: bool = False,
    rework: bool = False,
    note: str = "",
    today: date | None = None,
) -> Entry:
    """Add one session to the log of a build folder.

    Parameters
    ----------
    day : the day of the session, not after `today` where that is given
    hours : clock hours as 2.5, 2,5 or 2:30; or give `start` and `end` as HH:MM instead
    task : an id of the plan, or some letters of a title that only one task has; blank for other work
    the others : as the columns of log.csv

    Raises
    ------
    UsageError, one line a problem, when the session cannot be; InputError when the files cannot be
    read or written. Nothing is written then.
    """
    if today is not None and max(day, until or day) > today:
        raise UsageError(f"date: {max(day, until or day)} must not lie in the future (today is {today}).")
    records = read_partial_build(folder)
    found = find_task(records.plan, task) if task else None
    row = {
        "date": day.isoformat(),
        "until": "" if until is None else until.isoformat(),
        "start": start,
        "hours": _hours(hours, start, end),
        "builders": builders or records.settings.builders[0].id,
        "task": found.task if found else "",
        "stage": stage,
        "type": type,
        "quantity": quantity,
        "percent": percent,
        "done": "yes" if done else "",
        "rework": "yes" if rework else "",
        "note": note,
    }
    _check_session(records, row)
    path = _log_file(Path(folder))
    line = append_row(path, table_schema("log"), row)
    file = path.relative_to(folder).as_posix()
    return Entry(file=file, line=line, row=row, sentence=_session_words(row, found, file, line))


def add_step(
    folder: Path | str,
    *,
    added: date,
    title: str,
    task: str = "",
    stage: str = "",
    type: str = "",
    quantity: str = "",
    unit: str = "",
    planned_hours: str = "",
    after: str = "",
    crew: str = "",
    hold_days: str = "",
    repeat_of: str = "",
    delivery: str = "",
    uses: str = "",
) -> Entry:
    """Add one task to the plan of a build folder, after the last task of its stage.

    What is left blank of `task`, `stage` and `type` is proposed by `propose_step`. `added` is the day
    on which the step came into the plan: forecasts as of an earlier day do not know it.

    Raises
    ------
    UsageError, one line a problem, when the step cannot be; InputError when the files cannot be read or
    written. Nothing is written then.
    """
    records = read_partial_build(folder)
    proposed = propose_step(records.plan, title=title, task=task, stage=stage or _stage_under_way(records))
    row = {
        "task": task or proposed.task,
        "stage": stage or proposed.stage,
        "title": title,
        "type": type or proposed.type,
        "quantity": quantity,
        "unit": unit,
        "planned_hours": planned_hours,
        "after": after,
        "crew": crew,
        "hold_days": hold_days,
        "repeat_of": repeat_of,
        "delivery": delivery,
        "uses": uses,
        "added": added.isoformat(),
    }
    _require_text(row)

    def check(data: bytes, line: int) -> None:
        table = read_table(data, "plan.csv", "plan")
        limits = {x.id: x.amount for x in records.settings.limits}
        _, problems = read_plan(table, limits=limits, deliveries=records.deliveries)
        _refuse([p for p in (*table.problems, *problems) if p.line == line])

    path = Path(folder) / "plan.csv"
    place = _last_of_stage(records, row["stage"])
    line = append_row(path, table_schema("plan"), row, after_line=place, check=check)
    words = f"{row['task']} {title}, {row['stage']}, {row['type']}"
    return Entry(file="plan.csv", line=line, row=row, sentence=f"Wrote plan.csv, line {line}: {words}.")


def log_on_new_step(
    folder: Path | str, *, step: dict[str, str], added: date, session: dict[str, str | bool | date]
) -> tuple[Entry, Entry]:
    """Add a step and a session on it: both or neither.

    `step` holds the keywords of `add_step`, `session` those of `log_session` but for the task.
    """
    first = add_step(folder, added=added, **step)
    try:
        return first, log_session(folder, task=first.row["task"], **session)  # type: ignore[arg-type]
    except (UsageError, InputError):
        undo(Path(folder))
        raise


def find_task(plan: Plan, text: str) -> Task:
    """The one task with this id, this title, or all of these words in its title.

    Raises
    ------
    UsageError that lists the candidates, or the nearest ids when there is none.

    Examples
    --------
    >>> plan = Plan(tasks=(Task(task="D1", stage="tail", title="Drill left ribs"),
    ...                    Task(task="D2", stage="tail", title="Drill right ribs")))
    >>> find_task(plan, "d2").task, find_task(plan, "left rib").task
    ('D2', 'D1')
    >>> find_task(plan, "drill")
    Traceback (most recent call last):
    forecast.errors.UsageError: task: 'drill' may be D1 (Drill left ribs) or D2 (Drill right ribs): say which.
    """
    if text in plan.by_id:
        return plan.by_id[text]
    wanted = text.casefold().split()
    same_id = [t for t in plan.tasks if [t.task.casefold()] == wanted]
    same_title = [t for t in plan.tasks if t.title.casefold().split() == wanted]
    within = [t for t in plan.tasks if all(word in t.title.casefold() for word in wanted)]
    for candidates in (same_id, same_title, within):
        if len(candidates) == 1:
            return candidates[0]
        if candidates:
            raise UsageError(f"task: {text!r} may be {_or(candidates)}: say which.")
    near = set(difflib.get_close_matches(text, plan.by_id, n=3))
    hint = _or([t for t in plan.tasks if t.task in near]) if near else "`benchdays step` adds one"
    raise UsageError(f"task: {text!r} is no task of plan.csv: {'did you mean ' if near else ''}{hint}.")


def propose_step(plan: Plan, *, title: str, task: str = "", stage: str = "") -> StepProposal:
    """An id, a stage and a type for a new step, from what the plan calls its other steps.

    An id of numbers in parts (section-page-step) says the stage by the section it shares with others.

    Examples
    --------
    >>> plan = Plan(tasks=(Task(task="12-03-04", stage="tail", title="Drill left ribs", type="drill"),))
    >>> propose_step(plan, title="Drill right ribs")
    StepProposal(task='12-03-05', stage='tail', type='drill')
    >>> propose_step(plan, title="Fit the door", task="12-09-01")
    StepProposal(task='12-09-01', stage='tail', type='general')
    """
    stage = _stage_of_section(plan, task) or stage or (plan.stages[0] if plan.tasks else "build")
    return StepProposal(task=task or _next_id(plan, stage), stage=stage, type=_likely_type(plan, title))


def _hours(hours: str, start: str, end: str) -> str:
    """The hours as given, or the time from start to end, past midnight if need be."""
    if hours:
        if end:
            raise UsageError("hours: give either hours, or start and end.")
        return re.sub(r"^(\d+),(\d\d?)$", r"\1.\2", hours)
    if not (start and end):
        raise UsageError("hours: give hours, as 2.5 or 2:30, or start and end, as 18:30.")
    minutes = (_clock(end, "end") - _clock(start, "start")) % (24 * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _clock(text: str, column: str) -> int:
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text, re.ASCII):
        raise UsageError(f"{column}: {text!r} must be a time of day as HH:MM.")
    at = datetime.strptime(text, "%H:%M")
    return at.hour * 60 + at.minute


def _require_text(row: dict[str, str]) -> None:
    for column, text in row.items():
        if "\0" in text or any("\ud800" <= c <= "\udfff" for c in text):
            raise UsageError(f"{column}: holds characters that are not text.")


def _as_file(row: dict[str, str]) -> bytes:
    return "\n".join([format_record(list(row), ","), format_record(list(row.values()), ",")]).encode()


def _check_session(records: PartialBuild, row: dict[str, str]) -> None:
    """Refuse a session that makes a problem which the log does not have without it."""
    _require_text(row)
    builders, plan = records.settings.builders, records.plan
    new = read_table(_as_file(row), _NEW, "log")
    logs = [table.only(table.frame["task"] == row["task"]) for table in records.logs] if row["task"] else []
    _, before, _ = read_sessions(logs, builders, plan)
    _, after, _ = read_sessions([*logs, new], builders, plan)
    known = set(before)
    _refuse([*new.problems, *(p for p in after if p not in known)])


def _refuse(problems: Sequence[Problem]) -> None:
    if problems:
        raise UsageError("\n".join(_without_place(p) for p in problems))


def _without_place(problem: Problem) -> str:
    """A row not yet written stands nowhere: its column and value are enough."""
    return str(problem).removeprefix(f"{problem.file}, line {problem.line}, ")


def _log_file(folder: Path) -> Path:
    """log.csv, or the last file of the folder log/ where there is only that."""
    files = sorted(p for p in (folder / "log").glob("*.csv") if p.name[0] not in ".~")
    return files[-1] if files and not (folder / "log.csv").exists() else folder / "log.csv"


def _session_words(row: dict[str, str], task: Task | None, file: str, line: int) -> str:
    what = f"{task.task} {task.title}" if task else " ".join(filter(None, [row["stage"], row["type"]]))
    words = [
        row["date"] + (f" to {row['until']}" if row["until"] else ""),
        f"{row['hours']} h by {row['builders']}",
        what or "outside the plan",
        f"{row['quantity']} pieces" if row["quantity"] else "",
        f"at {row['percent']} %" if row["percent"] else "",
        "done" if row["done"] else "",
        "rework" if row["rework"] else "",
    ]
    return f"Wrote {file}, line {line}: {', '.join(filter(None, words))}."


def _or(tasks: Sequence[Task]) -> str:
    named = [f"{t.task} ({t.title})" for t in tasks[:_MOST_CANDIDATES]]
    if len(tasks) > _MOST_CANDIDATES:
        return f"{', '.join(named)} or {len(tasks) - _MOST_CANDIDATES} more"
    return " or ".join(filter(None, [", ".join(named[:-1]), named[-1]]))


def _stage_under_way(records: PartialBuild) -> str:
    """The stage of the task that was worked on last."""
    sessions, _, _ = read_sessions(records.logs, records.settings.builders, records.plan)
    planned = sessions.loc[sessions["task"].isin(list(records.plan.by_id))]
    return "" if planned.empty else str(planned["stage"].iloc[-1])


def _last_of_stage(records: PartialBuild, stage: str) -> int | None:
    return max((records.plan_lines[t.task] for t in records.plan.tasks if t.stage == stage), default=None)


def _sections(task: str) -> list[str]:
    return re.split(r"[-./]", task)


def _stage_of_section(plan: Plan, task: str) -> str:
    """The stage of the steps with which an id shares most of its first parts, if any."""

    def shared(other: str) -> int:
        same = [a == b for a, b in zip(_sections(task), _sections(other), strict=False)]
        return (*same, False).index(False)

    best = max(plan.tasks, key=lambda t: shared(t.task), default=None)
    return best.stage if best is not None and task and shared(best.task) else ""


def _next_id(plan: Plan, stage: str) -> str:
    """The id after the last one of the stage: its last number counted on until it is free."""
    last = [t.task for t in plan.tasks if t.stage == stage]
    stem = last[-1] if last else f"{re.sub(r'[^0-9A-Za-z]+', '-', stage).strip('-') or 'step'}-0"
    counted = re.fullmatch(r"(.*?)(\d+)", stem)
    head, number = (counted[1], counted[2]) if counted else (f"{stem}-", "1")
    following = (
        f"{head}{n:0{len(number)}d}" for n in range(int(number) + 1, int(number) + 2 + len(plan.tasks))
    )
    return next(task for task in following if task not in plan.by_id)


def _likely_type(plan: Plan, title: str) -> str:
    """The type that the title names, or that of the task whose title shares most words with it."""
    words = set(re.findall(r"[^\W\d_]{4,}", title.casefold()))
    types = dict.fromkeys(t.type for t in plan.tasks if t.type != "general")
    for kind in types:
        if len(kind) >= 3 and re.search(rf"\b{re.escape(kind.casefold()[:5])}", title.casefold()):
            return kind

    def alike(task: Task) -> int:
        return len(words & set(re.findall(r"[^\W\d_]{4,}", task.title.casefold())))

    best = max(plan.tasks, key=alike, default=None)
    return best.type if best is not None and alike(best) >= 2 else "general"
