"""The front door: from a build folder to the day on which each stage is finished, in every run.

`forecast_finish` reads as the way through the house: what each task took, what the rest will take,
when somebody is at the bench, and ten thousand simulation runs of both through the network.
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

_FIRST_HORIZON_DAYS = 720


def forecast_finish(
    build: Build,
    as_of: date,
    settings: Settings | None = None,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> Outlook:
    """When each stage and the whole build finish.

    Parameters
    ----------
    build : the folder, read by `forecast.files.folder.read_build`
    as_of : the last day that counts
    settings : runs, seed and horizon
    on_progress : called with (runs played, runs in all)
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
    """Play the rest of the build `settings.runs` times.

    Plays with the same settings share their draws run by run, whatever is otherwise, so that what a
    second builder changes can be taken as a difference within each run. `first_horizon_days` changes
    how long it takes and nothing else: it doubles until more days would help no run or the last is
    reached.
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
    watch: Callable[[tuple[SimulatedBatch, ...]], None] | None = None,
    trace: bool = False,
    first_horizon_days: int = _FIRST_HORIZON_DAYS,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Outlook, ...]:
    """Play several what-ifs on the same draws, drawn once.

    `watch` is called with what was played of each chunk, one for each what-if; with `trace` the causes
    of every start are noted.
    """
    parts: list[list[_Part]] = [[] for _ in what_ifs]
    horizon = min(first_horizon_days, settings.horizon_days)
    grid = burn_down_grid(settings.horizon_days)
    runs_played = 0
    for runs, played in batches_in_order(
        fitted, settings, what_ifs, size=BATCH_RUNS, horizon=horizon, grid=grid, trace=trace
    ):
        for kept, one in zip(parts, played, strict=True):
            kept.append(_part(fitted, one))
        if watch is not None:
            watch(played)
        runs_played += runs
        if on_progress is not None:
            on_progress(runs_played, settings.runs)
    return tuple(_gather(fitted, settings, grid, kept) for kept in parts)


def burn_down_grid(horizon_days: int) -> np.ndarray:
    """(point,) days at which the burn-down is read: every other week for two years, then wider.

    >>> burn_down_grid(5479)[[0, 1, 53, 54]].tolist()
    [0, 14, 742, 798]
    """
    near = np.arange(0, min(742, horizon_days) + 1, 14)
    return np.concatenate([near, np.arange(near[-1] + 56, horizon_days + 1, 56)])


@dataclass(frozen=True, kw_only=True)
class _Part:
    """What is kept of one chunk of runs: nothing of single tasks."""

    hours_left: np.ndarray
    hours_parts: dict[str, np.ndarray]
    simulation: Simulation


def _part(fitted: Fitted, played: SimulatedBatch) -> _Part:
    return _Part(
        hours_left=_hours_by_stage(fitted, played.work.hours),
        hours_parts=played.work.parts,
        simulation=played.simulation.without_tasks(),
    )


def _gather(fitted: Fitted, settings: Settings, grid: np.ndarray, parts: list[_Part]) -> Outlook:
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
