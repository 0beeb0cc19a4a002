"""The plan: what is to be done, in which order, by how many hands.

A `Plan` is checked once, when it is read; nothing below it checks again.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from forecast.errors import Problem
from forecast.files.tables import read_number

if TYPE_CHECKING:
    from forecast.files.tables import CheckedTable

_USE = re.compile(r"(?P<limit>[^\s:@]+):(?P<amount>[^\s:@]+)(?:@(?P<until>\S+))?")

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


def read_plan(
    table: CheckedTable,
    *,
    limits: Mapping[str, float] | None = None,
    deliveries: Collection[str] | None = None,
) -> tuple[Plan, list[Problem]]:
    """The plan of a plan.csv table, and everything wrong between its rows.

    Parameters
    ----------
    table : plan.csv as `read_table` gives it; its own problems are not repeated here
    limits : the amount of each limit of build.toml, or None when that file could not be read
    deliveries : the ids of deliveries.csv, or None when that file could not be read
    """
    problems: list[Problem] = []
    uses = _read_uses(table, limits, problems)
    rows = table.frame.to_dict("records")
    tasks = tuple(_task(row, held) for row, held in zip(rows, uses, strict=True))
    ids = {t.task for t in tasks}
    for row, task in enumerate(tasks):
        for other in task.after:
            if other not in ids:
                problems.append(_unknown(table, row, "after", other, "ids of plan.csv, space-separated"))
        if task.repeat_of is not None and task.repeat_of not in ids:
            problems.append(_unknown(table, row, "repeat_of", task.repeat_of, "an id of plan.csv"))
        if task.delivery is not None and deliveries is not None and task.delivery not in deliveries:
            problems.append(_unknown(table, row, "delivery", task.delivery, "an id of deliveries.csv"))
    problems += _circles(table, "after", [(t.task, t.after) for t in tasks])
    problems += _circles(table, "repeat_of", [(t.task, (t.repeat_of,) if t.repeat_of else ()) for t in tasks])
    return Plan(tasks=tasks), problems


def read_deliveries(
    table: CheckedTable, stages: Collection[str] | None = None
) -> tuple[tuple[Delivery, ...], list[Problem]]:
    """The deliveries of a deliveries.csv table, and everything wrong between its cells.

    `stages` are the stages of the plan, or None when the plan could not be read.
    """
    f = table.frame
    weeks = ["lead_weeks_low", "lead_weeks_likely", "lead_weeks_high"]
    problems: list[Problem] = []
    for column in weeks:
        blank = np.array([not c for c in table.cells[column]], dtype=bool) & f["arrived"].isna().to_numpy()
        problems += table.problems_where(blank, column, "must not be blank before it has arrived")
    for low, high in zip(weeks, weeks[1:], strict=False):
        problems += table.problems_where(f[low] > f[high], low, f"must not be more than {high}")
    problems += table.problems_where(f["arrived"] < f["ordered"], "arrived", "must not be before ordered")
    if stages is not None:
        unknown = ~f["needed_for"].isin([*stages, ""])
        problems += table.problems_where(unknown, "needed_for", "must be a stage of plan.csv")
    f = f.assign(**{column: f[column].fillna(0.0) for column in weeks})
    return tuple(_delivery(row) for row in f.to_dict("records")), problems


def find_cycles(before: Mapping[str, Iterable[str]]) -> list[tuple[str, ...]]:
    """Every way in which ids wait for themselves, one circle for each, its first id again at the end.

    `before` names, for each id, the ids that must come first. Circles are found one after another, each
    with the links of the ones before it taken away.

    Examples
    --------
    >>> find_cycles({"A": ["C"], "B": ["A"], "C": ["B"], "D": ["A"]})
    [('A', 'B', 'C', 'A')]
    """
    links = {task: dict.fromkeys(first) for task, first in before.items()}
    order = {task: position for position, task in enumerate(links)}
    circles = []
    while True:
        try:
            TopologicalSorter(links).prepare()
        except CycleError as error:
            circle = error.args[1][:-1]
            start = min(range(len(circle)), key=lambda i: order[circle[i]])
            circle = (*circle[start:], *circle[:start], circle[start])
            for first, then in zip(circle, circle[1:], strict=False):
                links[then].pop(first, None)
            circles.append(circle)
        else:
            return circles


def _task(f: dict[Any, Any], uses: tuple[Use, ...]) -> Task:
    return Task(
        task=f["task"],
        stage=f["stage"],
        title=f["title"] or f["task"],
        type=f["type"] or "general",
        quantity=1.0 if np.isnan(f["quantity"]) else f["quantity"],
        unit=f["unit"] or "piece",
        planned_hours=None if np.isnan(f["planned_hours"]) else f["planned_hours"],
        after=tuple(dict.fromkeys(f["after"].split())),
        crew=f["crew"] or "either",
        hold_days=0.0 if np.isnan(f["hold_days"]) else f["hold_days"],
        repeat_of=f["repeat_of"] or None,
        delivery=f["delivery"] or None,
        uses=uses,
        added=_day(f["added"]),
    )


def _delivery(f: dict[Any, Any]) -> Delivery:
    def cost(column: str) -> float | None:
        return None if np.isnan(f[column]) else f[column]

    return Delivery(
        delivery=f["delivery"],
        title=f["title"] or f["delivery"],
        ordered=_day(f["ordered"]),
        lead_weeks_low=f["lead_weeks_low"],
        lead_weeks_likely=f["lead_weeks_likely"],
        lead_weeks_high=f["lead_weeks_high"],
        arrived=_day(f["arrived"]),
        late_cost_per_week=cost("late_cost_per_week"),
        early_cost_per_week=cost("early_cost_per_week"),
        needed_for=f["needed_for"] or None,
    )


def _day(stamp: pd.Timestamp) -> date | None:
    return None if pd.isna(stamp) else stamp.date()


def _unknown(table: CheckedTable, row: int, column: str, value: str, allowed: str) -> Problem:
    return Problem(table.file, int(table.line[row]), column, value, f"must be {allowed}")


def _circles(table: CheckedTable, column: str, links: list[tuple[str, tuple[str, ...]]]) -> list[Problem]:
    before: dict[str, list[str]] = {task: [] for task, _ in links}
    line: dict[str, int] = {}
    for (task, first), at in zip(links, table.line.tolist(), strict=True):
        before[task] += [b for b in first if b in before]
        line.setdefault(task, at)
    rule = "tasks wait for each other in a circle"
    return [
        Problem(table.file, line[circle[0]], column, "", f"{rule}: {_path(circle)}")
        for circle in find_cycles(before)
    ]


def _path(circle: tuple[str, ...]) -> str:
    if len(circle) <= 13:
        return " -> ".join(circle)
    return f"{' -> '.join(circle[:6])} -> ({len(circle) - 12} more) -> {' -> '.join(circle[-6:])}"


def _read_uses(
    table: CheckedTable, limits: Mapping[str, float] | None, problems: list[Problem]
) -> list[tuple[Use, ...]]:
    ids = set(table.frame["task"])
    out = []
    for row, cell in enumerate(table.frame["uses"]):
        found = []
        for text in cell.split():
            use = _use(text)
            rule = _use_rule(use, ids, limits)
            if rule:
                problems.append(Problem(table.file, int(table.line[row]), "uses", text, rule))
            if use is not None:
                found.append(use)
        for rule in _together_rules(found, limits or {}):
            problems.append(Problem(table.file, int(table.line[row]), "uses", cell, rule))
        out.append(tuple(found))
    return out


def _together_rules(uses: list[Use], limits: Mapping[str, float]) -> list[str]:
    """What several uses of one limit, each within it, ask too much of together."""
    rules = []
    for limit in dict.fromkeys(u.limit for u in uses if u.limit in limits):
        amounts = [u.amount for u in uses if u.limit == limit]
        if max(amounts) <= limits[limit] < sum(amounts):
            rules.append(
                f"must not be more than the {limits[limit]:g} of {limit} in build.toml: "
                f"together it is {sum(amounts):g}"
            )
    return rules


def _use(text: str) -> Use | None:
    match = _USE.fullmatch(text)
    amount = read_number(match["amount"]) if match else None
    if match is None or amount is None or amount <= 0:
        return None
    return Use(limit=match["limit"], amount=amount, until=match["until"])


def _use_rule(use: Use | None, ids: set[str], limits: Mapping[str, float] | None) -> str:
    """What is wrong with one use, or nothing."""
    if use is None:
        return "must be a limit and an amount above 0, as fasteners:120 or fasteners:120@T045"
    if use.until is not None and use.until not in ids:
        return f"must end with an id of plan.csv: {use.until} is not there"
    if limits is not None and use.limit not in limits:
        return f"must name a [[limit]] of build.toml: {use.limit} is not there"
    if limits is not None and use.amount > limits[use.limit]:
        return f"must not be more than the {limits[use.limit]:g} of {use.limit} in build.toml"
    return ""
