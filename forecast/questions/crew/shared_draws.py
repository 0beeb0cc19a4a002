"""One set of draws for many questions about the second builder's hours, each answered at once.

The hours of the tasks, the days at the bench and the arrivals are drawn once, as `compare_crews` draws them;
each question only scales or delays the hours of the others and simulates the network.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from forecast.errors import UsageError
from forecast.quantiles import day_of, sample_quantile
from forecast.questions.crew.answer import Crew, quantile_of
from forecast.questions.crew.compare import crew_of, per_hour, what_ifs_of
from forecast.random_streams import BATCH_RUNS
from forecast.simulate.fitted import Fitted
from forecast.simulate.runs import DrawnBatch, draw_batch, map_in_order, numbered_batches
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import WhatIf

if TYPE_CHECKING:
    from forecast.learn.bench_time import BenchDraws

# Judgement: runs of about equal length share one array of days, so that few days are drawn for nothing.
_GROUPS = 3
_FIRST_DAYS = 730
# The usual weekly hours of the others are a mean over one year.
_LEAST_DAYS = 365
# Judgement: a run with help seldom takes longer than alone; 10 % more days cover most of those that do.
_TO_SPARE = 1.1
# Judgement: what a dashboard may take on a laptop with 8 GB.
_MOST_BYTES = 400e6


def _no_pause() -> None:
    """Neither wait nor give up."""


@dataclass(frozen=True, kw_only=True)
class CrewOutcome:
    """One plan, simulated.

    Attributes
    ----------
    as_of : the last day that counts
    stages : names, in plan order
    finish_days : (run, stage) days after `as_of`; infinite = not within the days that are drawn
    build_finish_days : (run,) the same for the whole build
    person_hours, other_hours : (run,) person-hours worked on tasks, and those of the others among them
    """

    as_of: date
    stages: tuple[str, ...]
    finish_days: np.ndarray
    build_finish_days: np.ndarray
    person_hours: np.ndarray
    other_hours: np.ndarray

    @property
    def runs(self) -> int:
        """Number of simulation runs."""
        return len(self.build_finish_days)

    def date_at(self, level: float, stage: str | None = None) -> date | None:
        """The day by which the plan has finished with probability `level`; None past the days drawn.

        Parameters
        ----------
        level : probability, 0 to 1
        stage : its name in the plan; None = the whole build
        """
        days = self.build_finish_days if stage is None else self.finish_days[:, self.stages.index(stage)]
        return day_of(self.as_of, sample_quantile(days, level))

    def sooner_than(self, other: CrewOutcome, level: float) -> float:
        """A quantile of the days by which this plan finishes before another one, run by run.

        Parameters
        ----------
        other : on the same draws
        level : from 0 to 1

        Returns
        -------
        Infinite where only this plan finishes, below zero where it is later, NaN where neither finishes
        """
        return quantile_of(self._gain(other), level)

    def sooner_per_hour(self, other: CrewOutcome, level: float) -> float:
        """A quantile of `sooner_than` per hour of the others, run by run; 0 where they have no work."""
        return quantile_of(per_hour(self._gain(other), self.other_hours), level)

    def _gain(self, other: CrewOutcome) -> np.ndarray:
        with np.errstate(invalid="ignore"):  # infinity less infinity is NaN, as intended
            return other.build_finish_days - self.build_finish_days

    def hours_at(self, level: float, *, others: bool = False) -> float:
        """A quantile of the person-hours in the runs that finish; NaN where none does.

        Parameters
        ----------
        level : from 0 to 1
        others : True for the hours of the others only
        """
        done = np.isfinite(self.build_finish_days)
        hours = (self.other_hours if others else self.person_hours)[done]
        return sample_quantile(hours, level) if done.any() else float("nan")


@dataclass(frozen=True, kw_only=True)
class SharedDraws:
    """The draws of one build, batch by batch.

    Attributes
    ----------
    fitted, crew : of one build
    usual_hours : clock hours per week of the others, unless a question names others
    runs, days : how many are drawn; of each run as many days as it takes alone, and some to spare
    groups : runs of about equal length
    """

    fitted: Fitted
    crew: Crew
    usual_hours: float
    runs: int
    days: int
    groups: tuple[_RunGroup, ...]

    def first(self, runs: int) -> SharedDraws:
        """The draws of the first runs only, rounded down to whole batches (at least one)."""
        batches = max(runs // BATCH_RUNS, 1)
        groups = tuple(group for group in self.groups if group.runs[0] < batches * BATCH_RUNS)
        return replace(self, runs=sum(len(group.runs) for group in groups), groups=groups)

    def alone(self, *, between: Callable[[], None] = _no_pause) -> CrewOutcome:
        """Without the others, except for somebody called in when two-person work has waited.

        `between` is called before each group of runs: it may wait, or give up by raising.
        """
        return self._simulate(what_ifs_of(self.fitted, self.crew)[0], 1.0, 0, between)

    def with_help(
        self,
        weekly_hours: float,
        *,
        from_date: date,
        only_two: bool = False,
        between: Callable[[], None] = _no_pause,
    ) -> CrewOutcome:
        """With the others at the bench from a day on.

        Parameters
        ----------
        weekly_hours : clock hours per week; they come as often as usual and stay shorter or longer
        from_date : the first day on which they come
        only_two : True when they come for two-person tasks only
        between : called before each group of runs: it may wait, or give up by raising

        Raises
        ------
        UsageError for hours below 0.
        """
        if not weekly_hours >= 0:
            raise UsageError(f"weekly_hours must be 0 or more. Got {weekly_hours!r} instead.")
        what_if = what_ifs_of(self.fitted, self.crew)[2 if only_two else 1]
        first_day = max((from_date - self.fitted.as_of).days - 1, 0)
        return self._simulate(what_if, weekly_hours / self.usual_hours, first_day, between)

    def _simulate(
        self, what_if: WhatIf, share: float, first_day: int, between: Callable[[], None]
    ) -> CrewOutcome:
        what_ifs = what_ifs_of(self.fitted, self.crew)

        def simulate_group(group: _RunGroup) -> tuple[np.ndarray, ...]:
            between()
            bench = group.days_at_bench()
            theirs = np.isin(bench.people, self.crew.others)
            if theirs.any() and (share != 1.0 or first_day):
                bench.hours[:, :, theirs] = np.minimum(bench.hours[:, :, theirs] * np.float32(share), 24.0)
                bench.hours[:, :first_day, theirs] = 0.0
            batch = group.batch.simulate(group.rows, bench, what_if, what_ifs)
            simulation, worked = batch.simulation, batch.simulation.worked_hours
            by_others = worked[:, np.isin(batch.people, self.crew.others)].sum(axis=1)
            return simulation.stage_finish, simulation.build_finish, worked.sum(axis=1), by_others

        parts = list(map_in_order(simulate_group, self.groups))
        order = np.argsort(np.concatenate([group.runs for group in self.groups]))
        finish, build, hours, others = (np.concatenate(column)[order] for column in zip(*parts, strict=True))
        return CrewOutcome(
            as_of=self.fitted.as_of,
            stages=self.fitted.network.stages,
            finish_days=finish,
            build_finish_days=build,
            person_hours=hours,
            other_hours=others,
        )


@dataclass(frozen=True, kw_only=True)
class _RunGroup:
    """Some runs of one batch, with their days in sparse form: nobody is at the bench on most days.

    Attributes
    ----------
    runs, rows : positions among all runs, and in the batch
    batch : the other draws
    bench : the draws without hours
    present, hours : flat positions of the hours above 0, and these hours
    """

    runs: np.ndarray
    rows: np.ndarray
    batch: DrawnBatch
    bench: BenchDraws
    present: np.ndarray
    hours: np.ndarray

    @property
    def nbytes(self) -> int:
        return self.present.nbytes + self.hours.nbytes + self.bench.stage_rank.nbytes

    def days_at_bench(self) -> BenchDraws:
        """The draws with their hours, in a new array."""
        hours = np.zeros((*self.bench.stage_rank.shape, len(self.bench.people)), dtype=np.float32)
        hours.reshape(-1)[self.present] = self.hours
        return replace(self.bench, hours=hours)


def draw_shared(fitted: Fitted, settings: Settings) -> SharedDraws:
    """Draw everything that does not depend on the others' hours, as many runs as 400 MB can store.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    """
    crew = crew_of(fitted)
    groups: list[_RunGroup] = []
    used = 0

    def draw(numbered: tuple[int, int]) -> list[_RunGroup]:
        return _draw(fitted, settings, crew, *numbered)

    for drawn in map_in_order(draw, numbered_batches(settings.runs, BATCH_RUNS)):
        groups += drawn
        used += sum(group.nbytes for group in drawn)
        if used > _MOST_BYTES:
            break
    return SharedDraws(
        fitted=fitted,
        crew=crew,
        usual_hours=_usual_hours(groups, crew),
        runs=sum(len(group.runs) for group in groups),
        days=max(group.bench.stage_rank.shape[1] for group in groups),
        groups=tuple(groups),
    )


def _draw(fitted: Fitted, settings: Settings, crew: Crew, number: int, runs: int) -> list[_RunGroup]:
    """One batch, drawn as `forecast.simulate.runs` draws it, in groups of runs of about equal length."""
    what_ifs = what_ifs_of(fitted, crew)
    batch, sampler = draw_batch(fitted, settings, what_ifs, number=number, runs=runs)

    def group_of(rows: np.ndarray, days: float) -> _RunGroup:
        drawn = sampler.hours(0, int(min(max(days, _LEAST_DAYS), settings.horizon_days)), rows)
        present = np.flatnonzero(drawn.hours)
        return _RunGroup(
            runs=number * BATCH_RUNS + rows,
            rows=rows,
            batch=batch,
            bench=replace(
                drawn, hours=np.empty((0, 0, 0), dtype=np.float32), stage_rank=drawn.stage_rank.copy()
            ),
            present=present.astype(np.uint32),
            hours=drawn.hours.reshape(-1)[present],
        )

    alone, days = np.full(runs, np.inf), _FIRST_DAYS
    rows = np.arange(runs)
    while len(rows):
        group = group_of(rows, days)
        solo = batch.simulate(rows, group.days_at_bench(), what_ifs[0], what_ifs).simulation
        alone[rows] = solo.build_finish
        rows, days = rows[solo.more_days_help & (days < settings.horizon_days)], 2 * days
    order = np.argsort(alone, kind="stable")
    split = np.array_split(order, _GROUPS)
    return [group_of(rows, _TO_SPARE * alone[rows].max()) for rows in split if len(rows)]


def _usual_hours(groups: Sequence[_RunGroup], crew: Crew) -> float:
    """Mean clock hours per week in the first year of the busiest of the others."""
    sums = []
    for group in groups:
        others = np.isin(group.bench.people, crew.others)
        sums.append(group.days_at_bench().hours[:, :_LEAST_DAYS, others].sum(axis=1, dtype=np.float64))
    weekly = np.concatenate(sums).mean(axis=0) * 7 / _LEAST_DAYS
    # Never 0: questions scale the hours by their share of the usual ones.
    return float(max(weekly.max(initial=0.0), 0.1))
