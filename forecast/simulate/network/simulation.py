"""Plays of the rest of a build: arrays in, arrays out, nothing drawn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from forecast.simulate.network.network import Network
from forecast.simulate.network.records import (
    CAUSES,
    LACKS_DAYS,
    LACKS_TWO,
    NOBODY,
    PERSON,
    UNFINISHED,
    RunResults,
)

_SAME_IN_ALL_RUNS = ("tasks", "stages", "grid_days")


@dataclass(frozen=True, kw_only=True)
class Simulation:
    """One play of the rest of the build for each draw. All days count from the end of `as_of`.

    Attributes
    ----------
    tasks, stages : ids of the open tasks and names of all stages, in plan order
    start, finish : (draw, task) days at which a task is first worked on and finished; infinite = past
        the horizon
    stage_finish, stage_first_90 : (draw, stage) days at which the last task of a stage is finished, and
        at which nine tenths of its hours (spent and left) are done; 0 = they are
    build_finish, build_first_90 : (draw,) the same for all stages together
    grid_days : (point,) days at which `hours_done` is read
    hours_done : (draw, stage, point) of the person-hours left at `as_of`, those done by then
    worked_hours : (draw, person) clock hours that each person worked on tasks
    present_hours : (draw, person) clock hours that each person was there until the build was finished
    lacks : (draw,) place in UNFINISHED of what a run would have needed to go on; 0 = it is finished
    stuck_on : (draw,) position of the first task that needed it; -1 none
    cause : (draw, task) place in CAUSES of what let a task start last; without `trace` no columns
    cause_of : (draw, task) the position of the task, or delivery, that was waited for; -1 none
    chain : (draw, task) for the tasks of the critical chain the place in CAUSES of what they waited for
        there, -1 for the others: a chain leads back from the last finish over what each task waited for
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
        """Whether causes and chains were noted."""
        return self.chain.shape[1] == len(self.tasks)

    @classmethod
    def joined(cls, chunks: Sequence[Simulation]) -> Simulation:
        """Several chunks of runs of one network as one."""
        arrays: dict[str, Any] = {
            f.name: np.concatenate([getattr(c, f.name) for c in chunks])
            for f in fields(cls)
            if f.name not in _SAME_IN_ALL_RUNS
        }
        return replace(chunks[0], **arrays)

    def with_runs(self, rows: np.ndarray, other: Simulation) -> Simulation:
        """The same with some runs, by position, as another simulation has them."""
        arrays: dict[str, Any] = {
            f.name: getattr(self, f.name).copy() for f in fields(self) if f.name not in _SAME_IN_ALL_RUNS
        }
        for name, values in arrays.items():
            values[rows] = getattr(other, name)
        return replace(self, **arrays)

    def without_tasks(self) -> Simulation:
        """The same without what is kept of single tasks, which is most of the memory."""
        nothing = np.empty((len(self.build_finish), 0))
        return replace(
            self,
            start=nothing,
            finish=nothing,
            cause=nothing,
            cause_of=nothing,
            chain=nothing,
            chain_days=nothing,
        )

    @property
    def more_days_help(self) -> np.ndarray:
        """(draw,) whether a run is unfinished for lack of days, or of a second person who may yet come."""
        second_may_come = self.worked_hours.shape[1] > 1
        return (self.lacks == LACKS_DAYS) | ((self.lacks == LACKS_TWO) & second_may_come)

    def chain_causes(self) -> dict[str, float]:
        """How the tasks of the critical chains are linked: cause -> share of all their links.

        Raises
        ------
        ValueError when the simulation was played without `trace`.
        """
        if not self.traced:
            raise ValueError("causes must be noted while playing: call simulate_schedule(..., trace=True).")
        links = Counter(self.chain[self.chain >= 0].tolist())
        return {CAUSES[c]: n / links.total() for c, n in sorted(links.items())}

    def unfinished_share(self) -> dict[str, float]:
        """Share of the runs that end unfinished by what they lack: days, two hands, a delivery, a limit."""
        counts = np.bincount(self.lacks, minlength=len(UNFINISHED))[1:]
        return {name: float(c) / len(self.lacks) for name, c in zip(UNFINISHED[1:], counts, strict=True) if c}

    def never_finished(self) -> Counter[tuple[str, str]]:
        """Runs that no more days would finish, by what they lack and the first task that lacks it."""
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
    reopening_after_days: ArrayLike | None = None,
    grid: ArrayLike = (),
    trace: bool = False,
) -> Simulation:
    """Play the network once for each draw.

    Each day everybody present starts together and leaves after their own hours. Whoever is free takes
    the first task, in row order, that is ready and whose crew is there, and stays with it until it is
    finished or the day ends; what nobody finished is taken up again on another day. A task for two starts
    when two are free at once. Two share an `either` task while nothing else is ready and, where
    `expected_hours` are given, when it pays: when the longest path from that task on is longer than all
    open work, the penalty added, takes with all hands, and the task that would be begun instead can wait
    until it is finished without a longer path of its own. A task that is opened again keeps what follows
    it and has not been begun waiting.

    Parameters
    ----------
    network : what is left to do
    hours : (draw, open task) person-hours left
    bench : (draw, day, person) clock hours at the bench; day 0 is the day after `as_of`
    stage_rank : (draw, day) which of the stages with work that can be picked up the day goes to first,
        counted by their first task in row order; 0 (the default) is row order itself
    release : (draw, delivery) days after `as_of` at which each delivery is there; 0 (the default) = it is
    only_two : (person,) takes part in two-person tasks only; then those come first
    on_call : (person,) comes on days of their own and when asked: on each day on which two-person work
        has waited for `call_after_days` days, for that work only and as long as whoever is there longest
    call_after_days : (draw,) days; infinite (the default) = nobody is ever asked
    idle_call_after_days : (draw,) the same on days on which there is no other work; the shorter of both
        counts
    lends : (person,) lends a hand with what another is on, be it for two or shared, and takes nothing on
        their own; on days on which they were asked in, two-person work comes first
    shared_penalty : person-hours that a task takes when two share it, over those it takes otherwise
    expected_hours : (open task,) person-hours left that the builders reckon with, from which they tell
        when it pays to share; by default it never does
    reopening_hours : (draw, open task) of the hours, those that come when the task, finished once, is opened
        again; 0 (the default) = it is not
    reopening_after_days : (draw, open task) days from the first finish until it is opened again, by whoever
        is at the bench then or next
    grid : ascending whole days after `as_of` at which the hours done are read
    trace : note what each task waited for, and the critical chain of each run

    Raises
    ------
    ValueError when the arrays do not fit each other or the network.

    Examples
    --------
    Two tasks of three hours, one after the other, at two hours a day:

    >>> from forecast.files.plan import Plan, Task
    >>> from forecast.simulate.network import network_of_untouched
    >>> plan = Plan(tasks=(Task(task="A", stage="tail", title="A"),
    ...                    Task(task="B", stage="tail", title="B", after=("A",))))
    >>> played = simulate_schedule(network_of_untouched(plan), [[3.0, 3.0]], [[[2.0], [2.0], [2.0]]])
    >>> played.finish.tolist()
    [[1.5, 3.0]]
    """
    from forecast.compiled import wait_for_other_process
    from forecast.simulate.network.kernel import simulate_runs

    present = _array(bench, np.float32)
    if present.ndim != 3 or present.shape[2] == 0:
        raise ValueError(f"bench must have the shape (draw, day, person). Got {present.shape} instead.")
    draws, days, people = present.shape
    tasks, stages, deliveries = len(network.tasks), len(network.stages), len(network.deliveries)
    points = _array(grid, np.int64)
    left = _shaped("hours", hours, np.float64, (draws, tasks))
    ranks = np.zeros((draws, days)) if stage_rank is None else stage_rank
    there = np.zeros((draws, deliveries)) if release is None else release
    nothing = np.empty((draws, 0))
    again = _array(nothing, np.float64)
    if reopening_hours is not None:
        again = _shaped("reopening_hours", reopening_hours, np.float64, (draws, tasks))
        _must(_within(again) and bool((again <= left).all()), "reopening_hours must be a part of hours.")
    _must(bool(np.all(np.diff(points) > 0)), "grid must ascend.")
    _must(_within(left), "hours must be numbers of 0 or more.")
    _must(_within(present), "bench must hold numbers of 0 or more.")
    _must(shared_penalty > 0, "shared_penalty must be above 0.")
    team = np.zeros(people, dtype=PERSON)
    team["only_two"] = False if only_two is None else _shaped("only_two", only_two, np.bool_, (people,))
    team["on_call"] = False if on_call is None else _shaped("on_call", on_call, np.bool_, (people,))
    team["lends"] = False if lends is None else _shaped("lends", lends, np.bool_, (people,))
    never = np.full(draws, np.inf)
    calls = (
        never if call_after_days is None else call_after_days,
        never if idle_call_after_days is None else idle_call_after_days,
    )
    stints = 2 * people * days + 6 * tasks if trace else 0
    records = network.records.for_play(
        team, stints, penalty=shared_penalty, trace=trace, weighs=expected_hours is not None
    )
    if expected_hours is not None:
        records.details["expected"] = _shaped("expected_hours", expected_hours, np.float64, (tasks,))
        paths = network.longest_paths(records.details["expected"]) if longest_paths is None else longest_paths
        records.details["path"] = _shaped("longest_paths", paths, np.float64, (tasks,))
    kept = _room(draws, tasks, stages, people, points.size, trace)
    wait_for_other_process()
    simulate_runs(
        records,
        left,
        present,
        _shaped("stage_rank", ranks, np.uint8, (draws, days)),
        _arrivals(there, draws, deliveries),
        np.column_stack([_shaped("call_after_days", days, np.float64, (draws,)) for days in calls]),
        again,
        _shaped(
            "reopening_after_days",
            nothing if reopening_after_days is None else reopening_after_days,
            np.float64,
            again.shape,
        ),
        points,
        kept,
    )
    return Simulation(tasks=network.tasks, stages=network.stages, grid_days=points, **kept._asdict())


def kernel_is_compiled() -> bool:
    """Whether this machine has the kernel compiled: else the first play takes some seconds longer.

    Once compiled it is kept beside the package or, where that folder cannot be written, in the user's
    cache folder.
    """
    from forecast.compiled import is_compiled
    from forecast.simulate.network import kernel

    return is_compiled(kernel.simulate_runs, kernel.__file__)


def _room(draws: int, tasks: int, stages: int, people: int, points: int, trace: bool) -> RunResults:
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


def _shaped(name: str, values: ArrayLike, kind: type, shape: tuple[int, ...]) -> np.ndarray:
    array = _array(values, kind)
    if array.shape != shape:
        raise ValueError(f"{name} must have the shape {shape}. Got {array.shape} instead.")
    return array


def _arrivals(release: ArrayLike, draws: int, deliveries: int) -> np.ndarray:
    days = _shaped("release", release, np.float64, (draws, deliveries))
    _must(not np.isnan(days).any(), "release must hold numbers.")
    return days


def _within(values: np.ndarray) -> bool:
    """Whether all are numbers from 0 up to below infinity; not-a-number fails both comparisons."""
    return values.size == 0 or bool(values.min() >= 0 and values.max() < np.inf)


def _must(holds: bool, sentence: str) -> None:
    if not holds:
        raise ValueError(sentence)


def _array(values: ArrayLike, kind: type) -> np.ndarray:
    """As one writable block of one kind, so that the kernel is compiled for one signature only."""
    return np.require(values, dtype=kind, requirements=["C", "W"])
