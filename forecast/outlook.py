"""The front door: from a build folder to the day on which each stage is finished, in every run.

`forecast_finish` reads as the way through the house: what each task took, what the rest will take,
when hands are at the bench, and ten thousand plays of both through the network.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil, isfinite
from typing import TYPE_CHECKING, Any

import numpy as np

from forecast.chunk import FIT, Played, chunks_in_order, stream
from forecast.progress import Progress, read_progress
from forecast.what_if import AS_IT_IS, WhatIf
from forecast.words import say_percent

if TYPE_CHECKING:
    from forecast.bench_time import BenchTime
    from forecast.effort import EffortModel
    from forecast.folder import Build
    from forecast.pooled_priors import PooledPriors
    from forecast.schedule import Network, Simulation

QUANTILES = (0.05, 0.10, 0.25, 0.50, 0.75, 0.80, 0.90, 0.95)
BURN_DOWN_QUANTILES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)
_CHUNK = 500
_FIRST_HORIZON_DAYS = 720


def quantile_key(level: float) -> str:
    """The name of a quantile in every answer.

    >>> quantile_key(0.05), quantile_key(0.8)
    ('p05', 'p80')
    """
    return f"p{round(level * 100):02d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What can be set for a forecast; the defaults are what the commands use.

    `priors` are those pooled from other builds; None stands for the built-in ones.
    """

    runs: int = 10_000
    seed: int = 0
    horizon_years: int = 15
    priors: PooledPriors | None = None

    @property
    def horizon_days(self) -> int:
        """The longest that a run is played."""
        return round(self.horizon_years * 365.25)


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """Everything learned from one build as it stood on one day; what-ifs share it."""

    build: Build
    progress: Progress
    effort: EffortModel
    bench: BenchTime
    network: Network

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.progress.as_of


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """Where the build goes from here: the answer of one forecast.

    Attributes
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    stages : names of the stages, in plan order
    finish_days : (run, stage) days after `as_of` at which a stage is finished; 0 = it is,
        infinite = past the horizon
    first_90_days : (run, stage) days after `as_of` at which 90 % of its hours are done
    build_finish_days, build_first_90_days : (run,) the same for the whole build
    hours_left : (run, stage) person-hours still to do
    burn_grid_days : (point,) days after `as_of`
    burn_hours_done : (run, stage, point) person-hours done by then
    hours_parts : name -> (run,) person-hours left by where they come from
    never : (lack, task) -> share of the runs that no more days would finish, by what they lack and the
        first task that lacks it
    """

    fitted: Fitted
    settings: Settings
    stages: tuple[str, ...]
    finish_days: np.ndarray
    first_90_days: np.ndarray
    build_finish_days: np.ndarray
    build_first_90_days: np.ndarray
    hours_left: np.ndarray
    burn_grid_days: np.ndarray
    burn_hours_done: np.ndarray
    hours_parts: dict[str, np.ndarray]
    never: dict[tuple[str, str], float] = field(default_factory=dict)

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.fitted.as_of

    @property
    def open_stages(self) -> tuple[str, ...]:
        """The stages with a task that is not done, in plan order."""
        left = set(self.fitted.progress.open_tasks["stage"])
        return tuple(s for s in self.stages if s in left)

    def finished_on(self, stage: str | None) -> date | None:
        """The day on which a stage (None = the whole build) was finished, or None while it is open."""
        tasks = self.fitted.progress.tasks
        rows = tasks if stage is None else tasks.loc[tasks["stage"] == stage]
        if rows.empty or not rows["done"].all():
            return None
        day: date = rows["finished"].max().date()
        return day

    def days(self, stage: str | None, *, first_90: bool = False) -> np.ndarray:
        """(run,) days after `as_of` for a stage, or for the whole build when `stage` is None."""
        if stage is None:
            return self.build_first_90_days if first_90 else self.build_finish_days
        column = self.stages.index(stage)
        return (self.first_90_days if first_90 else self.finish_days)[:, column]

    def date_at(self, level: float, stage: str | None, *, first_90: bool = False) -> date | None:
        """The day by which the chance is `level`; None when that lies past the horizon."""
        done = self.finished_on(stage)
        if done is not None:
            return done
        return day_of(self.as_of, sample_quantile(self.days(stage, first_90=first_90), level))

    def chance_by(self, day: date, stage: str | None = None) -> float:
        """The share of runs in which the stage or build is finished on `day` or before."""
        return float(np.mean(np.ceil(self.days(stage)) <= (day - self.as_of).days))

    def past_horizon(self, stage: str | None) -> float:
        """The share of runs that do not finish within the horizon."""
        return float(np.mean(~np.isfinite(self.days(stage))))

    @property
    def basis(self) -> dict[str, int]:
        """How much log the forecast rests on."""
        progress = self.fitted.progress
        started = progress.started
        days = 0 if started is None else (self.as_of - started).days + 1
        return {
            "finished_tasks": progress.finished_tasks,
            "sessions": len(progress.sessions),
            "weeks": -(-days // 7),
        }

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know about the basis, in sentences."""
        never = (_never_sentence(*stuck, share) for stuck, share in self.never.items() if share >= 0.005)
        pooled = self.settings.priors
        known = () if pooled is None else (pooled.sentence,)
        return (
            *never,
            *known,
            *self.fitted.effort.notes_,
            *self.fitted.bench.notes_,
            *self.fitted.network.notes,
        )

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON: ISO days, quantiles by name, null past the horizon."""
        return {
            "as_of": self.as_of.isoformat(),
            "runs": self.settings.runs,
            "seed": self.settings.seed,
            "basis": self.basis | ({} if self.settings.priors is None else {"priors": "pooled"}),
            "stages": [{"stage": s, **self._answer(s)} for s in self.stages],
            "build": self._answer(None),
        }

    def _answer(self, stage: str | None) -> dict[str, Any]:
        done = self.finished_on(stage)
        hours = self.person_hours_left(stage)
        return {
            "finished": None if done is None else done.isoformat(),
            "finish": {quantile_key(q): _iso(self.date_at(q, stage)) for q in QUANTILES},
            "first_90": {quantile_key(q): _iso(self.date_at(q, stage, first_90=True)) for q in QUANTILES},
            "person_hours_left": {quantile_key(q): round(sample_quantile(hours, q), 1) for q in QUANTILES},
            "probability_past_horizon": self.past_horizon(stage),
        }

    def person_hours_left(self, stage: str | None) -> np.ndarray:
        """(run,) person-hours still to do."""
        if stage is None:
            return np.asarray(self.hours_left.sum(axis=1))
        return np.asarray(self.hours_left[:, self.stages.index(stage)])


def _never_sentence(lack: str, task: str, share: float) -> str:
    waits = {
        "two hands": "needs two, and nobody comes who could be the second",
        "delivery": "waits for a delivery that never comes",
        "limit": "needs more of a limit than other work ever sets free",
    }
    return f"In {say_percent(share)} of the runs the build cannot be finished: {task} {waits[lack]}."


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def sample_quantile(values: np.ndarray, level: float) -> float:
    """The smallest of the values that at least `level` of them do not exceed (no interpolation).

    >>> sample_quantile(np.array([1.0, 2.0, np.inf, np.inf]), 0.5)
    2.0
    """
    return float(np.quantile(values, level, method="inverted_cdf"))


def day_of(as_of: date, days: float) -> date | None:
    """The calendar day that lies so many days after the end of `as_of`; None for infinity.

    >>> day_of(date(2026, 3, 1), 0.4)
    datetime.date(2026, 3, 2)
    """
    return as_of + timedelta(days=ceil(days)) if isfinite(days) else None


def fit_build(build: Build, as_of: date, settings: Settings) -> Fitted:
    """Learn from everything known at the end of `as_of`."""
    from forecast.bench_time import BenchTime
    from forecast.effort import EffortModel
    from forecast.schedule import network_of

    progress = read_progress(build.plan, build.sessions, as_of)
    pooled = settings.priors
    return Fitted(
        build=build,
        progress=progress,
        effort=EffortModel(priors=pooled.effort if pooled else None).fit(
            progress, stream(settings.seed, FIT)
        ),
        bench=BenchTime(belief=pooled.bench if pooled else None).fit(
            progress,
            build.builders,
            build.away,
            build.country,
            plan=build.plan,
            deliveries=build.deliveries,
        ),
        network=network_of(build.plan, progress, build.deliveries, as_of, limits=build.limits),
    )


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
    build : the folder, read by `forecast.folder.read_build`
    as_of : the last day that counts
    settings : runs, seed and horizon
    on_progress : called with (runs played, runs in all)
    """
    settings = settings or Settings()
    return play(fit_build(build, as_of, settings), settings, on_progress=on_progress)


def play(
    fitted: Fitted,
    settings: Settings,
    *,
    what_if: WhatIf = AS_IT_IS,
    first_horizon_days: int = _FIRST_HORIZON_DAYS,
    on_progress: Callable[[int, int], None] | None = None,
) -> Outlook:
    """Play the rest of the build `settings.runs` times.

    Plays with the same settings share their draws run by run, whatever is otherwise, so that what a
    second builder changes can be taken as a difference within each run. `first_horizon_days` changes
    how long it takes and nothing else: it doubles until more days would help no run or the last is
    reached.
    """
    (outlook,) = play_together(
        fitted, settings, [what_if], first_horizon_days=first_horizon_days, on_progress=on_progress
    )
    return outlook


def play_together(
    fitted: Fitted,
    settings: Settings,
    what_ifs: Sequence[WhatIf],
    *,
    watch: Callable[[tuple[Played, ...]], None] | None = None,
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
    for runs, played in chunks_in_order(
        fitted, settings, what_ifs, size=_CHUNK, horizon=horizon, grid=grid, trace=trace
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


def _part(fitted: Fitted, played: Played) -> _Part:
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
