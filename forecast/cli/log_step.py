"""Commands that write at the bench: log, step."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from forecast.cli.options import Folder, parse_day, text_option
from forecast.cli.output import print_line

Day = Annotated[str, text_option("date", "Day of the session (default: today).", "DATE")]
Until = Annotated[str, text_option("until", "Last day of a session over several days.", "DATE")]
Hours = Annotated[str, text_option("hours", "Clock hours, as 2.5 or 2:30.", "HOURS")]
Start = Annotated[str, text_option("start", "Start time, as 18:30; use with --end.", "HH:MM")]
End = Annotated[str, text_option("end", "End time, as 21:00; replaces --hours.", "HH:MM")]
Who = Annotated[str, text_option("builders", "Builders, as A+B or A+1 (default: the first builder).", "IDS")]
OnTask = Annotated[str, text_option("task", "Id of the task or part of its title.", "TASK")]
LogStage = Annotated[str, text_option("stage", "Stage of work outside the plan.")]
LogType = Annotated[str, text_option("type", "Task type of work outside the plan.")]
DonePieces = Annotated[str, text_option("quantity", "Pieces finished in this session.", "N")]
Percent = Annotated[str, text_option("percent", "Progress of the task after this session, 0 to 100.", "N")]
Done = Annotated[bool, typer.Option("--done", help="Mark the task as finished.")]
Rework = Annotated[bool, typer.Option("--rework", help="Mark the hours as rework.")]
Note = Annotated[str, text_option("note", "Note.")]
NewStep = Annotated[str, text_option("new-step", "Title of a task to add to the plan; --task is its id.")]
Undo = Annotated[bool, typer.Option("--undo", help="Undo the last change; run again to redo it.")]

Title = Annotated[str, text_option("title", "Title of the task.")]
NewTask = Annotated[str, text_option("task", "Id of the task (default: the next free id).", "ID")]
StepStage = Annotated[str, text_option("stage", "Stage the task belongs to (default: current).")]
StepType = Annotated[str, text_option("type", "Task type (default: guessed from the title).")]
Pieces = Annotated[str, text_option("quantity", "Pieces in the task (default: 1).", "N")]
Unit = Annotated[str, text_option("unit", "What a piece is (default: piece).")]
PlannedHours = Annotated[
    str, text_option("planned-hours", "Person-hours by guide or guess (default: unknown).", "HOURS")
]
After = Annotated[str, text_option("after", "Ids of the predecessors, separated by spaces.", "IDS")]
Crew = Annotated[str, text_option("crew", "Crew: one, either or two (default: either).", "CREW")]
HoldDays = Annotated[str, text_option("hold-days", "Days to wait after the task (default: 0).", "DAYS")]
RepeatOf = Annotated[str, text_option("repeat-of", "Id of the earlier task that it repeats.", "ID")]
Delivery = Annotated[str, text_option("delivery", "Id of the delivery that it needs.", "ID")]
Uses = Annotated[str, text_option("uses", "Shop limits it draws on, as fasteners:120.")]
Added = Annotated[str, text_option("added", "Day on which it joined the plan (default: today).", "DATE")]


def log(
    folder: Folder,
    day: Day = "",
    hours: Hours = "",
    builders: Who = "",
    task: OnTask = "",
    quantity: DonePieces = "",
    percent: Percent = "",
    done: Done = False,
    rework: Rework = False,
    note: Note = "",
    start: Start = "",
    end: End = "",
    until: Until = "",
    stage: LogStage = "",
    kind: LogType = "",
    new_step: NewStep = "",
    undo: Undo = False,
) -> None:
    """Add a session to the log, or undo the last change."""
    if undo:
        _undo(folder)
        return
    from forecast.files.entry import log_on_new_step, log_session

    today = date.today()
    on = parse_day(day, "--date") if day else today
    session: dict[str, str | bool | date] = {
        "day": on, "hours": hours, "start": start, "end": end, "builders": builders, "quantity": quantity,
        "percent": percent, "done": done, "rework": rework, "note": note, "today": today,
    }  # fmt: skip
    if until:
        session["until"] = parse_day(until, "--until")
    if new_step:
        step = {"title": new_step, "task": task, "stage": stage, "type": kind}
        for entry in log_on_new_step(folder, step=step, added=on, session=session):
            print_line(entry.sentence)
        print_line(f"To undo the session (the step remains): benchdays log {folder} --undo")
    else:
        print_line(log_session(folder, task=task, stage=stage, type=kind, **session).sentence)  # type: ignore[arg-type]
        _explain_undo(folder)


def _undo(folder: Path) -> None:
    from forecast.files.storage import undo

    print_line(undo(folder).sentence)


def _explain_undo(folder: Path) -> None:
    print_line(f"To undo: benchdays log {folder} --undo")


def step(
    folder: Folder,
    title: Title,
    task: NewTask = "",
    stage: StepStage = "",
    kind: StepType = "",
    quantity: Pieces = "",
    unit: Unit = "",
    planned_hours: PlannedHours = "",
    after: After = "",
    crew: Crew = "",
    hold_days: HoldDays = "",
    repeat_of: RepeatOf = "",
    delivery: Delivery = "",
    uses: Uses = "",
    added: Added = "",
) -> None:
    """Add a task to the plan."""
    from forecast.files.entry import add_step

    entry = add_step(
        folder,
        added=parse_day(added, "--added") if added else date.today(),
        title=title, task=task, stage=stage, type=kind, quantity=quantity, unit=unit,
        planned_hours=planned_hours, after=after, crew=crew, hold_days=hold_days, repeat_of=repeat_of,
        delivery=delivery, uses=uses,
    )  # fmt: skip
    print_line(entry.sentence)
    _explain_undo(folder)
