"""One chunk of runs: the same draws, played as it is and as it might be."""

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

_MOST_THREADS = 2
_threads: ContextVar[int | None] = ContextVar("threads", default=None)
J = TypeVar("J")
T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class SimulatedBatch:
    """One chunk of runs: the work that was left, who was there, and how it went."""

    work: RemainingWork
    people: tuple[str, ...]
    simulation: Simulation

    def with_runs(self, rows: np.ndarray, other: SimulatedBatch) -> SimulatedBatch:
        """The same with some runs as they were played again."""
        return replace(self, simulation=self.simulation.with_runs(rows, other.simulation))


@dataclass(frozen=True, kw_only=True)
class DrawnBatch:
    """What was drawn of one chunk of runs, the days at the bench apart.

    Attributes
    ----------
    fitted : of the build
    work : share of the hours that two work together -> the work that is left
    paths : the same -> (open task,) longest paths by the hours that the builders reckon with
    arrivals : (run, delivery) days after `as_of`
    """

    fitted: Fitted
    work: dict[float | None, RemainingWork]
    paths: dict[float | None, np.ndarray]
    arrivals: np.ndarray

    def play(
        self,
        rows: np.ndarray,
        bench: BenchDraws,
        what_if: WhatIf,
        what_ifs: Sequence[WhatIf],
        *,
        grid: ArrayLike = (),
        trace: bool = False,
    ) -> SimulatedBatch:
        """Play some of the runs under one of the what-ifs; `bench` holds the days of those runs."""
        from forecast.simulate.network import simulate_schedule

        bench, later = what_if.applied_to(bench, what_ifs), what_if.found_later
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
            reopening_hours=work.reopening_hours[rows] if later else None,
            reopening_after_days=work.reopening_after_days[rows] if later else None,
            grid=grid,
            trace=trace,
        )
        return SimulatedBatch(work=work, people=bench.people, simulation=simulation)


def draw_batch(
    fitted: Fitted, settings: Settings, what_ifs: Sequence[WhatIf], *, chunk: int, runs: int
) -> tuple[DrawnBatch, PresenceSampler]:
    """Draw one chunk of runs; the days at the bench are drawn as far as they are asked for."""
    seed = settings.seed
    work = {
        shared: fitted.effort.sample_remaining(runs, stream(seed, EFFORT, chunk), shared=shared)
        for shared in {w.shared for w in what_ifs}
    }
    drawn = DrawnBatch(
        fitted=fitted,
        work=work,
        paths={shared: fitted.network.longest_paths(left.expected_hours) for shared, left in work.items()},
        arrivals=draw_arrivals(fitted.network.deliveries, fitted.as_of, runs, stream(seed, ARRIVALS, chunk)),
    )
    rng = stream(seed, BENCH, chunk)
    return drawn, fitted.bench.presence_sampler(runs, rng, joining=everyone_joining(what_ifs))


def simulate_batch(
    fitted: Fitted,
    settings: Settings,
    what_ifs: Sequence[WhatIf],
    *,
    chunk: int,
    runs: int,
    horizon: int,
    grid: np.ndarray,
    trace: bool,
) -> tuple[tuple[SimulatedBatch, ...], int]:
    """Play one chunk under each what-if, and the days that half of its runs or more took.

    The days double for the runs that more days would help, until there is none or the last day is reached.
    """
    drawn, days = draw_batch(fitted, settings, what_ifs, chunk=chunk, runs=runs)

    def play_rows(rows: np.ndarray, horizon: int) -> tuple[SimulatedBatch, ...]:
        bench = days.hours(0, horizon, rows)
        return tuple(drawn.play(rows, bench, w, what_ifs, grid=grid, trace=trace) for w in what_ifs)

    rows, usual = np.arange(runs), horizon
    played = play_rows(rows, horizon)
    while horizon < settings.horizon_days:
        rows = rows[np.any([p.simulation.more_days_help[rows] for p in played], axis=0)]
        if not len(rows):
            break
        horizon = min(2 * horizon, settings.horizon_days)
        usual = horizon if 2 * len(rows) > runs else usual
        longer = play_rows(rows, horizon)
        played = tuple(p.with_runs(rows, more) for p, more in zip(played, longer, strict=True))
    return played, usual


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
    """Every chunk with its runs, in order; while one is looked at the next are played.

    A chunk is drawn and played apart from the others, so the threads change nothing but the time. Each
    begins with the days that half of the runs took in the chunk that was finished last.

    Parameters
    ----------
    size : runs of a chunk; the last one has what is left
    horizon : days that the first chunks begin with
    """
    usual = horizon

    def play(numbered: tuple[int, int]) -> tuple[int, tuple[SimulatedBatch, ...]]:
        nonlocal usual
        chunk, runs = numbered
        played, usual = simulate_batch(
            fitted, settings, what_ifs, chunk=chunk, runs=runs, horizon=usual, grid=grid, trace=trace
        )
        return runs, played

    yield from map_in_order(play, numbered_batches(settings.runs, size))


def numbered_batches(runs: int, size: int) -> Iterator[tuple[int, int]]:
    """Number and runs of each chunk; the last one has what is left.

    >>> list(numbered_batches(1100, 500))
    [(0, 500), (1, 500), (2, 100)]
    """
    return enumerate(min(size, runs - start) for start in range(0, runs, size))


@contextmanager
def limit_threads(count: int) -> Iterator[None]:
    """So many jobs side by side: one in a process that is one of several already."""
    before = _threads.set(count)
    try:
        yield
    finally:
        _threads.reset(before)


def map_in_order(work: Callable[[J], T], jobs: Iterable[J]) -> Iterator[T]:
    """What `work` makes of each job, in order, while the next are under way on threads.

    A core each, but no more than memory has room for, unless `limit_threads` says how many.

    Examples
    --------
    >>> list(map_in_order(abs, [-1, 2, -3]))
    [1, 2, 3]
    """
    waiting = iter(jobs)
    many = _threads.get() or min(_MOST_THREADS, os.cpu_count() or 1)
    with ThreadPoolExecutor(many, thread_name_prefix="chunk") as pool:
        under_way = deque(pool.submit(work, job) for job in islice(waiting, many))
        while under_way:
            done = under_way.popleft().result()
            under_way.extend(pool.submit(work, job) for job in islice(waiting, 1))
            yield done
