"""One chunk of runs: the same draws, played as it is and as it might be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from forecast.deliveries import draw_arrivals
from forecast.what_if import WhatIf, everybody_joining

if TYPE_CHECKING:
    from forecast.bench_time import BenchDraws
    from forecast.effort import RemainingWork
    from forecast.outlook import Fitted, Settings
    from forecast.schedule import Simulation

FIT, _EFFORT, _BENCH, _ARRIVALS = range(4)


@dataclass(frozen=True, kw_only=True)
class Played:
    """One chunk of runs: the work that was left, who was there, and how it went."""

    work: RemainingWork
    people: tuple[str, ...]
    simulation: Simulation


def stream(seed: int, *place: int) -> np.random.Generator:
    """A generator of its own for each place in the forecast, the same at every call."""
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=place))


def play_chunk(
    fitted: Fitted,
    settings: Settings,
    what_ifs: Sequence[WhatIf],
    *,
    chunk: int,
    runs: int,
    horizon: int,
    grid: np.ndarray,
    trace: bool,
) -> tuple[tuple[Played, ...], int]:
    """Play one chunk under each what-if, and the days that it took.

    The horizon doubles until more days would help no run, or the last one is reached.
    """
    work = {
        shared: fitted.effort.sample_remaining(runs, stream(settings.seed, _EFFORT, chunk), shared=shared)
        for shared in {w.shared for w in what_ifs}
    }
    arrivals = draw_arrivals(
        fitted.network.deliveries, fitted.as_of, runs, stream(settings.seed, _ARRIVALS, chunk)
    )
    days = fitted.bench.play(
        runs, stream(settings.seed, _BENCH, chunk), joining=everybody_joining(what_ifs)
    )
    first, played = horizon, ()
    rows = np.arange(runs)
    while True:
        bench = days.hours(0, horizon, rows)
        now = tuple(
            _play(fitted, work[w.shared].hours[rows], bench, arrivals[rows], w, what_ifs, grid, trace)
            for w in what_ifs
        )
        played = tuple(p.with_runs(rows, n) for p, n in zip(played, now, strict=True)) if played else now
        wanting = np.any([n.more_days_help for n in now], axis=0)
        if horizon >= settings.horizon_days or not wanting.any():
            break
        first = horizon if 2 * len(rows) > runs ...
def _play(
    fitted: Fitted,
    work: RemainingWork,
    drawn: BenchDraws,
    arrivals: np.ndarray,
    what_if: WhatIf,
    what_ifs: Sequence[WhatIf],
    grid: np.ndarray,
    trace: bool,
) -> Played:
    from forecast.schedule import simulate_schedule

    bench = what_if.applied_to(drawn, what_ifs)
    simulation = simulate_schedule(
        fitted.network,
        work.hours,
        bench.hours,
        bench.stage_rank,
        what_if.arrivals_from(arrivals, fitted.network.deliveries),
        only_two=bench.only_two,
        on_call=bench.on_call,
        ask_after=bench.ask_after,
        shared_penalty=work.shared_penalty,
        grid=grid,
        trace=trace,
    )
    return Played(work=work, people=bench.people, simulation=simulation)
