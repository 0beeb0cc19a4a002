"""Draws of one build held ready: what a second builder changes can be asked again and again, at once.

The hours of the tasks, the days at the bench and the arrivals are drawn once, as `forecast.crew` draws
them; each question only scales or delays the hours of the others and plays the network.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from forecast.chunk import stream
from forecast.crew import Crew, crew_of, what_ifs_of
from forecast.deliveries import draw_arrivals
from forecast.effort import RemainingWork
from forecast.outlook import Fitted, Settings, day_of, play, sample_quantile
from forecast.what_if import WhatIf, everybody_joining

if TYPE_CHECKING:
    from forecast.bench_time import BenchDraws

_CHUNK = 500
_EFFORT, _BENCH, _ARRIVALS = 1, 2, 3
_FEW_RUNS = 500
_LEAST_DAYS = 365
_MOST_BYTES = 400e6
_THREADS = 2


@dataclass(frozen=True, kw_only=True)
class Hands:
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

    def date_at(self, level: float, stage: str | None = None) -> date | None:
        """The day by which the chance is `level`; None when that lies past the days that are held."""
        days = self.build_finish_days if stage is None else self.finish_days[:, self.stages.index(stage)]
        return day_of(self.as_of, sample_quantile(days, level))

    def sooner_than(self, other: Hands, level: float) -> float:
        """A quantile of the days by which this way finishes before another one, run by run.

        Infinite where only this way finishes, below zero where it is later; NaN where neither ever does.
        """
        with np.errstate(invalid="ignore"):
            gain = other.build_finish_days - self.build_finish_days
        known = gain[~np.isnan(gain)]
        return sample_quantile(known, level) if len(known) else float("nan")

    def hours_at(self, level: float, *, others: bool = False) -> float:
        """A quantile of the person-hours in the runs that finish; NaN where none does."""
        done = np.isfinite(self.build_finish_days)
        hours = (self.other_hours if others else self.person_hours)[done]
        return sample_quantile(hours, level) if done.any() else float("nan")


@dataclass(frozen=True, kw_only=True)
class HeldDraws:
    """What was drawn, chunk by chunk.

    Attributes
    ----------
    fitted, crew : of one build
    usual_hours : clock hours a week of the others, where nothing is asked otherwise
    runs, days : how many are held
    """

    fitted: Fitted
    crew: Crew
    usual_hours: float
    runs: int
    days: int
    chunks: tuple[_Chunk, ...]

    def alone(self) -> Hands:
        """Without the others, but for somebody asked in when two-person work has waited."""
        return self._play(what_ifs_of(self.fitted, self.crew)[0], 1.0, 0)

    def with_help(self, weekly_hours: float, *, from_date: date, only_two: bool = False) -> Hands:
        """With the others at so many hours a week from a day on.

        Parameters
        ----------
        weekly_hours : clock hours a week; they come as often as usual and stay shorter or longer
        from_date : the first day on which they come
        only_two : whether they come for two-person tasks only
        """
        what_if = what_ifs_of(self.fitted, self.crew)[2 if only_two else 1]
        first = max((from_date - self.fitted.as_of).days - 1, 0)
        return self._play(what_if, weekly_hours / self.usual_hours, first)

    def _play(self, what_if: WhatIf, share: float, first_day: int) -> Hands:
        with ThreadPoolExecutor(_THREADS) as threads:
            parts = list(threads.map(lambda c: self._play_chunk(c, what_if, share, first_day), self.chunks))
        finish, build, hours, others = (np.concatenate(column) for column in zip(*parts, strict=True))
        return Hands(
            as_of=self.fitted.as_of,
            stages=self.fitted.network.stages,
            finish_days=finish,
            build_finish_days=build,
            person_hours=hours,
            other_hours=others,
        )

    def _play_chunk(
        self, chunk: _Chunk, what_if: WhatIf, share: float, first_day: int
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        from forecast.schedule import simulate_schedule

        bench = what_if.applied_to(chunk.bench, what_ifs_of(self.fitted, self.crew))
        others = np.isin(bench.people, self.crew.others)
        if others.any() and (share != 1.0 or first_day):
            hours = bench.hours.copy()
            hours[:, :, others] = np.minimum(hours[:, :, others] * np.float32(share), 24.0)
            hours[:, :first_day, others] = 0.0
            bench = replace(bench, hours=hours)
        work = chunk.work[what_if.shared]
        played = simulate_schedule(
            self.fitted.network,
            work.hours,
            bench.hours,
            bench.stage_rank,
            chunk.arrivals,
            only_two=bench.only_two,
            on_call=bench.on_call,
            ask_after=bench.ask_after,
            shared_penalty=work.shared_penalty,
            expected_hours=work.expected_hours,
            again_hours=work.again_hours,
            again_after=work.again_after,
        )
        worked = played.worked_hours
        return played.stage_finish, played.build_finish, worked.sum(axis=1), worked[:, others].sum(axis=1)


@dataclass(frozen=True, kw_only=True)
class _Chunk:
    work: dict[float | None, RemainingWork]
    bench: BenchDraws
    arrivals: np.ndarray


def hold_draws(fitted: Fitted, settings: Settings) -> HeldDraws:
    """Draw everything that does not depend on the others' hours.

    The days reach beyond 19 in 20 runs alone, the runs as far as 400 MB do.
    """
    crew = crew_of(fitted)
    what_ifs = what_ifs_of(fitted, crew)
    days = _days_to_hold(fitted, settings, what_ifs[0])
    people = 2 + len(fitted.build.builders)
    runs = int(min(settings.runs, _MOST_BYTES / (5 * days * people)))
    starts = range(0, runs, _CHUNK)
    chunks = tuple(
        _draw(fitted, settings, what_ifs, chunk, min(_CHUNK, runs - start), days)
        for chunk, start in enumerate(starts)
    )
    return HeldDraws(
        fitted=fitted, crew=crew, usual_hours=_usual_hours(chunks, crew), runs=runs, days=days,
        chunks=chunks,
    )  # fmt: skip


def _days_to_hold(fitted: Fitted, settings: Settings, alone: WhatIf) -> int:
    few = replace(settings, runs=min(settings.runs, _FEW_RUNS))
    late = sample_quantile(play(fitted, few, what_if=alone).build_finish_days, 0.95)
    return int(min(max(1.25 * late, _LEAST_DAYS), settings.horizon_days))


def _draw(
    fitted: Fitted, settings: Settings, what_ifs: tuple[WhatIf, ...], chunk: int, runs: int, days: int
) -> _Chunk:
    seed = settings.seed
    return _Chunk(
        work={
            shared: fitted.effort.sample_remaining(runs, stream(seed, _EFFORT, chunk), shared=shared)
            for shared in {w.shared for w in what_ifs}
        },
        bench=fitted.bench.sample_hours(
            fitted.as_of + timedelta(days=1),
            days,
            runs,
            stream(seed, _BENCH, chunk),
            joining=everybody_joining(what_ifs),
        ),
        arrivals=draw_arrivals(fitted.network.deliveries, fitted.as_of, runs, stream(seed, _ARRIVALS, chunk)),
    )


def _usual_hours(chunks: tuple[_Chunk, ...], crew: Crew) -> float:
    """Clock hours a week of the others in the mean of the first year; of the busiest of them."""
    sums = []
    for chunk in chunks:
        others = np.isin(chunk.bench.people, crew.others)
        sums.append(chunk.bench.hours[:, :_LEAST_DAYS, others].sum(axis=1, dtype=np.float64))
    weekly = np.concatenate(sums).mean(axis=0) * 7 / _LEAST_DAYS
    return float(max(weekly.max(initial=0.0), 0.1))
