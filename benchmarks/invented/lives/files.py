"""The texts of a build folder: build.toml, plan.csv, log.csv, deliveries.csv, away.csv."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from benchmarks.invented.lives.deliveries import Deliveries
from benchmarks.invented.lives.kit import Plan, Task
from benchmarks.invented.lives.records import Row
from benchmarks.invented.lives.traits import Traits

PLAN = (
    "task", "stage", "title", "type", "quantity", "unit", "planned_hours", "after", "crew", "hold_days",
    "repeat_of", "delivery", "added",
)  # fmt: skip
LOG = (
    "date", "until", "start", "hours", "builders", "task", "stage", "type", "quantity", "percent", "done",
    "rework", "note",
)  # fmt: skip
DELIVERIES = (
    "delivery", "title", "ordered", "lead_weeks_low", "lead_weeks_likely", "lead_weeks_high", "arrived",
    "needed_for",
)  # fmt: skip
BIRDS = (
    "Dunlin", "Whimbrel", "Fieldfare", "Redwing", "Siskin", "Pintail", "Garganey", "Wheatear", "Linnet",
    "Dotterel", "Sanderling", "Brambling", "Wigeon", "Hobby", "Merlin", "Shrike", "Nightjar", "Avocet",
)  # fmt: skip


def table(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """CSV text; None becomes a blank cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()


def number(value: float | None) -> str:
    """Shortest decimal text of a figure."""
    return "" if value is None else f"{value:.10g}"


def build_toml(name: str, country: str, traits: Traits, start: date, guess: float | None) -> str:
    """Text of build.toml; the plan counts as complete on the day of the first session."""
    lines = [f'name = "{name}"', f'country = "{country}"', f"plan_complete = {start.isoformat()}"]
    for person in traits.crew.builders:
        lines += ["", "[[builder]]", f'id = "{person}"']
        if guess is not None:
            lines.append(f"weekly_hours = {guess:g}")
    return "\n".join(lines) + "\n"


def plan_csv(
    plan: Plan, deliveries: Deliveries, start: date, marked: bool = True, until: int | None = None
) -> str:
    """Text of plan.csv; ``until`` leaves out rows that came after that day, ``marked`` writes ``added``."""
    if plan.rows:
        return table(PLAN, _coarse_rows(plan, deliveries))
    known = [t for t in plan.tasks if t.added is None or until is None or t.added <= until]
    known.sort(key=lambda task: (task.stage, task.added or 0, task.number))
    return table(PLAN, (_plan_row(task, plan, deliveries, start, marked) for task in known))


def _plan_row(
    task: Task, plan: Plan, deliveries: Deliveries, start: date, marked: bool
) -> tuple[object, ...]:
    needed = deliveries.of_stage.get(task.stage)
    added = start + timedelta(days=task.added) if marked and task.added is not None else None
    lot = task.quantity > 1
    return (
        task.id,
        plan.stages[task.stage],
        task.title,
        task.type,
        task.quantity if lot else None,
        task.unit if lot else None,
        number(task.planned),
        " ".join(other.id for other in task.after),
        None if task.crew == "either" else task.crew,
        number(task.hold) if task.hold else None,
        None if task.repeat_of is None else task.repeat_of.id,
        needed.id if needed is not None and not task.after else None,
        added,
    )


def _coarse_rows(plan: Plan, deliveries: Deliveries) -> Iterable[tuple[object, ...]]:
    """Rows of a coarse plan: hours are the sum of the first day's tasks, to the nearest 5 or 10."""
    seen: set[int] = set()
    for k, (stage, title) in enumerate(plan.rows):
        hours = sum(task.basis for task in plan.tasks if task.row == k and task.original)
        grid = 10 if hours > 80 else 5
        needed = deliveries.of_stage.get(stage) if stage not in seen else None
        seen.add(stage)
        planned = max(grid, grid * round(hours / grid))
        delivery = needed.id if needed is not None else None
        yield (f"R{k + 1:02d}", plan.stages[stage], title, *[None] * 3, planned, *[None] * 4, delivery, None)


def log_csv(rows: list[Row], traits: Traits) -> str:
    """Text of log.csv."""
    return table(LOG, (_log_row(row, traits) for row in rows))


def _log_row(row: Row, traits: Traits) -> tuple[object, ...]:
    p = row.piece
    named = p.task if p.task_named else None
    return (
        row.first,
        row.until,
        row.start,
        clock(row.hours) if traits.records.minutes else number(row.hours),
        None if traits.records.blank_alone and p.builders == traits.crew.builders[0] else p.builders,
        named,
        None if named or p.stage == "other" else p.stage,
        None if named else p.type,
        p.pieces if named else None,
        number(p.percent) if named and not p.done else None,
        "yes" if p.done else None,
        "yes" if p.rework else None,
        row.note,
    )


def clock(hours: float) -> str:
    """Hours as H:MM."""
    minutes = round(60 * hours)
    return f"{minutes // 60}:{minutes % 60:02d}"


def deliveries_csv(deliveries: Deliveries, plan: Plan, start: date, last: date) -> str:
    """Text of deliveries.csv as known on the last day."""
    rows = []
    for d in deliveries.all:
        ordered = None if d.ordered is None else start + timedelta(days=d.ordered)
        arrived = None if d.arrives is None else start + timedelta(days=d.arrives)
        if arrived is not None and arrived > last:
            arrived = None
        lead = (number(d.low), number(d.likely), number(d.high))
        rows.append((d.id, d.title, ordered, *lead, arrived, plan.stages[d.stage]))
    return table(DELIVERIES, rows)


def away_csv(trips: list[tuple[date, date]]) -> str:
    """Text of away.csv: the holidays that the household wrote down."""
    return table(("builder", "from", "to", "reason"), ((None, a, b, "holiday") for a, b in trips))
