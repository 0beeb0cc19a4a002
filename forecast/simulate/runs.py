"""Simulation runs in batches: drawn once, simulated under each what-if, several batches at a time."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from forecast.learn.deliveries import draw_arrivals
from forecast.random_streams import ARRIVALS, BENCH, EFFORT, stream
from forecast.simulate.fitted import Fitted
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import WhatIf, everyone_joining

if TYPE_CHECKING:
    from forecast.learn.bench_time import BenchDraws
    from forecast.learn.bench_time.simulated_weeks import PresenceSampler
    from forecast.learn.effort import RemainingWork
    from forecast.simulate.network import Simulation

# Judgement: each thread holds the days of its batch (22 MB for 500 runs of 15 years and two people) and up to
# one copy per what-if, so many cores would fill a small machine's memory.
_MOST_THREADS = 2
_threads: ContextVar[int | None] = ContextVar("threads", default=None)
J = TypeVar("J")
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class SimulatedBatch:
    """One batch of runs: the hours that were left, who came to the bench, and the simulation."""

    work: RemainingWork
    people: tuple[str, ...]
    simulation: Simulation

    def with_runs(self, rows: np.ndarray, other: SimulatedBatch) -> SimulatedBatch:
        """The same with the runs at positions `rows` replaced by those of another batch."""
        return replace(self, simulation=self.simulation.with_runs(rows, other.simulation))


@dataclass(frozen=True, kw_only=True)
class DrawnBatch:
    """The draws of one batch of runs, except the days at the bench.

    Attributes
    ----------
    fitted : of the build
    work : share of the hours that two work together -> the hours left
    paths : the same share -> (open task,) longest paths by the hours that the builders expect
    arrivals : (run, delivery) days after `as_of`
    """

    fitted: Fitted
    work: dict[float | None, RemainingWork]
    paths: dict[float | None, np.ndarray]
    arrivals: np.ndarray

    def simulate(
        self,
        rows: np.ndarray,
        bench: BenchDraws,
        what_if: WhatIf,
        what_ifs: Sequence[WhatIf],
        *,
        grid: ArrayLike = (),
        trace: bool = False,
    ) -> SimulatedBatch:
        """Simulate some of the runs under one of the what-ifs.

        Parameters
        ----------
        rows : positions of the runs in the batch
        bench : days at the bench of those runs
        what_if, what_ifs : the one to simulate, and all those drawn together
        grid, trace : as in `simulate_schedule`
        """
        from forecast.simulate.network import simulate_schedule

        bench, reopens = what_if.applied_to(bench, what_ifs), what_if.rework_reopens
        work, network = self.work[what_if.shared], self.fitted.network
        simulation = simulate_schedule(
            network,
            work.hours[rows],
            bench.hours,
            bench.stage_rank,
            what_if.arrivals_from(self.arrivals[rows], network.deliveries),
            only_two=bench.only_two,
            on_call=bench.on_call,
            call_after_days=bench.call_after_days,
            idle_call_after_days=bench.idle_call_after_days,
            lends=bench.lends,
            shared_penalty=work.shared_penalty,
            expected_hours=work.expected_hours,
            longest_paths=self.paths[what_if.shared],
            reopening_hours=work.reopening_hours[rows] if reopens else None,
            reopening_after_hours=work.reopening_after_hours[rows] if reopens else None,
            grid=grid,
            trace=trace,
        )
        return SimulatedBatch(work=work, people=bench.people, simulation=simulation)


def draw_batch(
    fitted: Fitted, settings: Settings, what_ifs: Sequence[WhatIf], *, number: int, runs: int
) -> tuple[DrawnBatch, PresenceSampler]:
    """Draw one batch; the sampler draws its days at the bench as far as they are needed.

    Parameters
    ----------
    fitted, settings : of the forecast
    what_ifs : those to be simulated on these draws
    number : of the batch, from 0; it names the random streams
    runs : of the batch
    """
    seed = settings.seed
    work = {
        shared: fitted.effort.sample_remaining(runs, stream(seed, EFFORT, number), shared=shared)
        for shared in {w.shared for w in what_ifs}
    }
    drawn = DrawnBatch(
        fitted=fitted,
        work=work,
        paths={shared: fitted.network.longest_paths(left.expected_hours) for shared, left in work.items()},
        arrivals=draw_arrivals(fitted.network.deliveries, fitted.as_of, runs, stream(seed, ARRIVALS, number)),
    )
    rng = stream(seed, BENCH, number)
    return drawn, fitted.bench.presence_sampler(runs, rng, joining=everyone_joining(what_ifs))


def batches_in_order(
    fitted: Fitted,
    settings: Settings,
    what_ifs: Sequence[WhatIf],
    *,
    size: int,
    horizon: int,
    grid: np.ndarray,
    trace: bool,
) -> Iterator[tuple[int, tuple[SimulatedBatch, ...]]]:
    """Every batch with its number of runs, in order; the next are simulated meanwhile.

    A batch has its own random streams, so the threads change nothing but the time. Each batch starts with
    as many days as half of the runs took in the batch that was finished last.

    Parameters
    ----------
    fitted, settings : of the forecast
    what_ifs : each is simulated on the same draws
    size : runs per batch; the last one has the remainder
    horizon : days with which the first batches start
    grid, trace : as in `simulate_schedule`
    """
    usual = horizon

    def simulate(numbered: tuple[int, int]) -> tuple[int, tuple[SimulatedBatch, ...]]:
        nonlocal usual
        number, runs = numbered
        drawn, days = draw_batch(fitted, settings, what_ifs, number=number, runs=runs)

        def simulate_rows(rows: np.ndarray, horizon: int) -> tuple[SimulatedBatch, ...]:
            bench = days.hours(0, horizon, rows)
            return tuple(drawn.simulate(rows, bench, w, what_ifs, grid=grid, trace=trace) for w in what_ifs)

        batches, usual = _until_finished(simulate_rows, runs, usual, settings.horizon_days)
        return runs, batches

    yield from map_in_order(simulate, numbered_batches(settings.runs, size))


def _until_finished(
    simulate_rows: Callable[[np.ndarray, int], tuple[SimulatedBatch, ...]],
    runs: int,
    horizon: int,
    last_day: int,
) -> tuple[tuple[SimulatedBatch, ...], int]:
    """One batch per what-if, and the days that at least half of its runs took.

    The days double for the runs that more days would help, up to the last day.
    """
    rows, usual = np.arange(runs), horizon
    batches = simulate_rows(rows, horizon)
    while horizon < last_day:
        rows = rows[np.any([b.simulation.more_days_help[rows] for b in batches], axis=0)]
        if not len(rows):
            break
        horizon = min(2 * horizon, last_day)
        usual = horizon if 2 * len(rows) > runs else usual
        longer = simulate_rows(rows, horizon)
        batches = tuple(b.with_runs(rows, more) for b, more in zip(batches, longer, strict=True))
    return batches, usual


def numbered_batches(runs: int, size: int) -> Iterator[tuple[int, int]]:
    """Number and runs of each batch; the last one has the remainder.

    Parameters
    ----------
    runs : in all
    size : runs per batch

    Examples
    --------
    >>> list(numbered_batches(1100, 500))
    [(0, 500), (1, 500), (2, 100)]
    """
    return enumerate(min(size, runs - start) for start in range(0, runs, size))


@contextmanager
def limit_threads(count: int) -> Iterator[None]:
    """Run at most `count` jobs at a time: 1 in a process that is one of several."""
    before = _threads.set(count)
    try:
        yield
    finally:
        _threads.reset(before)


def map_in_order(work: Callable[[J], T], jobs: Iterable[J]) -> Iterator[T]:
    """The result of each job, in order, while threads work on the next ones.

    Parameters
    ----------
    work : called with each job
    jobs : read no faster than threads become free

    Examples
    --------
    >>> list(map_in_order(abs, [-1, 2, -3]))
    [1, 2, 3]
    """
    remaining = iter(jobs)
    threads = _threads.get() or min(_MOST_THREADS, os.cpu_count() or 1)
    with ThreadPoolExecutor(threads, thread_name_prefix="batch") as pool:
        running = deque(pool.submit(work, job) for job in islice(remaining, threads))
        while running:
            done = running.popleft().result()
            running.extend(pool.submit(work, job) for job in islice(remaining, 1))
            yield done
