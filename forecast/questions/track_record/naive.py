"""Forecasts without a model: average pace, planned hours times the overrun ratio, earned schedule."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from forecast.learn.bench_time.history import availability
from forecast.learn.progress import Progress
from forecast.questions.track_record.earned_schedule import earned_schedule, time_of

if TYPE_CHECKING:
    from forecast.files.folder import Build

_FIRST_DAYS = 730
_MOST_YEARS = 120  # then nobody comes for good, and the planned curve never reaches its end


@dataclass(frozen=True, kw_only=True)
class NaiveWays:
    """The naive forecasts of one build on one day.

    A task without planned hours counts as the mean of those with planned hours; where no task has any, as the
    mean hours of the finished tasks. With neither there is no naive forecast, and all figures are NaN.

    Attributes
    ----------
    progress : the build on that day
    started : day of the first session
    planned : (task,) planned person-hours
    ratio : person-hours over planned hours of the finished tasks; 1 where none is finished
    hours_left : (task,) planned hours times the ratio, less the hours spent; 0 where done
    hours_per_day : person-hours per day since the first session
    stage_order : stages in plan order
    """

    progress: Progress
    started: date
    planned: np.ndarray
    ratio: float
    hours_left: np.ndarray
    hours_per_day: float
    stage_order: tuple[str, ...]

    def average_pace_days(self, stage: str | None) -> float:
        """Days until a stage (None = the build) is finished: hours left over the average pace so far.

        Stages are built one after another in plan order, so the hours of earlier stages count too.
        """
        days = float(self.hours_left[self._up_to(stage)].sum()) / self.hours_per_day
        return float(np.ceil(max(days, 1.0))) if np.isfinite(days) else np.nan

    def hours_ahead(self, days: int) -> float:
        """Person-hours of the next days at the average pace, at most those left."""
        left = float(self.hours_left.sum())
        pace = self.hours_per_day * days
        return min(pace, left) if np.isfinite(left) else pace

    def task_hours(self, tasks: np.ndarray) -> float:
        """Person-hours left on the tasks at these positions."""
        return float(self.hours_left[tasks].sum())

    def earned_schedule_days(self, stage: str | None, build: Build) -> float:
        """Days until a stage (None = the build) is finished, by IEAC(t) of earned schedule.

        The planned curve has all planned hours in plan order, at the weekly hours that each builder states in
        build.toml (without any, the average pace so far), from the first session or the day on which somebody
        joins, none while away. Earned are the planned hours of finished tasks, and of tasks under way the
        share last reported.

        Parameters
        ----------
        stage : its name in the plan; None = the build
        build : builders and days away
        """
        if not np.isfinite(self.planned).all():
            return np.nan
        earned = float(self.planned @ self._fraction_earned())
        curve = self._planned_curve(build)
        if curve[-1] < self.planned.sum():
            return np.nan
        elapsed = (self.progress.as_of - self.started).days + 1
        schedule = earned_schedule(curve, earned=earned, actual_time=elapsed)
        if schedule.periods <= 0:
            return np.inf
        due = time_of(curve, float(self.planned[self._up_to(stage)].sum()))
        return float(np.ceil(max(due / schedule.performance_index - elapsed, 1.0)))

    def _up_to(self, stage: str | None) -> np.ndarray:
        """(task,) True for the tasks of the stage and of earlier stages."""
        if stage is None:
            return np.ones(len(self.planned), dtype=bool)
        before = self.stage_order[: self.stage_order.index(stage) + 1]
        return self.progress.tasks["stage"].isin(before).to_numpy()

    def _fraction_earned(self) -> np.ndarray:
        tasks = self.progress.tasks
        pieces = (tasks["quantity_done"] / tasks["quantity"]).clip(upper=1.0)
        reported = (tasks["percent"] / 100.0).fillna(pieces).fillna(0.0)
        return np.where(tasks["done"], 1.0, reported.to_numpy(dtype=float))

    def _planned_curve(self, build: Build) -> np.ndarray:
        """(day + 1,) hours planned to be earned by the end of each day since the first session.

        It ends below the total where nobody can come any more.
        """
        total = float(self.planned.sum())
        stated = [b.weekly_hours for b in build.builders if b.weekly_hours]
        fallback = float(np.mean(stated)) if stated else 7.0 * self.hours_per_day
        per_day = np.array([(b.weekly_hours or fallback) / 7.0 for b in build.builders])
        people = tuple(b.id for b in build.builders)
        days = _FIRST_DAYS
        while True:
            available = availability(self.started, days, people, build.builders, build.away)
            curve = np.concatenate([[0.0], np.cumsum(available @ per_day)])
            if curve[-1] >= total or days > _MOST_YEARS * 365:
                return np.minimum(curve[: int(np.searchsorted(curve, total)) + 1], total)
            days *= 2


def naive_ways(progress: Progress) -> NaiveWays:
    """The averages of a build.

    Raises
    ------
    ValueError for a build without a session.
    """
    if progress.started is None:
        raise ValueError("An average pace needs at least one session.")
    tasks = progress.tasks
    done = tasks["done"].to_numpy(dtype=bool)
    spent = (tasks["hours_first"] + tasks["hours_rework"]).to_numpy(dtype=float)
    planned = _planned_hours(tasks["planned_hours"].to_numpy(dtype=float), spent[done])
    known = done & tasks["planned_hours"].notna().to_numpy()
    ratio = float(spent[known].sum() / planned[known].sum()) if known.any() else 1.0
    elapsed = (progress.as_of - progress.started).days + 1
    return NaiveWays(
        progress=progress,
        started=progress.started,
        planned=planned,
        ratio=ratio,
        hours_left=np.where(done, 0.0, np.maximum(planned * ratio - spent, 0.0)),
        hours_per_day=float(progress.sessions["person_hours"].sum()) / elapsed,
        stage_order=tuple(dict.fromkeys(tasks["stage"])),
    )


def _planned_hours(planned: np.ndarray, finished_hours: np.ndarray) -> np.ndarray:
    missing = np.isnan(planned)
    if not missing.all():
        return np.where(missing, planned[~missing].mean(), planned)
    mean = finished_hours.mean() if len(finished_hours) else np.nan
    return np.full(len(planned), mean)
