"""Batches of runs: however many are simulated at a time, the same answers in the same order."""

import threading
from dataclasses import replace

import numpy as np
import pytest

from forecast.simulate.finish import burn_down_grid, simulate_what_ifs
from forecast.simulate.runs import batches_in_order, limit_threads, map_in_order
from forecast.simulate.what_if import BASELINE, WhatIf
from tests.small_builds import QUICK, fitted_build, plan_of

SETTINGS = replace(QUICK, runs=70)
PLAN = plan_of(*({} for _ in range(14)))


def batches_of(fitted, threads):
    what_ifs, grid = [BASELINE, WhatIf(rework_reopens=False)], burn_down_grid(SETTINGS.horizon_days)
    with limit_threads(threads):
        return list(batches_in_order(fitted, SETTINGS, what_ifs, size=20, horizon=60, grid=grid, trace=True))


def test_the_threads_change_nothing():
    fitted = fitted_build(PLAN)
    alone, both = batches_of(fitted, 1), batches_of(fitted, 3)
    assert [runs for runs, _ in alone] == [runs for runs, _ in both] == [20, 20, 20, 10]
    for (_, one), (_, other) in zip(alone, both, strict=True):
        for a, b in zip(one, other, strict=True):
            assert a.work.hours.tobytes() == b.work.hours.tobytes()
            for name in ("finish", "stage_finish", "build_first_90", "hours_done", "cause", "chain_days"):
                assert getattr(a.simulation, name).tobytes() == getattr(b.simulation, name).tobytes()
    assert not np.array_equal(both[0][1][0].simulation.finish, both[1][1][0].simulation.finish)


def test_progress_is_reported_in_order_and_errors_are_raised():
    fitted, reported = fitted_build(PLAN), []
    settings = replace(QUICK, runs=1200)
    simulate_what_ifs(fitted, settings, [BASELINE], on_progress=lambda done, of: reported.append((done, of)))
    assert reported == [(500, 1200), (1000, 1200), (1200, 1200)]

    def refuse(batches):
        raise RuntimeError("no more")

    with pytest.raises(RuntimeError, match="no more"):
        simulate_what_ifs(fitted, settings, [BASELINE], on_batch=refuse)


def test_limited_to_one_thread_jobs_run_one_at_a_time():
    threads = set()
    with limit_threads(1):
        list(map_in_order(lambda _: threads.add(threading.get_ident()), range(10)))
    assert len(threads) == 1
