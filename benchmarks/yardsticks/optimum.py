"""Proven optima of small schedules by CP-SAT, the yardstick of the rule of taking tasks in row order."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from ortools.sat.python import cp_model

from forecast.files.plan import Crew, Plan, Task
from forecast.simulate.network import Network, network_of_untouched, simulate_schedule
from forecast.simulate.network.records import TWO

# One day as long as the whole schedule: a power of two, so that hours convert to days without rounding.
LONG_DAY_HOURS = 4096.0


@dataclass(frozen=True, kw_only=True)
class Case:
    """A random network.

    Attributes
    ----------
    hours : elapsed hours of each task
    after : positions of its predecessors
    two : whether it needs two people
    shared : whether two people may share it; empty: none
    """

    hours: tuple[int, ...]
    after: tuple[tuple[int, ...], ...]
    two: tuple[bool, ...]
    shared: tuple[bool, ...] = ()


def random_case(
    tasks: int,
    rng: np.random.Generator,
    *,
    two_share: float = 0.15,
    either_share: float = 0.0,
    reach: int = 8,
) -> Case:
    """Tasks of 1 to 9 hours, each with up to two predecessors.

    Parameters
    ----------
    tasks : how many
    rng : source of the network
    two_share, either_share : chance that a task needs two people, or may be shared
    reach : predecessors are among this many tasks before it
    """
    after = [
        tuple(
            sorted(
                rng.choice(np.arange(max(0, i - reach), i), min(i, int(rng.integers(0, 3))), replace=False)
            )
        )
        for i in range(tasks)
    ]
    hours = tuple(int(h) for h in rng.integers(1, 10, tasks))
    two = rng.random(tasks) < two_share
    shared = ~two & (rng.random(tasks) < either_share) if either_share else ()
    return Case(
        hours=hours,
        after=tuple(tuple(int(j) for j in a) for a in after),
        two=tuple(bool(t) for t in two),
        shared=tuple(bool(t) for t in shared),
    )


def longest_path_after(case: Case) -> np.ndarray:
    """(task,) hours of the longest path from the start of each task."""
    path = np.array(case.hours, dtype=float)
    for i in reversed(range(len(case.hours))):
        for j in case.after[i]:
            path[j] = max(path[j], case.hours[j] + path[i])
    return path


def by_longest_path(case: Case) -> Case:
    """The same network with its rows ordered by longest path, the longest first."""
    order = np.lexsort((np.arange(len(case.hours)), -longest_path_after(case)))
    place = {int(old): new for new, old in enumerate(order)}
    return Case(
        hours=tuple(case.hours[i] for i in order),
        after=tuple(tuple(place[j] for j in case.after[i]) for i in order),
        two=tuple(case.two[i] for i in order),
        shared=tuple(case.shared[i] for i in order if case.shared),
    )


def network_of_case(case: Case) -> Network:
    """The case as a network of the kernel."""
    return network_of_untouched(
        Plan(
            tasks=tuple(
                Task(task=str(i), stage="all", title="", crew=_crew(case, i),
                     after=tuple(str(j) for j in case.after[i]))
                for i in range(len(case.hours))
            )
        )
    )  # fmt: skip


def _crew(case: Case, i: int) -> Crew:
    return "two" if case.two[i] else "either" if case.shared and case.shared[i] else "one"


def played_makespan(case: Case, people: int = 2, *, penalty: float = 1.0, weighs: bool = False) -> float:
    """Hours that full-time builders take by the kernel's rule.

    Parameters
    ----------
    case : the network
    people : builders
    penalty : person-hours of a shared task, relative to one person alone
    weighs : share also where it pays, not only when nothing else is ready
    """
    network = network_of_case(case)
    person_hours = np.array(case.hours) * np.where(network.crew == TWO, 2.0, 1.0)
    played = simulate_schedule(
        network,
        [person_hours],
        np.full((1, 1, people), LONG_DAY_HOURS),
        shared_penalty=penalty,
        expected_hours=person_hours if weighs else None,
    )
    return float(played.build_finish[0] * LONG_DAY_HOURS)


def least_makespan(case: Case, people: int = 2, *, seconds: float = 20.0) -> tuple[int, bool]:
    """The shortest possible makespan, no task interrupted, and whether it is proven.

    When it is not proven within `seconds`: the best proven lower bound.
    """
    model = cp_model.CpModel()
    horizon = sum(case.hours)
    starts = [model.new_int_var(0, horizon, "") for _ in case.hours]
    spans = [model.new_fixed_size_interval_var(s, h, "") for s, h in zip(starts, case.hours, strict=True)]
    model.add_cumulative(spans, [2 if two else 1 for two in case.two], people)
    length = model.new_int_var(0, horizon, "")
    for i, after in enumerate(case.after):
        model.add(length >= starts[i] + case.hours[i])
        for j in after:
            model.add(starts[i] >= starts[j] + case.hours[j])
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 8  # with two workers, thirty tasks were not proven within twenty seconds
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    return ceil(solver.best_objective_bound - 1e-6), status == cp_model.OPTIMAL


def least_makespan_shared(case: Case, penalty: float, *, seconds: float = 20.0) -> tuple[float, bool]:
    """The shortest possible makespan of two when each task is shared from end to end or not at all.

    The kernel may share a part of a task, and so do better. When it is not proven within `seconds`: the best
    proven lower bound. Times are rounded to hundredths of an hour, as CP-SAT needs whole numbers.
    """
    model = cp_model.CpModel()
    alone = [100 * h for h in case.hours]
    horizon = sum(alone)
    starts = [model.new_int_var(0, horizon, "") for _ in alone]
    ends, demands, spans = [], [], []
    for i, (start, hours) in enumerate(zip(starts, alone, strict=True)):
        together = model.new_bool_var("")
        if not case.shared[i]:
            model.add(together == 0)
        size = hours - (hours - round(0.5 * penalty * hours)) * together
        end = model.new_int_var(0, horizon, "")
        spans.append(model.new_interval_var(start, size, end, ""))
        demands.append(1 + together + case.two[i])
        ends.append(end)
    model.add_cumulative(spans, demands, 2)
    length = model.new_int_var(0, horizon, "")
    for i, after in enumerate(case.after):
        model.add(length >= ends[i])
        for j in after:
            model.add(starts[i] >= ends[j])
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 8
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    return solver.best_objective_bound / 100, status == cp_model.OPTIMAL
