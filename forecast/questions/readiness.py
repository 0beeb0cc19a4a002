"""Which tasks are ready on the evening of one day, and what every other task waits for, in words.

The rules are those of the plan: predecessors, holds, deliveries, limits, people. A hold counts from the end
of the day on which its task was finished, so that it never counts as over too early; where it may be over
some hours earlier by the clock, the words say so.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

import numpy as np

from forecast.files.plan import Delivery, Task
from forecast.learn.deliveries import lead_days_given
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import Network
from forecast.wording import format_day, format_days, join_words

_EVENING = 0.25  # of a day: a session begins about six hours before its day ends
_LIKELY_ARRIVAL = np.array([0.1, 0.9])
_ROUNDING = 1e-9  # sums of amounts such as 0.1 may exceed a limit by rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """One thing that a task waits for.

    Attributes
    ----------
    kind : after (an open predecessor), hold, delivery, limit, or hands (a second person)
    words : completes the sentence "the task waits for ..."
    task : id of the open predecessor; "" for other kinds
    """

    kind: str
    words: str
    task: str = ""


@dataclass(frozen=True, kw_only=True)
class Readiness:
    """The open tasks on the evening of one day, in the builder's order of preference.

    Attributes
    ----------
    tasks : the open tasks
    waits : per task, everything that it waits for; none = it is ready
    why : per task, why it is ready, in words; "" for those that wait
    frees : per task, the ids of the tasks that wait for it only
    """

    tasks: tuple[Task, ...]
    waits: tuple[tuple[Wait, ...], ...]
    why: tuple[str, ...]
    frees: tuple[tuple[str, ...], ...]

    @property
    def ready(self) -> tuple[int, ...]:
        """Positions in `tasks` of the ready ones."""
        return tuple(i for i, waits in enumerate(self.waits) if not waits)

    @property
    def nearly_ready(self) -> tuple[int, ...]:
        """Positions of the tasks that wait for one thing only; if that is a task, it is ready."""
        ready = {self.tasks[i].task for i in self.ready}
        return tuple(
            i
            for i, waits in enumerate(self.waits)
            if len(waits) == 1 and (not waits[0].task or waits[0].task in ready)
        )


def readiness(fitted: Fitted, hands: int) -> Readiness:
    """Which tasks are ready on the evening of `as_of`.

    Parameters
    ----------
    fitted : the build at the end of that day
    hands : number of people present
    """
    rules = _Rules.of(fitted)
    count = len(rules.tasks)
    waits = tuple(rules.waits_of(i, hands) for i in range(count))
    return Readiness(
        tasks=rules.tasks,
        waits=waits,
        why=tuple("" if waits[i] else rules.why(i) for i in range(count)),
        frees=_frees(rules.tasks, waits),
    )


def title_of(task: Task) -> str:
    """A task in a sentence: its title, and its id where that differs.

    >>> title_of(Task(task="T1", stage="tail", title="Drill ribs"))
    'Drill ribs (T1)'
    >>> title_of(Task(task="T1", stage="tail", title="T1"))
    'T1'
    """
    return task.task if task.title == task.task else f"{task.title} ({task.task})"


@dataclass(frozen=True, kw_only=True)
class _Rules:
    """The constraints of the open tasks and their state on the evening."""

    as_of: date
    network: Network
    tasks: tuple[Task, ...]
    all_tasks: dict[str, Task]
    rows: dict[str, dict[Hashable, Any]]
    free: np.ndarray
    reopened: np.ndarray

    @classmethod
    def of(cls, fitted: Fitted) -> _Rules:
        known = fitted.build.plan.known_on(fitted.as_of).by_id
        network, design = fitted.network, fitted.effort.design_
        return cls(
            as_of=fitted.as_of,
            network=network,
            tasks=tuple(known[t] for t in network.tasks),
            all_tasks=known,
            rows={r["task"]: r for r in fitted.progress.tasks.to_dict("records")},
            free=_free(network),
            reopened=design.reopened[design.open_rows],
        )

    def waits_of(self, i: int, hands: int) -> tuple[Wait, ...]:
        """Everything that one task waits for."""
        found = [*self._after(i), *self._holds(i), *self._deliveries(i), *self._limits(i)]
        if self.tasks[i].crew == "two" and hands < 2:
            found.append(Wait(kind="hands", words="a second pair of hands"))
        return tuple(found)

    def _after(self, i: int) -> list[Wait]:
        before = [self.tasks[p] for p in self.network.after[i]]
        return [Wait(kind="after", words=f"{title_of(t)} to be finished", task=t.task) for t in before]

    def _holds(self, i: int) -> list[Wait]:
        found = []
        for task, finished in self._begun_holds(i):
            over = finished + timedelta(days=ceil(task.hold_days + _EVENING))
            if over <= self.as_of:
                continue
            begun = f"{format_days(task.hold_days)} from {format_day(finished, self.as_of)}"
            by_clock = finished + timedelta(days=ceil(task.hold_days)) <= self.as_of
            ends = (
                "by the clock it may be over tonight"
                if by_clock
                else f"over by the evening of {format_day(over, self.as_of)}"
            )
            found.append(Wait(kind="hold", words=f"the hold of {title_of(task)}, {begun}: {ends}"))
        return found

    def _begun_holds(self, i: int) -> list[tuple[Task, date]]:
        """The finished predecessors that have a hold, and when they were finished."""
        before = [self.all_tasks[a] for a in self.tasks[i].after]
        done = [t for t in before if t.hold_days > 0 and self.rows[t.task]["done"]]
        return [(t, self.rows[t.task]["finished"].date()) for t in done]

    def _deliveries(self, i: int) -> list[Wait]:
        needed = [self.network.deliveries[d] for d in self.network.needs[i]]
        return [
            Wait(kind="delivery", words=_arrival_words(d, self.as_of))
            for d in needed
            if not _has_arrived(d, self.as_of)
        ]

    def _limits(self, i: int) -> list[Wait]:
        if self.network.under_way[i]:
            return []
        found = []
        for at, amount in self._amounts(i).items():
            if amount <= self.free[at] + _ROUNDING:
                continue
            limit = self.network.limits[at]
            words = f"{amount:g} {limit.id}: {max(self.free[at], 0.0):g} of {limit.amount:g} are free"
            ends = sorted(self._ends_of(at))
            if ends:
                titles = join_words([title_of(self.tasks[e]) for e in ends], last="or", most=2)
                words += f", more when {titles} is finished"
            found.append(Wait(kind="limit", words=words))
        return found

    def _amounts(self, i: int) -> dict[int, float]:
        """Limit -> amount that the task needs of it."""
        amounts: dict[int, float] = {}
        for limit, amount, _ in self.network.uses[i]:
            amounts[limit] = amounts.get(limit, 0.0) + amount
        return amounts

    def _ends_of(self, limit: int) -> set[int]:
        """The tasks whose finish releases what is used of a limit now."""
        return {until for at, _, until in _used(self.network) if at == limit}

    def why(self, i: int) -> str:
        """Why a task is ready, in words."""
        task = self.tasks[i]
        reasons = [self._under_way(i)] if self.network.under_way[i] else []
        done = [self.all_tasks[a] for a in task.after if self.rows[a]["done"]]
        if done:
            reasons.append(
                f"{join_words([t.task for t in done], most=2)} {'is' if len(done) == 1 else 'are'} finished"
            )
        holds = [t for t in done if t.hold_days > 0]
        if holds:
            reasons.append(f"the hold of {join_words([t.task for t in holds], most=2)} is over")
        needed = [self.network.deliveries[d] for d in self.network.needs[i]]
        reasons += [f"{d.title} is here" for d in needed if _has_arrived(d, self.as_of)]
        if not self.network.under_way[i]:
            limits = self.network.limits
            reasons += [f"{n:g} {limits[at].id} are free" for at, n in self._amounts(i).items()]
        if task.crew == "two":
            reasons.append("two are here")
        return "; ".join(reasons) if reasons else "nothing has to come before it"

    def _under_way(self, i: int) -> str:
        row = self.rows[self.tasks[i].task]
        hours = row["hours_first"] + row["hours_rework"]
        if self.reopened[i]:
            return f"open again after it was finished, {hours:.3g} person-hours so far"
        since = format_day(row["started"].date(), self.as_of)
        return f"under way since {since}, {hours:.3g} person-hours so far"


def _free(network: Network) -> np.ndarray:
    """(limit,) free amount of each; below zero where more is in use than there is."""
    free = np.array([x.amount for x in network.limits], dtype=float)
    for limit, amount, _ in _used(network):
        free[limit] -= amount
    return free


def _used(network: Network) -> list[tuple[int, float, int]]:
    """(limit, amount, position of the `until` task) of everything in use now."""
    begun = [use for i, row in enumerate(network.uses) if network.under_way[i] for use in row]
    return [*network.still_used, *begun]


def _frees(tasks: tuple[Task, ...], waits: tuple[tuple[Wait, ...], ...]) -> tuple[tuple[str, ...], ...]:
    """Per task, those that wait for it and for no other task, hold, delivery or limit."""
    freed: dict[str, list[str]] = {t.task: [] for t in tasks}
    for task, found in zip(tasks, waits, strict=True):
        binding = [w for w in found if w.kind != "hands"]
        if len(binding) == 1 and binding[0].task:
            freed[binding[0].task].append(task.task)
    return tuple(tuple(freed[t.task]) for t in tasks)


def _has_arrived(delivery: Delivery, as_of: date) -> bool:
    return delivery.arrived is not None and delivery.arrived <= as_of


def _arrival_words(delivery: Delivery, as_of: date) -> str:
    if delivery.ordered is None or delivery.ordered > as_of:
        return f"{delivery.title}, which is not ordered yet"
    waited = (as_of - delivery.ordered).days
    days = lead_days_given(delivery, waited, _LIKELY_ARRIVAL)
    early, late = (delivery.ordered + timedelta(days=ceil(d)) for d in days)
    return (
        f"{delivery.title}, ordered on {format_day(delivery.ordered, as_of)}, "
        f"most likely here between {format_day(early, as_of)} and {format_day(late, as_of)}"
    )
