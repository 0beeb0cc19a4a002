"""The answer of a forecast: where the build goes from here, in every run."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from forecast.quantiles import QUANTILES, day_of, quantile_key, sample_quantile
from forecast.simulate.fitted import Fitted
from forecast.simulate.settings import Settings
from forecast.wording import format_percent

BURN_DOWN_QUANTILES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)


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
    return f"In {format_percent(share)} of the runs the build cannot be finished: {task} {waits[lack]}."


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
