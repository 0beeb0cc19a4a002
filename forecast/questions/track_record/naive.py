"""What a builder would say without a model: average pace, planned hours times the ratio, earned schedule."""

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

_MOST_YEARS = 120


@dataclass(frozen=True, kw_only=True)
class NaiveWays:
    """The naive forecasts of one build on one day.

    A task without planned hours counts as the mean of those that have them; where nothing is planned,
    as the mean of the finished tasks. With neither there is no naive forecast, and figures are NaN.

    Attributes
    ----------
    progress : the build on that day
    started : the day of the first session
    planned : (task,) planned person-hours
    ratio : person-hours over planned hours of the finished tasks, 1 where none is finished
    hours_left : (task,) planned hours times the ratio, less what was spent; 0 where done
    hours_a_day : person-hours a day since the first session
    stage_order : stages in plan order
    """

    progress: Progress
    started: date
    planned: np.ndarray
    ratio: float
    hours_left: np.ndarray
    hours_a_day: float
    stage_order: tuple[str, ...]

    def average_pace_days(self, stage: str | None) -> float:
        """Days until a stage (None: the build) is finished: hours left over the average pace so far.

        The stages are taken one after the other in plan order, so those before it come first.
        """
        days = float(self.hours_left[self._up_to(stage)].sum()) / self.hours_a_day
        return float(np.ceil(max(days, 1.0))) if np.isfinite(days) else np.nan

    def hours_ahead(self, days: int) -> float:
        """Person-hours of the next days at the average pace, and no more than there are left."""
        left = float(self.hours_left.sum())
        pace = self.hours_a_day * days
        return min(pace, left) if np.isfinite(left) else pace

    def task_hours(self, tasks: np.ndarray) -> float:
        """Person-hours left on some tasks (given by position)."""
        return float(self.hours_left[tasks].sum())

    def earned_schedule_days(self, stage: str | None, build: Build) -> float:
        """Days until a stage (None: the build) is finished, by IEAC(t) of earned schedule.

        The planned curve: all planned hours in plan order, at the weekly hours that each builder states
        in build.toml (the average pace so far where nobody states any), from the first session or the
        day on which somebody joins, none while away. Earned: the planned hours of finished tasks, and of
        tasks under way as far as they were last reported.
        """
        if not np.isfinite(self.planned).all():
            return np.nan
        earned = float(self.planned @ self._fraction_earned())
        curve = self._planned_curve(build)
        if curve[-1] < self.planned.sum():
            return np.nan
        elapsed = (self.progress.as_of - self.started).days + 1
        stand = earned_schedule(curve, earned=earned, actual_time=elapsed)
        if stand.periods <= 0:
            return np.inf
        due = time_of(curve, float(self.planned[self._up_to(stage)].sum()))
        return float(np.ceil(max(due / stand.performance_index - elapsed, 1.0)))

    def _up_to(self, stage: str | None) -> np.ndarray:
        """(task,) True for the tasks of the stage and of those before it."""
        if stage is None:
            return np.ones(len(self.planned), dtype=bool)
        before = self.stage_order[: self.stage_order.index(stage) + 1]
        return self.progress.tasks["stage"].isin(before).to_numpy()

    def _fraction_earned(self) -> np.ndarray:
        tasks = self.progress.tasks
        pieces = (tasks["quantity_done"] / tasks["quantity"]).clip(upper=1.0)
        said = (tasks["percent"] / 100.0).fillna(pieces).fillna(0.0)
        return np.where(tasks["done"], 1.0, said.to_numpy(dtype=float))

    def _planned_curve(self, build: Build) -> np.ndarray:
        """(day + 1,) planned hours that should be earned by the end of each day since the first session.

        It ends below the total where nobody can come for good.
        """
        total = float(self.planned.sum())
        stated = [b.weekly_hours for b in build.builders if b.weekly_hours]
        fallback = float(np.mean(stated)) if stated else 7.0 * self.hours_a_day
        a_day = np.array([(b.weekly_hours or fallback) / 7.0 for b in build.builders])
        people = tuple(b.id for b in build.builders)
        days = 730
        while True:
            there = availability(self.started, days, people, build.builders, build.away)
            curve = np.concatenate([[0.0], np.cumsum(there @ a_day)])
            if curve[-1] >= total or days > _MOST_YEARS * 365:
                return np.minimum(curve[: int(np.searchsorted(curve, total)) + 1], total)
            days *= 2


def naive_ways(progress: Progress) -> NaiveWays:
    """Learn the averages from a build.

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
        hours_a_day=float(progress.sessions["person_hours"].sum()) / elapsed,
        stage_order=tuple(dict.fromkeys(tasks["stage"])),
    )


def _planned_hours(planned: np.ndarray, finished_hours: np.ndarray) -> np.ndarray:
    missing = np.isnan(planned)
    if not missing.all():
        return np.where(missing, planned[~missing].mean(), planned)
    mean = finished_hours.mean() if len(finished_hours) else np.nan
    return np.full(len(planned), mean)
