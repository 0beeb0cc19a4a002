"""A session or a step entered at the bench: validated like every other row, then appended safely."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from forecast.errors import InputError, Problem, UsageError
from forecast.files.csv_file import format_record, require_text
from forecast.files.folder import PartialBuild, log_files, read_partial_build
from forecast.files.logbook import read_sessions
from forecast.files.plan import Plan, Task, read_plan
from forecast.files.storage import append_row, undo
from forecast.files.tables import read_table, table_schema

_MOST_CANDIDATES = 8  # tasks that a message lists: judgement, about one line each


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A row that was written.

    Attributes
    ----------
    file, line : where it is
    row : texts by column
    sentence : the same in words
    """

    file: str
    line: int
    row: dict[str, str]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepProposal:
    """Likely id, stage and type of a new step."""

    task: str
    stage: str
    type: str


def log_session(
    folder: Path | str,
    *,
    day: date,
    until: date | None = None,
    start: str = "",
    end: str = "",
    hours: str = "",
    builders: str = "",
    task: str = "",
    done: bool = False,
    rework: bool = False,
    today: date | None = None,
    **others: str,
) -> Entry:
    """Add one session to the log of a build folder.

    Parameters
    ----------
    folder : path of the build folder
    day, until : first and last day of the session, neither after `today` where that is given
    hours : clock hours as 2.5, 2,5 or 2:30; or give `start` and `end` as HH:MM instead
    builders : as in log.csv; blank for the first builder of build.toml
    task : an id of the plan, or part of a title that only one task has; blank for work outside the plan
    done, rework : whether the session finished the task, and whether it was rework
    others : further columns of log.csv (stage, type, quantity, percent, note)

    Raises
    ------
    UsageError : one line per problem, when the session cannot be right
    InputError : when the files cannot be read or written; nothing is written in either case
    """
    last = max(day, until or day)
    if today is not None and last > today:
        raise UsageError(f"date: {last} must not lie in the future (today is {today}).")
    build = read_partial_build(folder)
    found = find_task(build.plan, task) if task else None
    row = _new_row(
        "log",
        others,
        date=day.isoformat(),
        until="" if until is None else until.isoformat(),
        start=start,
        hours=_hours(hours, start, end),
        builders=builders or build.settings.builders[0].id,
        task=found.task if found else "",
        done="yes" if done else "",
        rework="yes" if rework else "",
    )
    _check_session(build, row)
    path = _log_file(Path(folder))
    line = append_row(path, table_schema("log"), row)
    file = path.relative_to(folder).as_posix()
    return Entry(file=file, line=line, row=row, sentence=_session_sentence(row, found, file, line))


def add_step(
    folder: Path | str,
    *,
    added: date,
    title: str,
    task: str = "",
    stage: str = "",
    type: str = "",
    **others: str,
) -> Entry:
    """Add one task to the plan of a build folder, after the last task of its stage.

    Parameters
    ----------
    folder : path of the build folder
    added : day on which the step came into the plan; forecasts as of an earlier day do not include it
    title : what is to be done
    task, stage, type : as in plan.csv; `propose_step` fills in what is blank
    others : further columns of plan.csv (quantity, unit, planned_hours, after, crew, hold_days, ...)

    Raises
    ------
    UsageError : one line per problem, when the step cannot be right
    InputError : when the files cannot be read or written; nothing is written in either case
    """
    build = read_partial_build(folder)
    proposed = propose_step(build.plan, title=title, task=task, stage=stage or _stage_under_way(build))
    row = _new_row(
        "plan",
        others,
        task=task or proposed.task,
        stage=stage or proposed.stage,
        title=title,
        type=type or proposed.type,
        added=added.isoformat(),
    )
    require_text(row)

    def check(data: bytes, line: int) -> None:
        table = read_table(data, "plan.csv", "plan")
        limits = {x.id: x.amount for x in build.settings.limits}
        _, problems = read_plan(table, limits=limits, deliveries=build.deliveries)
        _refuse([p for p in (*table.problems, *problems) if p.line == line])

    lines_of_stage = [build.plan_lines[t.task] for t in build.plan.tasks if t.stage == row["stage"]]
    last = max(lines_of_stage, default=None)
    line = append_row(Path(folder) / "plan.csv", table_schema("plan"), row, after_line=last, check=check)
    words = f"{row['task']} {title}, {row['stage']}, {row['type']}"
    return Entry(file="plan.csv", line=line, row=row, sentence=f"Wrote plan.csv, line {line}: {words}.")


def log_on_new_step(
    folder: Path | str, *, step: dict[str, str], added: date, session: dict[str, str | bool | date]
) -> tuple[Entry, Entry]:
    """Add a step and a session on it: both or neither.

    Parameters
    ----------
    folder : path of the build folder
    step : keyword arguments of `add_step`
    added : day on which the step came into the plan
    session : keyword arguments of `log_session`, without the task

    Raises
    ------
    UsageError, InputError : as `add_step` and `log_session` do; the step is undone when the session fails
    """
    first = add_step(folder, added=added, **step)
    try:
        return first, log_session(folder, task=first.row["task"], **session)  # type: ignore[arg-type]
    except (UsageError, InputError):
        undo(Path(folder))
        raise


def find_task(plan: Plan, text: str) -> Task:
    """Find the one task with this id, this title, or all of these words in its title.

    Parameters
    ----------
    plan : the plan
    text : an id, a title, or words of a title; case does not matter

    Raises
    ------
    UsageError : lists the candidates, or the nearest ids when nothing matches

    Examples
    --------
    >>> plan = Plan(tasks=(Task(task="D1", stage="tail", title="Drill left ribs"),
    ...                    Task(task="D2", stage="tail", title="Rivet ribs")))
    >>> find_task(plan, "d2").task, find_task(plan, "left rib").task
    ('D2', 'D1')
    >>> find_task(plan, "rib")
    Traceback (most recent call last):
    forecast.errors.UsageError: task: 'rib' matches D1 (Drill left ribs) or D2 (Rivet ribs): give the id.
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
            raise UsageError(f"task: {text!r} matches {_or(candidates)}: give the id.")
    near = set(difflib.get_close_matches(text, plan.by_id, n=3))
    nearest = [t for t in plan.tasks if t.task in near]
    hint = f"did you mean {_or(nearest)}?" if near else "`benchdays step` adds one."
    raise UsageError(f"task: {text!r} is not a task of plan.csv: {hint}")


def propose_step(plan: Plan, *, title: str, task: str = "", stage: str = "") -> StepProposal:
    """Propose an id, a stage and a type for a new step, following the names that the plan uses.

    An id in parts (section-page-step) belongs to the stage of the tasks that share its first parts.

    Parameters
    ----------
    plan : the plan
    title : title of the new step
    task, stage : its id and stage, where the builder has chosen them

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


def _new_row(table: str, others: Mapping[str, str], **cells: str) -> dict[str, str]:
    """A row with every column of the table; what is not given is blank."""
    columns = table_schema(table).columns
    unknown = [name for name in others if name not in columns]
    if unknown:
        raise TypeError(f"{table}.csv has no column {unknown[0]!r}.")
    return {**dict.fromkeys(columns, ""), **others, **cells}


def _hours(hours: str, start: str, end: str) -> str:
    """The hours as given, or the time from start to end, past midnight if need be."""
    if hours:
        if end:
            raise UsageError("hours: give either hours, or start and end.")
        # A decimal comma becomes a point, because a comma separates the cells of most log files.
        return re.sub(r"^(\d+),(\d\d?)$", r"\1.\2", hours)
    if not (start and end):
        raise UsageError("hours: give hours, as 2.5 or 2:30, or start and end, as 18:30.")
    minutes = (_minute_of_day(end, "end") - _minute_of_day(start, "start")) % (24 * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _minute_of_day(text: str, column: str) -> int:
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text, re.ASCII):
        raise UsageError(f"{column}: {text!r} must be a time of day as HH:MM.")
    hour, minute = map(int, text.split(":"))
    return hour * 60 + minute


def _check_session(build: PartialBuild, row: dict[str, str]) -> None:
    """Refuse a session that causes a problem which the log does not have without it."""
    require_text(row)
    data = "\n".join([format_record(list(row), ","), format_record(list(row.values()), ",")]).encode()
    new = read_table(data, "the new row", "log")
    # Only sessions on the same task can contradict the new one (done twice).
    logs = [table.only(table.frame["task"] == row["task"]) for table in build.logs] if row["task"] else []
    _, before, _ = read_sessions(logs, build.settings.builders, build.plan)
    _, after, _ = read_sessions([*logs, new], build.settings.builders, build.plan)
    known = set(before)
    _refuse([*new.problems, *(p for p in after if p not in known)])


def _refuse(problems: Sequence[Problem]) -> None:
    if problems:
        raise UsageError("\n".join(p.without_place for p in problems))


def _log_file(folder: Path) -> Path:
    """log.csv, or the last file of the folder log/ where there is only that."""
    files = log_files(folder)
    whole = folder / "log.csv"
    return files[-1] if files and whole not in files else whole


def _session_sentence(row: dict[str, str], task: Task | None, file: str, line: int) -> str:
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
    """Tasks as alternatives: A, B or C."""
    named = [f"{t.task} ({t.title})" for t in tasks[:_MOST_CANDIDATES]]
    if len(tasks) > _MOST_CANDIDATES:
        named.append(f"{len(tasks) - _MOST_CANDIDATES} more")
    return " or ".join(filter(None, [", ".join(named[:-1]), named[-1]]))


def _stage_under_way(build: PartialBuild) -> str:
    """The stage of the task that was worked on last."""
    sessions, _, _ = read_sessions(build.logs, build.settings.builders, build.plan)
    planned = sessions.loc[sessions["task"].isin(list(build.plan.by_id))]
    return "" if planned.empty else str(planned["stage"].iloc[-1])


def _stage_of_section(plan: Plan, task: str) -> str:
    """The stage of the tasks that share most leading parts with an id, or ""."""

    def shared(other: Task) -> int:
        parts, others = (re.split(r"[-./]", t) for t in (task, other.task))
        same = [a == b for a, b in zip(parts, others, strict=False)]
        return (*same, False).index(False)

    best = max(plan.tasks, key=shared, default=None)
    return best.stage if best is not None and task and shared(best) else ""


def _next_id(plan: Plan, stage: str) -> str:
    """The id after the last one of the stage: its last number counted up until the id is free."""
    last = [t.task for t in plan.tasks if t.stage == stage]
    stem = last[-1] if last else f"{re.sub(r'[^0-9A-Za-z]+', '-', stage).strip('-') or 'step'}-0"
    counted = re.fullmatch(r"(.*?)(\d+)", stem)
    head, number = (counted[1], counted[2]) if counted else (f"{stem}-", "1")
    # One more candidate than there are tasks, so that one of them is free.
    numbers = range(int(number) + 1, int(number) + 2 + len(plan.tasks))
    candidates = (f"{head}{n:0{len(number)}d}" for n in numbers)
    return next(task for task in candidates if task not in plan.by_id)


def _likely_type(plan: Plan, title: str) -> str:
    """The type that the title names, or that of the task whose title shares most words with it."""
    types = dict.fromkeys(t.type for t in plan.tasks if t.type != "general")
    for kind in types:
        # Five letters, so that "drilling" and "drilled" name the type drill.
        if len(kind) >= 3 and re.search(rf"\b{re.escape(kind.casefold()[:5])}", title.casefold()):
            return kind
    words = _long_words(title)

    def shared(task: Task) -> int:
        return len(words & _long_words(task.title))

    best = max(plan.tasks, key=shared, default=None)
    return best.type if best is not None and shared(best) >= 2 else "general"  # one word may be chance


def _long_words(title: str) -> set[str]:
    """Words of four letters or more: shorter ones say little about the work."""
    return set(re.findall(r"[^\W\d_]{4,}", title.casefold()))
