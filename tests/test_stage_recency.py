"""Stages in the order in which they were worked on last: in the log, and in the simulation."""

import numpy as np

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time.stage_rank import stage_ranks
from forecast.learn.progress import read_progress
from forecast.simulate.network import network_of, simulate_schedule
from tests.conftest import sessions_frame
from tests.test_bench_time import MONDAY
from tests.test_bench_time_days import on

PLAN = Plan(
    tasks=tuple(Task(task=s[0].upper(), stage=s, title="", crew="one") for s in ("tail", "wing", "hull"))
)


def test_ranks_of_five_days_and_three_stages_by_pencil():
    # Before each day, by recency: T W H | H T W | T H W | W T H | W T H
    rows = [on(day, task) for day, task in enumerate("HTWWH")]
    ranks = stage_ranks(read_progress(PLAN, sessions_frame(rows), MONDAY.replace(day=9)), PLAN)
    assert ranks["stage"].tolist() == ["hull", "tail", "wing", "wing", "hull"]
    assert ranks["rank"].tolist() == [2, 1, 2, 0, 2]
    assert ranks["stages"].tolist() == [3, 3, 3, 3, 3]


def test_the_simulation_begins_where_the_log_ends():
    # Hull last, tail before it, the wing not begun.
    rows = [on(0, "T"), on(1, "H")]
    progress = read_progress(PLAN, sessions_frame(rows), MONDAY.replace(day=9))
    network = network_of(PLAN, progress, (), progress.as_of)
    assert network.idle_days.tolist() == [8.0, np.inf, 7.0]
    firsts = []
    for rank in range(4):
        result = simulate_schedule(network, [[2, 2, 2]], np.full((1, 1, 1), 2.0), stage_rank=[[rank]])
        firsts.append(network.tasks[int(np.flatnonzero(np.isfinite(result.finish[0]))[0])])
    assert firsts == ["H", "T", "W", "H"]
