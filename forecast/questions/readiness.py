"""What could be taken up on the evening of one day, and what everything else still waits for, in words.

The rules are those of the plan: what comes first, holds, deliveries, limits, hands. A hold counts from the
end of the day on which the task before it was finished, so that it never counts as over too early; by the
clock it may be over some hours sooner, and then the words say so.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

import numpy as np

from forecast.files.plan import Delivery, Task
from forecast.learn.deliveries import lead_days_given
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import Network

KINDS = ("after", "hold", "delivery", "limit", "hands")
_EVENING = 0.25  # the session begins about a quarter of a day before its day ends
_LIKELY_ARRIVAL = np.array([0.1, 0.9])
_NAMED = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """One thing that keeps a task waiting.

    Attributes
    ----------
    kind : after (a task before it is open), hold, delivery, limit, or hands
    words : what has to happen, to follow "waits for"
    task : the open task that comes first, where one does; "" else
    """

    kind: str
    words: str
    task: str = ""


@dataclass(frozen=True, kw_only=True)
class Readiness:
    """The open tasks of a build on the evening of one day, in the builder's order of preference.

    Attributes
    ----------
    tasks : the open tasks
    waits : for each of them what it waits for; nothing = it can be taken up
    why : for each of them, in words, why it is ready; "" for those that wait
    frees : for each of them the ids of the tasks that wait for nothing but it
    """

    tasks: tuple[Task, ...]
    waits: tuple[tuple[Wait, ...], ...]
    why: tuple[str, ...]
    frees: tuple[tuple[str, ...], ...]

    @property
    def ready(self) -> tuple[int, ...]:
        """Places in `tasks` of those that can be taken up."""
        return tuple(i for i, waits in enumerate(self.waits) if not waits)

    @property
    def nearly_ready(self) -> tuple[int, ...]:
        """Places of those that wait for one thing only, and if that is a task, for one that is ready."""
        ready = {self.tasks[i].task for i in self.ready}
        return tuple(
            i
            for i, waits in enumerate(self.waits)
            if len(waits) == 1 and (not waits[0].task or waits[0].task in ready)
        )


def readiness(fitted: Fitted, hands: int) -> Readiness:
    """Which tasks could be taken up on the evening of `as_of` by so many people.

    Parameters
    ----------
    fitted : the build as it stood at the end of that day
    hands : how many people are there
    """
    desk = _Desk.of(fitted)
    count = len(desk.tasks)
    waits = tuple(desk.waits_of(i, hands) for i in range(count))
    return Readiness(
        tasks=desk.tasks,
        waits=waits,
        why=tuple("" if waits[i] else desk.why(i) for i in range(count)),
        frees=_frees(desk.tasks, waits),
    )


def title_of(task: Task) -> str:
    """A task as it is spoken of: its title, and its id where that says more.

    >>> title_of(Task(task="T1", stage="tail", title="Drill ribs"))
    'Drill ribs (T1)'
    >>> title_of(Task(task="T1", stage="tail", title="T1"))
    'T1'
    """
    return task.task if task.title == task.task else f"{task.title} ({task.task})"


def say_day(day: date, seen_from: date) -> str:
    """A day as people say it: by its name within a week, by its date else.

    >>> say_day(date(2026, 3, 5), date(2026, 3, 3)), say_day(date(2026, 4, 5), date(2026, 3, 3))
    ('Thursday 5 March', '5 April 2026')
    """
    if 0 <= (day - seen_from).days < 7:
        return f"{day:%A} {day.day} {day:%B}"
    return f"{day.day} {day:%B} {day.year}"


def say_days(days: float) -> str:
    """A number of days.

    >>> say_days(1), say_days(2.5)
    ('1 day', '2.5 days')
    """
    return "1 day" if days == 1 else f"{days:g} days"


def in_words(words: Sequence[str], last: str = "and") -> str:
    """A few by name, the others by number.

    >>> in_words(["a", "b"]), in_words(["a", "b", "c", "d"])
    ('a and b', 'a, b and 2 others')
    """
    if len(words) > _NAMED + 1:
        words = [*words[:_NAMED], f"{len(words) - _NAMED} others"]
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


@dataclass(frozen=True, kw_only=True)
class _Desk:
    """What the answers are read from."""

    as_of: date
    network: Network
    tasks: tuple[Task, ...]
    all_tasks: dict[str, Task]
    rows: dict[str, dict[Hashable, Any]]
    free: np.ndarray
    reopened: np.ndarray

    @classmethod
    def of(cls, fitted: Fitted) -> _Desk:
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
        for task, finished in self._held_by(i):
            over = finished + timedelta(days=ceil(task.hold_days + _EVENING))
            if over <= self.as_of:
                continue
            begun = f"{say_days(task.hold_days)} from {say_day(finished, self.as_of)}"
            by_clock = finished + timedelta(days=ceil(task.hold_days)) <= self.as_of
            ends = (
                "by the clock it may be over tonight"
                if by_clock
                else f"over by the evening of {say_day(over, self.as_of)}"
            )
            found.append(Wait(kind="hold", words=f"the hold of {title_of(task)}, {begun}: {ends}"))
        return found

    def _held_by(self, i: int) -> list[tuple[Task, date]]:
        """The finished tasks before this one that are followed by a hold, and when they were finished."""
        before = [self.all_tasks[a] for a in self.tasks[i].after]
        done = [t for t in before if t.hold_days > 0 and self.rows[t.task]["done"]]
        return [(t, self.rows[t.task]["finished"].date()) for t in done]

    def _deliveries(self, i: int) -> list[Wait]:
        needed = [self.network.deliveries[d] for d in self._needs(i)]
        return [
            Wait(kind="delivery", words=_arrival_words(d, self.as_of))
            for d in needed
            if not _is_there(d, self.as_of)
        ]

    def _needs(self, i: int) -> tuple[int, ...]:
        return self.network.needs[i] if self.network.needs else ()

    def _limits(self, i: int) -> list[Wait]:
        if self.network.under_way[i]:
            return []
        found = []
        for at, amount in self._wanted(i).items():
            if amount <= self.free[at] + 1e-9:
                continue
            limit = self.network.limits[at]
            words = f"{amount:g} {limit.id}: {max(self.free[at], 0.0):g} of {limit.amount:g} are free"
            ends = sorted(self._ends_of(at))
            if ends:
                words += f", more when {in_words([title_of(self.tasks[e]) for e in ends], 'or')} is finished"
            found.append(Wait(kind="limit", words=words))
        return found

    def _wanted(self, i: int) -> dict[int, float]:
        wanted: dict[int, float] = {}
        for limit, amount, _ in self.network.uses[i] if self.network.uses else ():
            wanted[limit] = wanted.get(limit, 0.0) + amount
        return wanted

    def _ends_of(self, limit: int) -> set[int]:
        """The tasks whose finish gives back what is held of a limit now."""
        return {until for at, _, until in _held(self.network) if at == limit}

    def why(self, i: int) -> str:
        """What lets a task start, in words."""
        task = self.tasks[i]
        said = [self._under_way(i)] if self.network.under_way[i] else []
        done = [self.all_tasks[a] for a in task.after if self.rows[a]["done"]]
        if done:
            said.append(f"{in_words([t.task for t in done])} {'is' if len(done) == 1 else 'are'} finished")
        held = [t for t in done if t.hold_days > 0]
        if held:
            said.append(f"the hold of {in_words([t.task for t in held])} is over")
        needed = [self.network.deliveries[d] for d in self._needs(i)]
        said += [f"{d.title} is here" for d in needed if _is_there(d, self.as_of)]
        if not self.network.under_way[i]:
            limits = self.network.limits
            said += [f"{n:g} {limits[at].id} are free" for at, n in self._wanted(i).items()]
        if task.crew == "two":
            said.append("two are here")
        return "; ".join(said) if said else "nothing has to come before it"

    def _under_way(self, i: int) -> str:
        row = self.rows[self.tasks[i].task]
        hours = row["hours_first"] + row["hours_rework"]
        if self.reopened[i]:
            return f"open again after it was finished, {hours:.3g} person-hours so far"
        since = say_day(row["started"].date(), self.as_of)
        return f"under way since {since}, {hours:.3g} person-hours so far"


def _free(network: Network) -> np.ndarray:
    """(limit,) what is free of each now; below zero where more is held than there is."""
    free = np.array([x.amount for x in network.limits], dtype=float)
    for limit, amount, _ in _held(network):
        free[limit] -= amount
    return free


def _held(network: Network) -> list[tuple[int, float, int]]:
    """(limit, amount, task that ends it) of everything held now."""
    begun = [use for i, row in enumerate(network.uses) if network.under_way[i] for use in row]
    return [*network.still_used, *begun]


def _frees(tasks: tuple[Task, ...], waits: tuple[tuple[Wait, ...], ...]) -> tuple[tuple[str, ...], ...]:
    """For each task those that wait for it and for no other task, delivery or limit."""
    freed: dict[str, list[str]] = {t.task: [] for t in tasks}
    for task, found in zip(tasks, waits, strict=True):
        binding = [w for w in found if w.kind != "hands"]
        if len(binding) == 1 and binding[0].task:
            freed[binding[0].task].append(task.task)
    return tuple(tuple(freed[t.task]) for t in tasks)


def _is_there(delivery: Delivery, as_of: date) -> bool:
    return delivery.arrived is not None and delivery.arrived <= as_of


def _arrival_words(delivery: Delivery, as_of: date) -> str:
    if delivery.ordered is None or delivery.ordered > as_of:
        return f"{delivery.title}, which is not ordered yet"
    waited = (as_of - delivery.ordered).days
    days = lead_days_given(delivery, waited, _LIKELY_ARRIVAL)
    early, late = (delivery.ordered + timedelta(days=ceil(d)) for d in days)
    return (
        f"{delivery.title}, ordered on {say_day(delivery.ordered, as_of)}, "
        f"most likely here between {say_day(early, as_of)} and {say_day(late, as_of)}"
    )
