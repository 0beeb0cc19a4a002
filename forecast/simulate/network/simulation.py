"""Simulation of the rest of a build on drawn arrays: arrays in, arrays out, nothing drawn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from forecast.simulate.network.network import Network
from forecast.simulate.network.records import (
    CAUSES,
    LACKS_DAYS,
    LACKS_TWO,
    NOBODY,
    PERSON,
    ROW_ORDER,
    UNFINISHED,
    RunResults,
)

_SAME_IN_ALL_RUNS = ("tasks", "stages", "grid_days")
_BY_TASK = ("start", "finish", "cause", "cause_of", "chain", "chain_days")


@dataclass(frozen=True, kw_only=True)
class Simulation:
    """The rest of the build, simulated once per draw. All days count from the end of `as_of`.

    Attributes
    ----------
    tasks, stages : ids of the open tasks and names of all stages, in plan order
    start, finish : (draw, task) days at which a task is first worked on and finished; infinite = past
        the horizon
    stage_finish, stage_first_90 : (draw, stage) days at which the last task of a stage is finished, and
        at which 90 % of its hours (spent and left) are done; 0 = already
    build_finish, build_first_90 : (draw,) the same for all stages together
    grid_days : (point,) days to which `hours_done` refers
    hours_done : (draw, stage, point) person-hours done by then of those left at `as_of`
    worked_hours : (draw, person) clock hours that each person worked on tasks
    present_hours : (draw, person) clock hours that each person was present until the build was finished
    lacks : (draw,) index in UNFINISHED of what an unfinished run would need to continue; 0 = finished
    stuck_on : (draw,) position of the first task that needs it; -1 = none
    cause : (draw, task) index in CAUSES of what a task waited for last; no columns without `trace`
    cause_of : (draw, task) position of the task, or delivery, that it waited for; -1 = none
    chain : (draw, task) index in CAUSES of what each task of the critical chain waited for, -1 for tasks
        off the chain; a chain leads back from the last finish over what each task waited for
    chain_days : (draw, task) days of the critical chain from the start of the task to that of the next
    """

    tasks: tuple[str, ...]
    stages: tuple[str, ...]
    start: np.ndarray
    finish: np.ndarray
    stage_finish: np.ndarray
    stage_first_90: np.ndarray
    build_finish: np.ndarray
    build_first_90: np.ndarray
    grid_days: np.ndarray
    hours_done: np.ndarray
    worked_hours: np.ndarray
    present_hours: np.ndarray
    lacks: np.ndarray
    stuck_on: np.ndarray
    cause: np.ndarray
    cause_of: np.ndarray
    chain: np.ndarray
    chain_days: np.ndarray

    @property
    def traced(self) -> bool:
        """Whether causes and critical chains were recorded."""
        return self.chain.shape[1] == len(self.tasks)

    @classmethod
    def joined(cls, batches: Sequence[Simulation]) -> Simulation:
        """Several batches of runs of one network as one."""
        arrays: dict[str, Any] = {
            f.name: np.concatenate([getattr(batch, f.name) for batch in batches])
            for f in fields(cls)
            if f.name not in _SAME_IN_ALL_RUNS
        }
        return replace(batches[0], **arrays)

    def with_runs(self, rows: np.ndarray, other: Simulation) -> Simulation:
        """The same with the runs at positions `rows` replaced by those of another simulation."""
        arrays: dict[str, Any] = {
            f.name: getattr(self, f.name).copy() for f in fields(self) if f.name not in _SAME_IN_ALL_RUNS
        }
        for name, values in arrays.items():
            values[rows] = getattr(other, name)
        return replace(self, **arrays)

    def without_tasks(self) -> Simulation:
        """The same without the arrays per task, which are most of the memory."""
        nothing: Any = np.empty((len(self.build_finish), 0))
        return replace(self, **dict.fromkeys(_BY_TASK, nothing))

    def to_frame(self) -> pd.DataFrame:
        """Finish days after `as_of`: one row per run, one column per stage and "build"."""
        return finish_frame(self.stages, self.stage_finish, self.build_finish)

    def __repr__(self) -> str:
        finished = np.isfinite(self.build_finish).sum()
        runs = len(self.build_finish)
        return f"<Simulation: {runs} runs, {finished} finished, {len(self.tasks)} open tasks>"

    @property
    def more_days_help(self) -> np.ndarray:
        """(draw,) True where a run lacks only days, or a second person who may still come."""
        second_may_come = self.worked_hours.shape[1] > 1
        return (self.lacks == LACKS_DAYS) | ((self.lacks == LACKS_TWO) & second_may_come)

    def chain_causes(self) -> dict[str, float]:
        """How the tasks of the critical chains are linked: cause -> share of all their links.

        Raises
        ------
        ValueError when the simulation ran without `trace`.
        """
        if not self.traced:
            raise ValueError("causes need a traced simulation: call simulate_schedule(..., trace=True).")
        links = Counter(self.chain[self.chain >= 0].tolist())
        return {CAUSES[c]: n / links.total() for c, n in sorted(links.items())}

    def never_finished(self) -> Counter[tuple[str, str]]:
        """Count of the runs that more days would not finish, by what they lack and the first task stuck."""
        stuck = np.flatnonzero((self.lacks > LACKS_DAYS) & ~self.more_days_help)
        return Counter((UNFINISHED[self.lacks[r]], self.tasks[self.stuck_on[r]]) for r in stuck)


def simulate_schedule(
    network: Network,
    hours: ArrayLike,
    bench: ArrayLike,
    stage_rank: ArrayLike | None = None,
    release: ArrayLike | None = None,
    *,
    only_two: ArrayLike | None = None,
    on_call: ArrayLike | None = None,
    call_after_days: ArrayLike | None = None,
    idle_call_after_days: ArrayLike | None = None,
    lends: ArrayLike | None = None,
    shared_penalty: float = 1.0,
    expected_hours: ArrayLike | None = None,
    longest_paths: ArrayLike | None = None,
    reopening_hours: ArrayLike | None = None,
    reopening_after_hours: ArrayLike | None = None,
    grid: ArrayLike = (),
    trace: bool = False,
) -> Simulation:
    """Simulate the network once per draw.

    Each day everybody present starts together and leaves after their own hours. An idle person starts the
    first task, in row order, that is ready and whose crew is present, and stays with it until it is
    finished or the day ends; an unfinished task returns to its ready queue. A task for two starts when two
    people are idle at once. Two people share an `either` task while nothing else is ready and, where
    `expected_hours` are given, when sharing pays: when the longest path from that task on is longer than
    all open work, penalty included, takes with everybody at it, and the task that would be begun instead
    has no longer path of its own. While a task is reopened, its successors that have not begun wait.

    Parameters
    ----------
    network : what is left to do
    hours : (draw, open task) person-hours left
    bench : (draw, day, person) clock hours at the bench; day 0 is the day after `as_of`
    stage_rank : (draw, day) which of the stages with ready work comes first that day: 0 = the one worked on
        last, 1 = the one before, ...; the default is the builder's row order over all stages
    release : (draw, delivery) days after `as_of` at which each delivery arrives; 0 (the default) = it has
    only_two : (person,) True for people who do two-person tasks only; they get those first
    on_call : (person,) True for people who come on their own days and when called in: on each day on which
        two-person work has waited `call_after_days` days, for that work only, as long as the longest
        presence of that day
    call_after_days : (draw,) days; infinite (the default) = nobody is ever called in
    idle_call_after_days : (draw,) the same on days without other work; the shorter of both counts
    lends : (person,) True for visitors, who assist with other people's tasks and lead none; on days on
        which they were called in, two-person work comes first
    shared_penalty : person-hours of a task that two share, as a multiple of its other person-hours
    expected_hours : (open task,) person-hours left that the builders expect, by which they judge whether
        sharing pays; by default it never does
    longest_paths : (open task,) `network.longest_paths(expected_hours)`, when already known
    reopening_hours : (draw, open task) the part of `hours` that comes only when the finished task is
        reopened; 0 (the default) = it is not
    reopening_after_hours : (draw, open task) person-hours worked from the first finish until the task
        is reopened; at the latest it is when nothing else is left to do
    grid : ascending whole days after `as_of` at which `hours_done` is read
    trace : record what each task waited for, and the critical chain of each run

    Raises
    ------
    ValueError when the arrays do not fit each other or the network.

    Examples
    --------
    Two tasks of three hours, one after the other, at two hours per day:

    >>> from forecast.files.plan import Plan, Task
    >>> from forecast.simulate.network import network_of_untouched
    >>> plan = Plan(tasks=(Task(task="A", stage="tail", title="A"),
    ...                    Task(task="B", stage="tail", title="B", after=("A",))))
    >>> simulation = simulate_schedule(network_of_untouched(plan), [[3.0, 3.0]], [[[2.0], [2.0], [2.0]]])
    >>> simulation.finish.tolist()
    [[1.5, 3.0]]
    """
    from forecast.simulate.network.kernel import simulate_runs

    present = _array(bench, np.float32)
    if present.ndim != 3 or present.shape[2] == 0:
        raise ValueError(f"bench must have the shape (draw, day, person). Got {present.shape} instead.")
    draws, days, people = present.shape
    tasks, deliveries = len(network.tasks), len(network.deliveries)
    points = _array(grid, np.int64)
    left = _shaped("hours", hours, np.float64, (draws, tasks))
    # No columns where nothing is reopened: the kernel then skips it.
    reopenable = (draws, 0 if reopening_hours is None else tasks)
    reopening = _shaped("reopening_hours", reopening_hours, np.float64, reopenable)
    arrivals = _shaped("release", release, np.float64, (draws, deliveries))
    call_days = (
        _shaped("call_after_days", call_after_days, np.float64, (draws,), np.inf),
        _shaped("idle_call_after_days", idle_call_after_days, np.float64, (draws,), np.inf),
    )
    part_of_hours = reopening_hours is None or bool((reopening <= left).all())
    _must(_within(reopening) and part_of_hours, "reopening_hours must be a part of hours.")
    _must(bool(np.all(np.diff(points) > 0)), "grid must ascend.")
    _must(_within(left), "hours must be numbers of 0 or more.")
    _must(_within(present), "bench must hold numbers of 0 or more.")
    _must(not np.isnan(arrivals).any(), "release must hold numbers.")
    _must(shared_penalty > 0, "shared_penalty must be above 0.")
    team = np.zeros(people, dtype=PERSON)
    for name, values in {"only_two": only_two, "on_call": on_call, "lends": lends}.items():
        team[name] = _shaped(name, values, np.bool_, (people,))
    # A stint begins after an arrival or departure (2 per person and day), after a finish that frees up to two
    # people (4 per task with one reopening) or after a wake-up (2 per task).
    stints = 2 * people * days + 6 * tasks if trace else 0
    records = network.records.copy_for(
        team, stints, penalty=shared_penalty, trace=trace, weighs_sharing=expected_hours is not None
    )
    if expected_hours is not None:
        records.details["expected"] = _shaped("expected_hours", expected_hours, np.float64, (tasks,))
        paths = network.longest_paths(records.details["expected"]) if longest_paths is None else longest_paths
        records.details["path"] = _shaped("longest_paths", paths, np.float64, (tasks,))
    results = _empty_results(draws, tasks, len(network.stages), people, points.size, trace)
    simulate_runs(
        records,
        left,
        present,
        np.full((draws, days), ROW_ORDER, dtype=np.uint8)
        if stage_rank is None
        else _shaped("stage_rank", stage_rank, np.uint8, (draws, days)),
        arrivals,
        np.column_stack(call_days),
        reopening,
        _shaped("reopening_after_hours", reopening_after_hours, np.float64, reopenable),
        points,
        results,
    )
    return Simulation(tasks=network.tasks, stages=network.stages, grid_days=points, **results._asdict())


def finish_frame(stages: Sequence[str], stage_finish: np.ndarray, build_finish: np.ndarray) -> pd.DataFrame:
    """Finish days as a frame: index run, one column per stage and "build"; infinite = past the horizon.

    Parameters
    ----------
    stages : names, in plan order
    stage_finish : (run, stage) days after `as_of`
    build_finish : (run,) days after `as_of`
    """
    days = np.column_stack([stage_finish, build_finish])
    return pd.DataFrame(days, columns=[*stages, "build"]).rename_axis(index="run")


def _empty_results(draws: int, tasks: int, stages: int, people: int, points: int, trace: bool) -> RunResults:
    traced = tasks if trace else 0
    return RunResults(
        start=np.empty((draws, tasks)),
        finish=np.empty((draws, tasks)),
        stage_finish=np.empty((draws, stages)),
        stage_first_90=np.empty((draws, stages)),
        build_finish=np.empty(draws),
        build_first_90=np.empty(draws),
        hours_done=np.empty((draws, stages, points), dtype=np.float32),
        worked_hours=np.empty((draws, people)),
        present_hours=np.empty((draws, people)),
        lacks=np.empty(draws, dtype=np.uint8),
        stuck_on=np.empty(draws, dtype=np.int32),
        cause=np.zeros((draws, traced), dtype=np.uint8),
        cause_of=np.full((draws, traced), NOBODY, dtype=np.int32),
        chain=np.full((draws, traced), NOBODY, dtype=np.int8),
        chain_days=np.zeros((draws, traced), dtype=np.float32),
    )


def _shaped(
    name: str, values: ArrayLike | None, kind: type, shape: tuple[int, ...], default: float = 0.0
) -> np.ndarray:
    """The values as an array of that shape; `default` everywhere where there are none."""
    array = np.full(shape, default, dtype=kind) if values is None else _array(values, kind)
    if array.shape != shape:
        raise ValueError(f"{name} must have the shape {shape}. Got {array.shape} instead.")
    return array


def _within(values: np.ndarray) -> bool:
    """Whether all are finite numbers of 0 or more; NaN fails both comparisons."""
    return values.size == 0 or bool(values.min() >= 0 and values.max() < np.inf)


def _must(holds: bool, sentence: str) -> None:
    if not holds:
        raise ValueError(sentence)


def _array(values: ArrayLike, kind: type) -> np.ndarray:
    """As one writable, contiguous array of one type: the kernel is compiled for a single signature."""
    return np.require(values, dtype=kind, requirements=["C", "W"])
