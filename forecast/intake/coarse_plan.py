"""No plan yet? A coarse one from the log: one row a stage, for the builder to put hours on."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

from forecast.files.plan import Plan, Task


def coarse_plan(stages: Iterable[str], kinds: Mapping[str, str] | None = None) -> Plan:
    """One task a stage, in the order in which the stages first come; hours are left for the builder.

    `kinds` gives the task type of a stage that is mostly one kind of work.

    Examples
    --------
    >>> [(t.task, t.stage) for t in coarse_plan(["tail", "left wing", "tail"]).tasks]
    [('tail', 'tail'), ('left-wing', 'left wing')]
    """
    tasks: list[Task] = []
    for stage in dict.fromkeys(stages):
        taken = {t.task for t in tasks}
        kind = (kinds or {}).get(stage, "general")
        tasks.append(Task(task=_task_id(stage, taken), stage=stage, title=stage, type=kind))
    return Plan(tasks=tuple(tasks))


def _task_id(stage: str, taken: set[str]) -> str:
    """An id without blanks, in letters that every keyboard has where the label has any."""
    plain = unicodedata.normalize("NFKD", stage).encode("ascii", "ignore").decode()
    first = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-").lower()[:40] or "stage"
    name, number = first, 2
    while name in taken:
        name = f"{first}-{number}"
        number += 1
    return name
