"""The plan and the deliveries: what is to be done, in which order, by how many people, with which parts.

A `Plan` is validated once, when it is read; nothing downstream validates it again.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import Any, Literal

import numpy as np
import pandas as pd

from forecast.errors import Problem
from forecast.files.tables import CheckedTable, read_number

_USE = re.compile(r"(?P<limit>[^\s:@]+):(?P<amount>[^\s:@]+)(?:@(?P<until>\S+))?")

_SHOWN_OF_A_CYCLE = 6  # ids at either end of a long cycle: judgement, one line of text

Crew = Literal["one", "either", "two"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """An amount of a limit, in use from a task's start until `until` (or the task itself) is finished."""

    limit: str
    amount: float
    until: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A scarce resource of the shop and how much of it there is: temporary fasteners, bench space."""

    id: str
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One row of plan.csv; schemas/plan.json describes the columns and their units."""

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
    """One row of deliveries.csv, a kit or part; `arrived` is None until it has arrived."""

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
    """The tasks in the builder's order of preference, without cycles or unknown ids."""

    tasks: tuple[Task, ...]

    @cached_property
    def by_id(self) -> dict[str, Task]:
        """Task id -> task."""
        return {t.task: t for t in self.tasks}

    @property
    def stages(self) -> tuple[str, ...]:
        """The stages in the order in which the plan first names them."""
        return tuple(dict.fromkeys(t.stage for t in self.tasks))

    def known_on(self, as_of: date) -> Plan:
        """The plan as it was on `as_of`: without tasks added later and without references to them."""
        known = [t for t in self.tasks if t.added is None or t.added <= as_of]
        if len(known) == len(self.tasks):
            return self
        ids = {t.task for t in known}
        return Plan(tasks=tuple(_without_unknown(t, ids) for t in known))


def _without_unknown(task: Task, ids: set[str]) -> Task:
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
    """Build the plan from a plan.csv table.

    Parameters
    ----------
    table : plan.csv as `read_table` returns it; its own problems are not repeated here
    limits : amount of each limit of build.toml; None when that file could not be read
    deliveries : ids of deliveries.csv; None when that file could not be read

    Returns
    -------
    The plan, and every problem between its rows.
    """
    problems: list[Problem] = []
    uses = _read_uses(table, limits, problems)
    rows = table.frame.to_dict("records")
    tasks = tuple(_task(row, used) for row, used in zip(rows, uses, strict=True))
    ids = {t.task for t in tasks}
    for row, task in enumerate(tasks):
        unknown = [other for other in task.after if other not in ids]
        rule = "must be ids of plan.csv, space-separated"
        problems += [table.problem(row, "after", rule, other) for other in unknown]
        if task.repeat_of is not None and task.repeat_of not in ids:
            problems.append(table.problem(row, "repeat_of", "must be an id of plan.csv", task.repeat_of))
        if task.delivery is not None and deliveries is not None and task.delivery not in deliveries:
            problems.append(table.problem(row, "delivery", "must be an id of deliveries.csv", task.delivery))
    problems += _cycle_problems(table, "after", [t.after for t in tasks])
    problems += _cycle_problems(table, "repeat_of", [(t.repeat_of,) if t.repeat_of else () for t in tasks])
    return Plan(tasks=tasks), problems


def read_deliveries(
    table: CheckedTable, stages: Collection[str] | None = None
) -> tuple[tuple[Delivery, ...], list[Problem]]:
    """Build the deliveries from a deliveries.csv table.

    Parameters
    ----------
    table : deliveries.csv as `read_table` returns it
    stages : stages of the plan; None when the plan could not be read

    Returns
    -------
    The deliveries, and every problem between the cells of a row.
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
    """Every cycle among predecessors; each starts and ends with the same id.

    Cycles are found one after another, each without the links of those found before it. `before` maps each
    id to its predecessors.

    Examples
    --------
    >>> find_cycles({"A": ["C"], "B": ["A"], "C": ["B"], "D": ["A"]})
    [('A', 'B', 'C', 'A')]
    """
    links = {task: dict.fromkeys(first) for task, first in before.items()}
    order = {task: position for position, task in enumerate(links)}
    cycles = []
    while True:
        try:
            TopologicalSorter(links).prepare()  # finds one cycle per call
        except CycleError as error:
            cycle = error.args[1][:-1]
            start = min(range(len(cycle)), key=lambda i: order[cycle[i]])
            cycle = (*cycle[start:], *cycle[:start], cycle[start])
            for first, then in zip(cycle, cycle[1:], strict=False):
                links[then].pop(first, None)
            cycles.append(cycle)
        else:
            return cycles


def _task(row: dict[Any, Any], uses: tuple[Use, ...]) -> Task:
    """A blank cell means the default of the field; bad rows keep a blank id or stage."""
    filled = {column: value for column, cell in row.items() if (value := _known(cell)) is not None}
    own = {"task": row["task"], "stage": row["stage"], "title": row["title"] or row["task"], "uses": uses}
    return Task(**{**filled, "after": tuple(dict.fromkeys(row["after"].split())), **own})


def _delivery(row: dict[Any, Any]) -> Delivery:
    own = {"delivery": row["delivery"], "title": row["title"] or row["delivery"]}
    return Delivery(**{**{column: _known(cell) for column, cell in row.items()}, **own})


def _known(cell: Any) -> Any:
    """A typed cell, with None for a blank one and a date for a timestamp."""
    if cell == "" or pd.isna(cell):
        return None
    return cell.date() if isinstance(cell, pd.Timestamp) else cell


def _cycle_problems(table: CheckedTable, column: str, links: Sequence[Iterable[str]]) -> list[Problem]:
    """Cycles in a column; `links` holds the predecessors that each row names in it."""
    before: dict[str, list[str]] = {task: [] for task in table.frame["task"]}
    line: dict[str, int] = {}
    for task, at, first in zip(table.frame["task"], table.line.tolist(), links, strict=True):
        before[task] += [b for b in first if b in before]
        line.setdefault(task, at)
    return [
        Problem(table.file, line[cycle[0]], column, "", f"tasks form a cycle: {_path(cycle)}")
        for cycle in find_cycles(before)
    ]


def _path(cycle: tuple[str, ...]) -> str:
    hidden = len(cycle) - 2 * _SHOWN_OF_A_CYCLE
    if hidden <= 1:
        return " -> ".join(cycle)
    start, end = cycle[:_SHOWN_OF_A_CYCLE], cycle[-_SHOWN_OF_A_CYCLE:]
    return " -> ".join([*start, f"({hidden} more)", *end])


def _read_uses(
    table: CheckedTable, limits: Mapping[str, float] | None, problems: list[Problem]
) -> list[tuple[Use, ...]]:
    """The uses of each row; what is wrong with them is added to `problems`."""
    ids = set(table.frame["task"])
    uses_by_row = []
    for row, cell in enumerate(table.frame["uses"]):
        uses = []
        for text in cell.split():
            use = _read_use(text)
            rule = _broken_use_rule(use, ids, limits)
            if rule:
                problems.append(table.problem(row, "uses", rule, text))
            if use is not None:
                uses.append(use)
        problems += [table.problem(row, "uses", rule, cell) for rule in _broken_sums(uses, limits or {})]
        uses_by_row.append(tuple(uses))
    return uses_by_row


def _broken_sums(uses: list[Use], limits: Mapping[str, float]) -> Iterator[str]:
    """Limits that the uses of one task exceed together, although each use fits."""
    for limit in dict.fromkeys(u.limit for u in uses if u.limit in limits):
        amounts = [u.amount for u in uses if u.limit == limit]
        if max(amounts) <= limits[limit] < sum(amounts):
            yield (
                f"must not exceed the {limits[limit]:g} of {limit} in build.toml: "
                f"the uses add up to {sum(amounts):g}"
            )


def _read_use(text: str) -> Use | None:
    match = _USE.fullmatch(text)
    amount = read_number(match["amount"]) if match else None
    if match is None or amount is None or amount <= 0:
        return None
    return Use(limit=match["limit"], amount=amount, until=match["until"])


def _broken_use_rule(use: Use | None, ids: set[str], limits: Mapping[str, float] | None) -> str:
    """The rule that one use breaks, or ""."""
    if use is None:
        return "must be a limit and an amount above 0, as fasteners:120 or fasteners:120@T045"
    if use.until is not None and use.until not in ids:
        return f"must end with an id of plan.csv: there is no {use.until}"
    if limits is not None and use.limit not in limits:
        return f"must name a [[limit]] of build.toml: there is no {use.limit}"
    if limits is not None and use.amount > limits[use.limit]:
        return f"must not exceed the {limits[use.limit]:g} of {use.limit} in build.toml"
    return ""
