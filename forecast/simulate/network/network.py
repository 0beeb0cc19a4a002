"""The open work as a network of positions, the input of the kernel.

Inside, a task is its position among the open tasks, in the builder's order of preference.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from types import MappingProxyType

import numpy as np
import pandas as pd

from forecast.files.plan import Delivery, Limit, Plan, Task
from forecast.learn.progress import Progress
from forecast.learn.task_windows import waited_days
from forecast.simulate.network.records import (
    BITS,
    DETAIL,
    EITHER,
    LIMIT,
    NOBODY,
    ONE,
    PERSON,
    QUEUE,
    STAGE,
    STATE,
    STINT,
    TASK,
    TWO,
    USE,
    WAKE,
    NetworkRecords,
)

_CREW = {"one": ONE, "either": EITHER, "two": TWO}
_NOTHING: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, kw_only=True)
class Network:
    """The open tasks and their constraints.

    Attributes
    ----------
    tasks : ids of the open tasks, in the builder's order of preference
    stages : names of all stages of the plan, finished ones included
    stage : (task,) position of its stage
    crew : (task,) ONE, EITHER or TWO
    hold_days : (task,) elapsed days between its finish and the start of its successors
    after : per task, the positions of its open predecessors
    earliest_days : (task,) days after `as_of` until the holds of its finished predecessors end
    waited_days : (task,) days up to the end of `as_of` for which it has been ready
    under_way : (task,) True where work began by `as_of`
    deliveries : the deliveries that open tasks need, arrived or not
    needs : per task, the positions in `deliveries` of those it needs
    limits : resources of which the shop has a limited amount
    uses : per task, (limit, amount, position of the `until` task)
    still_used : (limit, amount, position of the `until` task) in use by finished tasks
    spent_hours : (stage,) person-hours spent by `as_of`
    idle_days : (stage,) days up to `as_of` since it was last worked on; infinite = never
    spent_elsewhere_hours : person-hours spent on work that belongs to no stage of the plan
    notes : sentences about what was assumed
    """

    tasks: tuple[str, ...]
    stages: tuple[str, ...]
    stage: np.ndarray
    crew: np.ndarray
    hold_days: np.ndarray
    after: tuple[tuple[int, ...], ...]
    earliest_days: np.ndarray
    waited_days: np.ndarray
    under_way: np.ndarray
    deliveries: tuple[Delivery, ...] = ()
    needs: tuple[tuple[int, ...], ...]
    limits: tuple[Limit, ...] = ()
    uses: tuple[tuple[tuple[int, float, int], ...], ...]
    still_used: tuple[tuple[int, float, int], ...] = ()
    spent_hours: np.ndarray
    idle_days: np.ndarray
    spent_elsewhere_hours: float = 0.0
    notes: tuple[str, ...] = ()

    @cached_property
    def records(self) -> NetworkRecords:
        """The network as the kernel's records."""
        return records_of(self)

    def longest_paths(self, hours: np.ndarray) -> np.ndarray:
        """(task,) hours from the start of each task to the end of the longest path through its successors.

        A task for two takes half its person-hours, any other all of them.

        Parameters
        ----------
        hours : (task,) person-hours
        """
        span = np.where(self.crew == TWO, 0.5, 1.0) * hours
        successors = np.zeros(len(self.tasks), dtype=np.int64)
        for after in self.after:
            for other in after:
                successors[other] += 1
        path = span.copy()
        ends = np.flatnonzero(successors == 0).tolist()
        while ends:
            task = ends.pop()
            for other in self.after[task]:
                path[other] = max(path[other], span[other] + path[task])
                successors[other] -= 1
                if successors[other] == 0:
                    ends.append(other)
        return path


def network_of(
    plan: Plan,
    progress: Progress,
    deliveries: Sequence[Delivery],
    as_of: date,
    *,
    limits: Sequence[Limit] = (),
) -> Network:
    """The network of the work that is open at the end of `as_of`.

    Finished tasks count only through the holds they started, the limits still in use and the hours they
    took. A delivery that names a stage in `needed_for`, and that no task of the plan names, is needed by
    every task of that stage that has not begun.

    Parameters
    ----------
    plan : the whole plan; tasks added after `as_of` are left out
    progress : the build at the end of `as_of`
    deliveries : all deliveries, arrived or not
    as_of : the last day that counts
    limits : every limit that the plan uses

    Raises
    ------
    ValueError when a task uses a limit that is not given.
    """
    known = plan.known_on(as_of)
    rows = progress.tasks.set_index("task")
    spent, elsewhere = _spent(progress, known.stages)
    return _network(
        known,
        deliveries,
        limits,
        done=set(rows.index[rows["done"]]),
        started=set(rows.index[rows["started"].notna()]),
        hold_ends=_hold_ends(rows, as_of),
        waited=dict(zip(progress.tasks["task"], waited_days(progress, plan, deliveries), strict=True)),
        spent_hours=spent,
        idle_days=_idle_days(progress, known.stages),
        spent_elsewhere_hours=elsewhere,
    )


def _idle_days(progress: Progress, stages: Sequence[str]) -> np.ndarray:
    """(stage,) days up to `as_of` since each stage was last worked on; infinite where it never was."""
    rows = progress.sessions.loc[progress.sessions["task"] != ""]
    stage_of = progress.tasks.set_index("task")["stage"]
    last = rows.groupby(rows["task"].map(stage_of))["until"].max().reindex(list(stages))
    days = (pd.Timestamp(progress.as_of) - last).dt.days.to_numpy(dtype=float)
    return np.asarray(np.where(np.isnan(days), np.inf, days))


def network_of_untouched(
    plan: Plan, *, deliveries: Sequence[Delivery] = (), limits: Sequence[Limit] = ()
) -> Network:
    """The network of a plan before any work.

    Parameters
    ----------
    plan : the whole plan
    deliveries, limits : those that the plan refers to

    Examples
    --------
    >>> plan = Plan(tasks=(Task(task="A", stage="tail", title="A"),
    ...                    Task(task="B", stage="tail", title="B", after=("A",))))
    >>> network_of_untouched(plan).after
    ((), (0,))
    """
    stages = len(plan.stages)
    return _network(plan, deliveries, limits, spent_hours=np.zeros(stages), idle_days=np.full(stages, np.inf))


def _network(
    plan: Plan,
    deliveries: Sequence[Delivery],
    limits: Sequence[Limit],
    *,
    spent_hours: np.ndarray,
    idle_days: np.ndarray,
    spent_elsewhere_hours: float = 0.0,
    done: Set[str] = frozenset(),
    started: Set[str] = frozenset(),
    hold_ends: Mapping[str, float] = _NOTHING,
    waited: Mapping[str, float] = _NOTHING,
) -> Network:
    open_tasks = [t for t in plan.tasks if t.task not in done]
    place = {t.task: i for i, t in enumerate(open_tasks)}
    stage_place = {s: i for i, s in enumerate(plan.stages)}
    limit_place = {x.id: i for i, x in enumerate(limits)}
    needed, needs = _needs(plan, open_tasks, deliveries, started)
    still_used = [u for t in plan.tasks if t.task in done for u in _uses(t, place, limit_place)]
    return Network(
        tasks=tuple(place),
        stages=plan.stages,
        stage=_ints([stage_place[t.stage] for t in open_tasks]),
        crew=_ints([_CREW[t.crew] for t in open_tasks]),
        hold_days=_floats([t.hold_days for t in open_tasks]),
        after=tuple(tuple(place[a] for a in t.after if a in place) for t in open_tasks),
        earliest_days=_floats(
            [max((hold_ends.get(a, 0.0) for a in t.after if a in done), default=0.0) for t in open_tasks]
        ),
        waited_days=_floats([waited.get(t.task, 0.0) for t in open_tasks]),
        under_way=np.array([t.task in started for t in open_tasks], dtype=np.bool_),
        deliveries=needed,
        needs=needs,
        limits=tuple(limits),
        uses=tuple(_uses(t, place, limit_place) for t in open_tasks),
        still_used=tuple(u for u in still_used if u[2] >= 0),
        spent_hours=spent_hours,
        idle_days=idle_days,
        spent_elsewhere_hours=spent_elsewhere_hours,
    )


def _hold_ends(rows: pd.DataFrame, as_of: date) -> dict[str, float]:
    """Days after `as_of` at which the holds of finished tasks end; a task is finished as its day ends."""
    day = (rows["finished"] - pd.Timestamp(as_of)).dt.days
    return dict((day + rows["hold_days"]).dropna().clip(lower=0.0))


def _needs(
    plan: Plan, open_tasks: list[Task], deliveries: Sequence[Delivery], started: Set[str]
) -> tuple[tuple[Delivery, ...], tuple[tuple[int, ...], ...]]:
    """The deliveries that open tasks need, and per open task the positions of its own."""
    named = {t.delivery for t in plan.tasks}
    needs: list[list[str]] = []
    for task in open_tasks:
        own = [task.delivery] if task.delivery is not None else []
        if task.task not in started:
            own += [d.delivery for d in deliveries if d.needed_for == task.stage and d.delivery not in named]
        needs.append(own)
    ids = {d for own in needs for d in own}
    needed = tuple(d for d in deliveries if d.delivery in ids)
    place = {d.delivery: i for i, d in enumerate(needed)}
    return needed, tuple(tuple(place[d] for d in own) for own in needs)


def _uses(task: Task, place: dict[str, int], limit: dict[str, int]) -> tuple[tuple[int, float, int], ...]:
    """(limit, amount, position of the `until` task) of one task.

    A finished `until` task is replaced by the task itself; -1 where that is finished too.
    """
    own = place.get(task.task, -1)
    unknown = {u.limit for u in task.uses} - set(limit)
    if unknown:
        raise ValueError(f"task {task.task} uses limits that are not given: {', '.join(sorted(unknown))}.")
    return tuple((limit[u.limit], u.amount, place.get(u.until or task.task, own)) for u in task.uses)


def _spent(progress: Progress, stages: tuple[str, ...]) -> tuple[np.ndarray, float]:
    """(stage,) person-hours spent, work outside the plan included, and those on no stage of the plan."""
    by_stage = progress.sessions.groupby("stage")["person_hours"].sum()
    elsewhere = by_stage.drop([s for s in stages if s in by_stage.index]).sum()
    return by_stage.reindex(list(stages)).fillna(0.0).to_numpy(dtype=float).copy(), float(elsewhere)


def _ints(values: Iterable[int]) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def _floats(values: Iterable[float]) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def records_of(network: Network) -> NetworkRecords:
    """The records of a network, with space for the state of one run."""
    count = len(network.tasks)
    uses = [(i, *use) for i, row in enumerate(network.uses) for use in row]
    uses += [(NOBODY, *use) for use in network.still_used]
    lists: list[int] = []
    tasks, details = np.zeros(count, dtype=TASK), np.zeros(count, dtype=DETAIL)
    tasks["hold"], tasks["stage"], tasks["crew"] = network.hold_days, network.stage, network.crew
    tasks["queue"] = tasks["stage"] + len(network.stages) * (tasks["crew"] == TWO)
    tasks["successors_begin"], tasks["successors_end"] = _append(lists, _successors(network.after))
    tasks["limited"] = [bool(row) for row in network.uses]
    details["predecessors"] = [len(a) for a in network.after]
    details["waited"] = network.waited_days
    details["earliest"], details["under_way"] = network.earliest_days, network.under_way
    details["needs_begin"], details["needs_end"] = _append(lists, network.needs)
    details["uses_begin"], details["uses_end"] = _append(lists, _uses_by_task(uses, count))
    queues, words, task_at = _queues(tasks, 2 * len(network.stages))
    stages = np.zeros(len(network.stages), dtype=STAGE)
    stages["spent"] = network.spent_hours
    stages["last_worked_at_start"] = -network.idle_days
    limits = np.zeros(len(network.limits), dtype=LIMIT)
    limits["amount"] = [x.amount for x in network.limits]
    for task, limit, amount, _ in uses:
        if task == NOBODY or network.under_way[task]:
            limits["used_at_start"][limit] += amount
    state = np.zeros(1, dtype=STATE)
    state["spent"] = network.spent_hours.sum() + network.spent_elsewhere_hours
    return NetworkRecords(
        tasks=tasks,
        details=details,
        stages=stages,
        queues=queues,
        heads=np.zeros(len(queues), dtype=np.int32),
        words=words,
        task_at=task_at,
        lists=np.array(lists, dtype=np.uint32),
        uses=np.array([(task, until, limit, amount) for task, limit, amount, until in uses], dtype=USE),
        limits=limits,
        wakes=np.zeros(2 * count, dtype=WAKE),
        blocked=np.zeros(count, dtype=np.uint32),
        state=state,
        people=np.zeros(0, dtype=PERSON),
        stints=np.zeros(0, dtype=STINT),
    )


def _queues(tasks: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The queues, their words, and the task of each bit; writes word and bit of each task into `tasks`."""
    members = [np.flatnonzero(tasks["queue"] == q) for q in range(count)]
    at = np.cumsum([0, *(-(-len(m) // BITS) for m in members)])
    queues = np.zeros(count, dtype=QUEUE)
    queues["end"] = at[1:]
    task_at = np.zeros(at[-1] * BITS, dtype=np.uint32)
    for first, queued in zip(at, members, strict=False):
        place = np.arange(len(queued))
        tasks["word"][queued] = first + place // BITS
        tasks["bit"][queued] = place % BITS
        task_at[first * BITS + place] = queued
    return queues, np.zeros(at[-1], dtype=np.int64), task_at


def _append(lists: list[int], rows: Iterable[Iterable[int]]) -> tuple[list[int], list[int]]:
    """Append one row per task to the flat list; where each row begins and ends."""
    begins, ends = [], []
    for row in rows:
        begins.append(len(lists))
        lists.extend(row)
        ends.append(len(lists))
    return begins, ends


def _successors(after: Sequence[Sequence[int]]) -> list[list[int]]:
    out: list[list[int]] = [[] for _ in after]
    for task, first in enumerate(after):
        for other in first:
            out[other].append(task)
    return out


def _uses_by_task(uses: list[tuple[int, int, float, int]], count: int) -> list[list[int]]:
    """Per task, the uses that it begins or ends."""
    out: list[list[int]] = [[] for _ in range(count)]
    for u, (task, _, _, until) in enumerate(uses):
        for i in {task, until} - {NOBODY}:
            out[i].append(u)
    return out
