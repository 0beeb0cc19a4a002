"""A coarse plan from the log, for a folder without one: one task per stage, hours left to the builder."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

from forecast.files.plan import Plan, Task
from forecast.intake.cells.labels import first_free


def coarse_plan(stages: Iterable[str], kinds: Mapping[str, str] | None = None) -> Plan:
    """Make one task per stage, in the order in which the stages first appear.

    Parameters
    ----------
    stages : stage labels
    kinds : stage that is mostly one kind of work -> its task type

    Examples
    --------
    >>> [(t.task, t.stage) for t in coarse_plan(["tail", "left wing", "tail"]).tasks]
    [('tail', 'tail'), ('left-wing', 'left wing')]
    """
    tasks: list[Task] = []
    for stage in dict.fromkeys(stages):
        kind = (kinds or {}).get(stage, "general")
        task = first_free(_id_of(stage), {t.task for t in tasks}, "{}-{}")
        tasks.append(Task(task=task, stage=stage, title=stage, type=kind))
    return Plan(tasks=tuple(tasks))


def _id_of(stage: str) -> str:
    """An id without blanks, in ASCII letters where the label has any."""
    plain = unicodedata.normalize("NFKD", stage).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-").lower()[:40] or "stage"
