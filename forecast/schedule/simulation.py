"""Plays of the rest of a build: arrays in, arrays out, nothing drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from forecast.schedule.network import Network
from forecast.schedule.records import NOBODY, PERSON, Kept


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
    cause: np.ndarray
    cause_of: np.ndarray
    chain: np.ndarray


def simulate_schedule(
    network: Network,
    hours: ArrayLike,
    bench: ArrayLike,
    stage_rank: ArrayLike | None = None,
    release: ArrayLike | None = None,
    *,
    only_two: ArrayLike | None = None,
    shared_penalty: float = 1.0,
    grid: ArrayLike = (),
    trace: bool = False,
) -> Simulation:
    """Play the network once for each draw.

    Each day everybody present starts together and leaves after their own hours. Whoever is free takes
    the first task, in row order, that is ready and whose crew is there; what nobody finished is taken up
    again on another day. Two share an `either` task only while nothing else is ready.

    Parameters
    ----------
    network : what is left to do
    hours : (draw, open task) person-hours left
    bench : (draw, day, person) clock hours at the bench; day 0 is the day after `as_of`
    stage_rank : (draw, day) which of the stages with work that can be picked up the day goes to first,
        counted by their first task in row order; 0 (the default) is row order itself
    release : (draw, delivery) days after `as_of` at which each delivery is there; 0 (the default) = it is
    only_two : (person,) takes part in two-person tasks only; then those come first
    shared_penalty : person-hours that a task takes when two share it, over those it takes otherwise
    grid : ascending whole days after `as_of` at which the hours done are read

    Examples
    --------
    Two tasks of three hours, one after the other, at two hours a day:

    >>> from forecast.plan import Plan, Task
    >>> from forecast.schedule import network_of_untouched
    >>> plan = Plan(tasks=(Task(task="A", stage="tail", title="A"),
    ...                    Task(task="B", stage="tail", title="B", after=("A",))))
    >>> played = simulate_schedule(network_of_untouched(plan), [[3.0, 3.0]], [[[2.0], [2.0], [2.0]]])
    >>> played.finish.tolist()
    [[1.5, 3.0]]
    """
    from forecast.schedule.kernel import play_runs

    draws, days, people = np.shape(bench)
    if people == 0:
        raise ValueError("bench must hold at least one person. Got none instead.")
    tasks, stages, deliveries = len(network.tasks), len(network.stages), len(network.deliveries)
    points = _array(grid, np.int64)
    left = _shaped("hours", hours, np.float64, (draws, tasks))
    ranks = np.zeros((draws, days)) if stage_rank is None else stage_rank
    there = np.zeros((draws, deliveries)) if release is None else release
    team = np.zeros(people, dtype=PERSON)
    team["only_two"] = False if only_two is None else _shaped("only_two", only_two, np.bool_, (people,))
    stints = 2 * people * days + 4 * tasks if trace else 0
    kept = _room(draws, tasks, stages, people, points.size, trace)
    play_runs(
        network.records.for_play(team, stints, penalty=shared_penalty, trace=trace),
        left,
        _array(bench, np.float32),
        _shaped("stage_rank", ranks, np.uint8, (draws, days)),
        _shaped("release", there, np.float64, (draws, deliveries)),
        points,
        kept,
    )
    return Simulation(tasks=network.tasks, stages=network.stages, grid_days=points, **kept._asdict())


def _room(draws: int, tasks: int, stages: int, people: int, points: int, trace: bool) -> Kept:
    traced = tasks if trace else 0
    return Kept(
        start=np.empty((draws, tasks)),
        finish=np.empty((draws, tasks)),
        stage_finish=np.empty((draws, stages)),
        stage_first_90=np.empty((draws, stages)),
        build_finish=np.empty(draws),
        build_first_90=np.empty(draws),
        hours_done=np.empty((draws, stages, points), dtype=np.float32),
        worked_hours=np.empty((draws, people)),
        present_hours=np.empty((draws, people)),
        cause=np.zeros((draws, traced), dtype=np.uint8),
        cause_of=np.full((draws, traced), NOBODY, dtype=np.int32),
        chain=np.full((draws, traced), NOBODY, dtype=np.int8),
    )


def _shaped(name: str, values: ArrayLike, kind: type, shape: tuple[int, ...]) -> np.ndarray:
    array = _array(values, kind)
    if array.shape != shape:
        raise ValueError(f"{name} must have the shape {shape}. Got {array.shape} instead.")
    return array


def _array(values: ArrayLike, kind: type) -> np.ndarray:
    """As one writable block of one kind, so that the kernel is compiled for one signature only."""
    return np.require(values, dtype=kind, requirements=["C", "W"])
