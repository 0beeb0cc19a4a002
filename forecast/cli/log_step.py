"""Commands that write at the bench: log, step."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from forecast.cli.options import Folder, parse_day, say


def add_to(app: typer.Typer) -> None:
    """Register the commands of this file."""
    app.command()(log)
    app.command()(step)


def _text(name: str, words: str) -> object:
    return typer.Option(f"--{name}", help=words, show_default=False)


Day = Annotated[str, typer.Option("--date", help="Day of the session; today if not given.")]
Until = Annotated[str, _text("until", "Last day, when one row stands for several days.")]
Hours = Annotated[str, _text("hours", "Clock hours, as 2.5 or 2:30.")]
Start = Annotated[str, _text("start", "Begin, as 18:30; with --end instead of --hours.")]
End = Annotated[str, _text("end", "End, as 21:00.")]
Who = Annotated[str, _text("builders", "Who was there, as A+B; +1 for a helper without a name.")]
OnTask = Annotated[str, _text("task", "Id of the task, or some letters of its title.")]
Stage = Annotated[str, _text("stage", "Stage; for a session only when it was outside the plan.")]
Kind = Annotated[str, _text("type", "Task type; for a session only when it was outside the plan.")]
Pieces = Annotated[str, _text("quantity", "Pieces.")]
Percent = Annotated[str, _text("percent", "How far the task is now, 0 to 100.")]
Done = Annotated[bool, typer.Option("--done", help="This session finished the task.")]
Rework = Annotated[bool, typer.Option("--rework", help="The hours went into doing something again.")]
Note = Annotated[str, _text("note", "A note.")]
NewStep = Annotated[
    str,
    _text(
        "new-step", "Title of a step that is not in the plan yet: it is added, with the id that --task says."
    ),
]
Undo = Annotated[bool, typer.Option("--undo", help="Take the last change back; again: have it back.")]


def log(
    folder: Folder,
    day: Day = "",
    hours: Hours = "",
    builders: Who = "",
    task: OnTask = "",
    quantity: Pieces = "",
    percent: Percent = "",
    done: Done = False,
    rework: Rework = False,
    note: Note = "",
    start: Start = "",
    end: End = "",
    until: Until = "",
    stage: Stage = "",
    kind: Kind = "",
    new_step: NewStep = "",
    undo: Undo = False,
) -> None:
    """Add a session to the log, or take the last change back."""
    if undo:
        from forecast.files.storage import undo as take_back

        say(take_back(folder).sentence)
        return
    from forecast.files.entry import log_on_new_step, log_session

    today = date.today()
    on = parse_day(day, "--date") if day else today
    session: dict[str, str | bool | date] = {
        "day": on,
        "hours": hours, "start": start, "end": end, "builders": builders, "quantity": quantity,
        "percent": percent, "done": done, "rework": rework, "note": note, "today": today,
    }  # fmt: skip
    if until:
        session["until"] = parse_day(until, "--until")
    if new_step:
        step = {"title": new_step, "task": task, "stage": stage, "type": kind}
        for entry in log_on_new_step(folder, step=step, added=on, session=session):
            say(entry.sentence)
        say(f"To take the session back (the step stays): benchdays log {folder} --undo")
    else:
        say(log_session(folder, task=task, stage=stage, type=kind, **session).sentence)  # type: ignore[arg-type]
        say(f"To take it back: benchdays log {folder} --undo")


def step(
    folder: Folder,
    title: Annotated[str, typer.Option("--title", help="What is to be done.", show_default=False)],
    task: Annotated[str, _text("task", "Its id; the next free one if not given.")] = "",
    stage: Stage = "",
    kind: Kind = "",
    quantity: Pieces = "",
    unit: Annotated[str, _text("unit", "What a piece is.")] = "",
    planned_hours: Annotated[str, _text("planned-hours", "Person-hours by the guide or a guess.")] = "",
    after: Annotated[str, _text("after", "Ids that must be finished first, with spaces.")] = "",
    crew: Annotated[str, _text("crew", "one, either or two.")] = "",
    hold_days: Annotated[str, _text("hold-days", "Days to wait after it.")] = "",
    repeat_of: Annotated[str, _text("repeat-of", "Id of the task that it repeats.")] = "",
    delivery: Annotated[str, _text("delivery", "Id of what must have arrived.")] = "",
    uses: Annotated[str, _text("uses", "Limits held, as fasteners:120.")] = "",
    added: Annotated[str, _text("added", "Day on which it came into the plan; today if not given.")] = "",
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
    say(entry.sentence)
    say(f"To take it back: benchdays log {folder} --undo")
