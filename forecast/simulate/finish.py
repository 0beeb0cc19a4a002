"""The entry points: from a build folder to the day on which each stage is finished, in every run.

The steps: what each task took, what the rest will take, when somebody is at the bench, and thousands of
simulation runs of both through the network of the plan.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from forecast.files.folder import Build
from forecast.random_streams import BATCH_RUNS
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.runs import SimulatedBatch, batches_in_order
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import BASELINE, WhatIf

if TYPE_CHECKING:
    from forecast.simulate.network import Simulation

# Judgement: about two years. Runs that need more double it, so it changes the time taken and no answer.
_FIRST_HORIZON_DAYS = 720


def forecast_finish(
    build: Build,
    as_of: date | str,
    settings: Settings | None = None,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> Outlook:
    """When each stage and the whole build finish.

    Parameters
    ----------
    build : the folder, read by `forecast.files.folder.read_build`
    as_of : the last day that counts; a date or its ISO text
    settings : runs, seed, horizon and priors
    on_progress : called with (runs done, runs in all)

    Raises
    ------
    UsageError for an `as_of` that is no day.

    Examples
    --------
    >>> from forecast.files.folder import read_build
    >>> outlook = forecast_finish(read_build("sample_logs/dinghy"), "2026-09-30", Settings(runs=50))
    >>> outlook.days().shape
    (50,)
    """
    settings = settings or Settings()
    return simulate_build(fit_build(build, as_of, settings), settings, on_progress=on_progress)


def simulate_build(
    fitted: Fitted,
    settings: Settings,
    *,
    what_if: WhatIf = BASELINE,
    first_horizon_days: int = _FIRST_HORIZON_DAYS,
    on_progress: Callable[[int, int], None] | None = None,
) -> Outlook:
    """Simulate the rest of the build `settings.runs` times.

    Simulations with the same settings share their draws run by run, whatever the what-if, so that what a
    second builder changes is a difference within each run.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    what_if : what is different from the build as it is
    first_horizon_days : days to simulate first; they double for the runs that more days would help. It
        changes the time taken and nothing else
    on_progress : called with (runs done, runs in all)
    """
    (outlook,) = simulate_what_ifs(
        fitted, settings, [what_if], first_horizon_days=first_horizon_days, on_progress=on_progress
    )
    return outlook


def simulate_what_ifs(
    fitted: Fitted,
    settings: Settings,
    what_ifs: Sequence[WhatIf],
    *,
    on_batch: Callable[[tuple[SimulatedBatch, ...]], None] | None = None,
    trace: bool = False,
    first_horizon_days: int = _FIRST_HORIZON_DAYS,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Outlook, ...]:
    """Simulate several what-ifs on the same draws.

    Parameters
    ----------
    fitted, settings, first_horizon_days, on_progress : as in `simulate_build`
    what_ifs : each gets its own outlook
    on_batch : called with each batch of runs, simulated once per what-if
    trace : record the causes of every start, and the critical chains
    """
    parts: list[list[_Part]] = [[] for _ in what_ifs]
    horizon = min(first_horizon_days, settings.horizon_days)
    grid = burn_down_grid(settings.horizon_days)
    runs_done = 0
    for runs, batches in batches_in_order(
        fitted, settings, what_ifs, size=BATCH_RUNS, horizon=horizon, grid=grid, trace=trace
    ):
        for collected, batch in zip(parts, batches, strict=True):
            collected.append(_part(fitted, batch))
        if on_batch is not None:
            on_batch(batches)
        runs_done += runs
        if on_progress is not None:
            on_progress(runs_done, settings.runs)
    return tuple(_outlook(fitted, settings, grid, collected) for collected in parts)


def burn_down_grid(horizon_days: int) -> np.ndarray:
    """(point,) days after `as_of` at which the burn-down is read.

    >>> burn_down_grid(5479)[[0, 1, 53, 54]].tolist()
    [0, 14, 742, 798]
    """
    # Fortnights for two years, where charts show most detail; then 8 weeks, which keeps memory small.
    near = np.arange(0, min(742, horizon_days) + 1, 14)
    return np.concatenate([near, np.arange(near[-1] + 56, horizon_days + 1, 56)])


@dataclass(frozen=True, kw_only=True)
class _Part:
    """What the outlook needs of one batch of runs; the arrays per task are dropped."""

    hours_left: np.ndarray
    hours_parts: dict[str, np.ndarray]
    simulation: Simulation


def _part(fitted: Fitted, batch: SimulatedBatch) -> _Part:
    return _Part(
        hours_left=_hours_by_stage(fitted, batch.work.hours),
        hours_parts=batch.work.parts,
        simulation=batch.simulation.without_tasks(),
    )


def _outlook(fitted: Fitted, settings: Settings, grid: np.ndarray, parts: list[_Part]) -> Outlook:
    simulations = [p.simulation for p in parts]
    return Outlook(
        fitted=fitted,
        settings=settings,
        stages=fitted.network.stages,
        finish_days=np.concatenate([s.stage_finish for s in simulations]),
        first_90_days=np.concatenate([s.stage_first_90 for s in simulations]),
        build_finish_days=np.concatenate([s.build_finish for s in simulations]),
        build_first_90_days=np.concatenate([s.build_first_90 for s in simulations]),
        hours_left=np.concatenate([p.hours_left for p in parts]),
        burn_grid_days=grid,
        burn_hours_done=np.concatenate([s.hours_done for s in simulations]),
        hours_parts={
            name: np.concatenate([p.hours_parts[name] for p in parts]) for name in parts[0].hours_parts
        },
        never={
            stuck: runs / settings.runs
            for stuck, runs in sum((s.never_finished() for s in simulations), Counter()).most_common(3)
        },
    )


def _hours_by_stage(fitted: Fitted, hours: np.ndarray) -> np.ndarray:
    """(run, stage) from (run, open task) person-hours."""
    stage_of = fitted.progress.open_tasks["stage"].to_numpy()
    belongs = (stage_of[:, None] == np.array(fitted.network.stages)[None, :]).astype(float)
    return np.asarray(hours @ belongs)
