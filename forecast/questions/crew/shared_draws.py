"""Draws of one build held ready: what a second builder changes can be asked again and again, at once.

The hours of the tasks, the days at the bench and the arrivals are drawn once, as `forecast.questions.crew`
draws them; each question only scales or delays the hours of the others and plays the network.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from forecast.quantiles import day_of, sample_quantile
from forecast.questions.crew import Crew, crew_of, per_hour, what_ifs_of
from forecast.random_streams import BATCH_RUNS
from forecast.simulate.fitted import Fitted
from forecast.simulate.runs import DrawnBatch, draw_batch, map_in_order, numbered_batches
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import WhatIf

if TYPE_CHECKING:
    from forecast.learn.bench_time import BenchDraws

_GROUPS = 3
_FIRST_DAYS = 730
_LEAST_DAYS = 365
_TO_SPARE = 1.1
_MOST_BYTES = 400e6


def _go_on() -> None:
    """Neither wait nor give up."""


@dataclass(frozen=True, kw_only=True)
class CrewOutcome:
    """One way to man the bench, played.

    Attributes
    ----------
    as_of : the last day that counts
    stages : names, in plan order
    finish_days : (run, stage) days after `as_of`; infinite = not within the days that are held
    build_finish_days : (run,) the same for the whole build
    person_hours, other_hours : (run,) person-hours worked on tasks, and of them those of the others
    """

    as_of: date
    stages: tuple[str, ...]
    finish_days: np.ndarray
    build_finish_days: np.ndarray
    person_hours: np.ndarray
    other_hours: np.ndarray

    @property
    def runs(self) -> int:
        """How many were played."""
        return len(self.build_finish_days)

    def date_at(self, level: float, stage: str | None = None) -> date | None:
        """The day by which the chance is `level`; None when that lies past the days that are held."""
        days = self.build_finish_days if stage is None else self.finish_days[:, self.stages.index(stage)]
        return day_of(self.as_of, sample_quantile(days, level))

    def sooner_than(self, other: CrewOutcome, level: float) -> float:
        """A quantile of the days by which this way finishes before another one, run by run.

        Infinite where only this way finishes, below zero where it is later; NaN where neither ever does.
        """
        return _quantile_of_known(self._gain(other), level)

    def sooner_per_hour(self, other: CrewOutcome, level: float) -> float:
        """A quantile of the days by which this way finishes before another for each hour of the others.

        Run by run, as `sooner_than`; zero where the others have nothing to do.
        """
        return _quantile_of_known(per_hour(self._gain(other), self.other_hours), level)

    def _gain(self, other: CrewOutcome) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return other.build_finish_days - self.build_finish_days

    def hours_at(self, level: float, *, others: bool = False) -> float:
        """A quantile of the person-hours in the runs that finish; NaN where none does."""
        done = np.isfinite(self.build_finish_days)
        hours = (self.other_hours if others else self.person_hours)[done]
        return sample_quantile(hours, level) if done.any() else float("nan")


def _quantile_of_known(values: np.ndarray, level: float) -> float:
    known = values[~np.isnan(values)]
    return sample_quantile(known, level) if len(known) else float("nan")


@dataclass(frozen=True, kw_only=True)
class SharedDraws:
    """What was drawn, chunk by chunk.

    Attributes
    ----------
    fitted, crew : of one build
    usual_hours : clock hours a week of the others, where nothing is asked otherwise
    runs, days : how many are held; of each run as many days as it takes alone, and some to spare
    """

    fitted: Fitted
    crew: Crew
    usual_hours: float
    runs: int
    days: int
    groups: tuple[_Group, ...]

    def first(self, runs: int) -> SharedDraws:
        """Of these draws only the first so many runs, down to whole chunks: what they answer is the same."""
        chunks = max(runs // BATCH_RUNS, 1)
        groups = tuple(group for group in self.groups if group.runs[0] < chunks * BATCH_RUNS)
        return replace(self, runs=sum(len(group.runs) for group in groups), groups=groups)

    def alone(self, *, between: Callable[[], None] = _go_on) -> CrewOutcome:
        """Without the others, but for somebody asked in when two-person work has waited.

        `between` is called before each part of the runs: it may wait, or give up by raising.
        """
        return self._play(what_ifs_of(self.fitted, self.crew)[0], 1.0, 0, between)

    def with_help(
        self,
        weekly_hours: float,
        *,
        from_date: date,
        only_two: bool = False,
        between: Callable[[], None] = _go_on,
    ) -> CrewOutcome:
        """With the others at so many hours a week from a day on.

        Parameters
        ----------
        weekly_hours : clock hours a week; they come as often as usual and stay shorter or longer
        from_date : the first day on which they come
        only_two : whether they come for two-person tasks only
        between : called before each part of the runs: it may wait, or give up by raising
        """
        what_if = what_ifs_of(self.fitted, self.crew)[2 if only_two else 1]
        first = max((from_date - self.fitted.as_of).days - 1, 0)
        return self._play(what_if, weekly_hours / self.usual_hours, first, between)

    def _play(
        self, what_if: WhatIf, share: float, first_day: int, between: Callable[[], None]
    ) -> CrewOutcome:
        what_ifs = what_ifs_of(self.fitted, self.crew)

        def of_group(group: _Group) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
            between()
            bench = group.drawn()
            theirs = np.isin(bench.people, self.crew.others)
            if theirs.any() and (share != 1.0 or first_day):
                bench.hours[:, :, theirs] = np.minimum(bench.hours[:, :, theirs] * np.float32(share), 24.0)
                bench.hours[:, :first_day, theirs] = 0.0
            one = group.chunk.play(group.rows, bench, what_if, what_ifs)
            played, worked = one.simulation, one.simulation.worked_hours
            others = np.isin(one.people, self.crew.others)
            return played.stage_finish, played.build_finish, worked.sum(axis=1), worked[:, others].sum(axis=1)

        parts = list(map_in_order(of_group, self.groups))
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
class _Group:
    """Some runs of one chunk.

    `runs` are their places among all runs, `rows` those in the chunk. Nobody is at the
    bench on most days: `bench` has no hours, `present` says where there are any (flat) and `hours` how many.
    """

    runs: np.ndarray
    rows: np.ndarray
    chunk: DrawnBatch
    bench: BenchDraws
    present: np.ndarray
    hours: np.ndarray

    @property
    def nbytes(self) -> int:
        return self.present.nbytes + self.hours.nbytes + self.bench.stage_rank.nbytes

    def drawn(self) -> BenchDraws:
        """The draws with their hours, as a new array."""
        hours = np.zeros((*self.bench.stage_rank.shape, len(self.bench.people)), dtype=np.float32)
        hours.reshape(-1)[self.present] = self.hours
        return replace(self.bench, hours=hours)


def draw_shared(fitted: Fitted, settings: Settings) -> SharedDraws:
    """Draw everything that does not depend on the others' hours.

    The runs are held as far as 400 MB of days do.
    """
    crew = crew_of(fitted)
    groups: list[_Group] = []
    used = 0

    def draw(numbered: tuple[int, int]) -> list[_Group]:
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


def _draw(fitted: Fitted, settings: Settings, crew: Crew, chunk: int, runs: int) -> list[_Group]:
    """One chunk, drawn as `forecast.simulate.runs` draws it, in groups of runs that take about as long."""
    what_ifs = what_ifs_of(fitted, crew)
    drawn_chunk, play = draw_batch(fitted, settings, what_ifs, chunk=chunk, runs=runs)

    def held(rows: np.ndarray, days: float) -> _Group:
        drawn = play.hours(0, int(min(max(days, _LEAST_DAYS), settings.horizon_days)), rows)
        present = np.flatnonzero(drawn.hours)
        return _Group(
            runs=chunk * BATCH_RUNS + rows,
            rows=rows,
            chunk=drawn_chunk,
            bench=replace(
                drawn, hours=np.empty((0, 0, 0), dtype=np.float32), stage_rank=drawn.stage_rank.copy()
            ),
            present=present.astype(np.uint32),
            hours=drawn.hours.reshape(-1)[present],
        )

    alone, days = np.full(runs, np.inf), _FIRST_DAYS
    rows = np.arange(runs)
    while len(rows):
        group = held(rows, days)
        played = group.chunk.play(rows, group.drawn(), what_ifs[0], what_ifs).simulation
        alone[rows] = played.build_finish
        rows, days = rows[played.more_days_help & (days < settings.horizon_days)], 2 * days
    order = np.argsort(alone, kind="stable")
    return [held(rows, _TO_SPARE * alone[rows].max()) for rows in np.array_split(order, _GROUPS) if len(rows)]


def _usual_hours(groups: Sequence[_Group], crew: Crew) -> float:
    """Clock hours a week of the others in the mean of the first year; of the busiest of them."""
    sums = []
    for group in groups:
        others = np.isin(group.bench.people, crew.others)
        sums.append(group.drawn().hours[:, :_LEAST_DAYS, others].sum(axis=1, dtype=np.float64))
    weekly = np.concatenate(sums).mean(axis=0) * 7 / _LEAST_DAYS
    return float(max(weekly.max(initial=0.0), 0.1))
