"""The plan: what is to be done, in which order, by how many hands.

A `Plan` is checked once, when it is read; nothing below it checks again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Literal

Crew = Literal["one", "either", "two"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """So much of a limit held from a task's start until `until` (or the task itself) is finished."""

    limit: str
    amount: float
    until: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What the shop has only so much of: temporary fasteners, bench space."""

    id: str
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One row of plan.csv."""

    task: str
    stage: str
    title: str
    type: str = "general"
    quantity: float = 1.0
    unit: str = "piece"
    planned_hours: float | None = None
    after: tuple[str, ...] = ()
    crew: Crew = "either"
    hold_days: float = 0.0
    repeat_of: str | None = None
    delivery: str | None = None
    uses: tuple[Use, ...] = ()
    added: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """A kit or part on order; `arrived` set means that it is there."""

    delivery: str
    title: str
    ordered: date | None
    lead_weeks_low: float
    lead_weeks_likely: float
    lead_weeks_high: float
    arrived: date | None = None
    late_cost_per_week: float | None = None
    early_cost_per_week: float | None = None
    needed_for: str | None = None


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The tasks in the builder's order of preference, without cycles and with known ids only."""

    tasks: tuple[Task, ...]

    @cached_property
    def by_id(self) -> dict[str, Task]:
        """Every task under its id."""
        return {t.task: t for t in self.tasks}

    @property
    def stages(self) -> tuple[str, ...]:
        """The stages in the order in which the plan first names them."""
        return tuple(dict.fromkeys(t.stage for t in self.tasks))

    def known_on(self, as_of: date) -> Plan:
        """The plan as it stood on `as_of`: tasks added later are not in it, nor is waiting for them."""
        kept = [t for t in self.tasks if t.added is None or t.added <= as_of]
        if len(kept) == len(self.tasks):
            return self
        ids = {t.task for t in kept}
        return Plan(tasks=tuple(_without_unknown(t, ids) for t in kept))


def _without_unknown(task: Task, ids: set[str]) -> Task:
    from dataclasses import replace

    return replace(
        task,
        after=tuple(a for a in task.after if a in ids),
        repeat_of=task.repeat_of if task.repeat_of in ids else None,
        uses=tuple(replace(u, until=u.until if u.until in ids else None) for u in task.uses),
    )
