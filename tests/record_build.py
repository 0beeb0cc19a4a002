"""A small build that the record's tests can hold in the hand: twelve tasks, two stages, nine months."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from forecast.files.folder import Build
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Plan, Task
from forecast.learn.progress import Progress, read_progress
from tests.conftest import sessions_frame

FIRST = date(2025, 1, 4)
LAST = date(2025, 9, 27)
TASKS = tuple(
    Task(
        task=f"T{i:02d}",
        stage="tail" if i < 7 else "wing",
        title=f"Step {i}",
        type="drill" if i % 2 else "rivet",
        planned_hours=5.0,
        delivery="K2" if i == 12 else None,
    )
    for i in range(1, 13)
)
ADDED = Task(task="X1", stage="wing", title="Came in later", planned_hours=3.0, added=date(2025, 8, 1))


def rows() -> list[dict]:
    """Two hours every Saturday, four sessions a task: nine of them done, the tenth under way."""
    log = []
    for week in range(39):
        log.append(
            {
                "date": str(FIRST + timedelta(weeks=week)),
                "hours": 2.0,
                "task": f"T{week // 4 + 1:02d}",
                "stage": "tail" if week < 24 else "wing",
                "done": week % 4 == 3,
            }
        )
    return log


def record_build(log: list[dict] | None = None, **changes) -> Build:
    """The build; `changes` replace fields of it."""
    build = Build(
        folder=Path("nowhere"),
        name="Small",
        country=None,
        builders=(Builder(id="A", weekly_hours=3.0),),
        limits=(),
        plan=Plan(tasks=(*TASKS, ADDED)),
        sessions=sessions_frame(rows() if log is None else log),
        deliveries=(
            Delivery(
                delivery="K2", title="Kit", ordered=date(2025, 5, 20), lead_weeks_low=8,
                lead_weeks_likely=10, lead_weeks_high=14, arrived=date(2025, 8, 9),
            ),
        ),
        away=(Away(builder=None, start=date(2025, 8, 4), end=date(2025, 8, 7)),),
        notices=(),
    )  # fmt: skip
    return replace(build, **changes)


def progress_of(build: Build, as_of: date = LAST) -> Progress:
    return read_progress(build.plan, build.sessions, as_of)
