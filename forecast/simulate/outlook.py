"""The answer of a forecast: how the build continues in every run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.quantiles import QUANTILE_KEYS, QUANTILES, day_of, sample_quantile, sample_quantiles, to_date
from forecast.simulate.fitted import Fitted
from forecast.simulate.settings import Settings
from forecast.wording import format_percent

BURN_DOWN_QUANTILES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)
# Shares below 0.5 % would print as 0 %.
_LEAST_SHARE = 0.005
_LACKS = {
    "two hands": "needs two people, and nobody comes who could be the second",
    "delivery": "waits for a delivery that never arrives",
    "limit": "needs more of a limit than other work ever frees",
}


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """How the build continues: the answer of one forecast.

    Wherever a method takes a `stage`, None is the whole build, and a name is accepted as in the plan or
    with a capital first letter; any other name raises UsageError.

    Attributes
    ----------
    fitted : what was learned from the log
    settings : runs, seed, horizon and priors
    stages : names of the stages, in plan order
    finish_days : (run, stage) days after `as_of` at which a stage is finished; 0 = already,
        infinite = past the horizon
    first_90_days : (run, stage) days after `as_of` at which 90 % of its hours are done
    build_finish_days, build_first_90_days : (run,) the same for the whole build
    hours_left : (run, stage) person-hours left
    burn_grid_days : (point,) days after `as_of`
    burn_hours_done : (run, stage, point) person-hours done by then
    hours_parts : source -> (run,) person-hours left that come from it
    never : (lack, task) -> share of the runs that no number of days would finish, by what they lack and
        the first task that lacks it
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

    def __repr__(self) -> str:
        even, sure = self.date_at(0.5) or "past the horizon", self.date_at(0.8) or "past the horizon"
        return (
            f"<Outlook {self.fitted.build.name}: as of {self.as_of}, {self.settings.runs} runs, "
            f"even odds {even}, 80 % sure {sure}>"
        )

    def _repr_html_(self) -> str:
        """A small table for notebooks; pandas escapes the names."""
        columns = {"stage": "stage", "finish_p50": "even odds", "finish_p80": "80 % sure"}
        shown = self.to_frame().rename(columns=columns)[list(columns.values())]
        return str(shown.to_html(index=False, na_rep="past the horizon"))

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.fitted.as_of

    @property
    def open_stages(self) -> tuple[str, ...]:
        """The stages with an unfinished task, in plan order."""
        left = set(self.fitted.progress.open_tasks["stage"])
        return tuple(s for s in self.stages if s in left)

    def stage_position(self, stage: str) -> int:
        """The position of a stage in `stages`.

        Raises
        ------
        UsageError for a name that is no stage; it lists the stages.
        """
        for names in (self.stages, tuple(s[:1].upper() + s[1:] for s in self.stages)):
            if stage in names:
                return names.index(stage)
        raise UsageError(f"stage must be one of {', '.join(self.stages)}. Got {stage!r} instead.")

    def finished_on(self, stage: str | None = None) -> date | None:
        """The day on which a stage or the build was finished; None while it is open."""
        rows = self.fitted.progress.tasks
        if stage is not None:
            rows = rows.loc[rows["stage"] == self.stages[self.stage_position(stage)]]
        if rows.empty or not rows["done"].all():
            return None
        day: date = rows["finished"].max().date()
        return day

    def days(self, stage: str | None = None, *, first_90: bool = False) -> np.ndarray:
        """(run,) days after `as_of` at which a stage or the build is finished.

        Parameters
        ----------
        stage : its name; None = the whole build
        first_90 : True for the day on which 90 % of its hours are done
        """
        if stage is None:
            return self.build_first_90_days if first_90 else self.build_finish_days
        return (self.first_90_days if first_90 else self.finish_days)[:, self.stage_position(stage)]

    def date_at(self, level: float, stage: str | None = None, *, first_90: bool = False) -> date | None:
        """The day by which a stage or the build is finished with probability `level`.

        Parameters
        ----------
        level : probability, 0 to 1
        stage, first_90 : as in `days`

        Returns
        -------
        None when that day lies past the horizon; the actual day of a finished stage
        """
        if not 0 <= level <= 1:
            raise UsageError(f"level must be a probability from 0 to 1. Got {level!r} instead.")
        done = self.finished_on(stage)
        if done is not None:
            return done
        return day_of(self.as_of, sample_quantile(self.days(stage, first_90=first_90), level))

    def chance_by(self, day: date | str, stage: str | None = None) -> float:
        """The probability that a stage or the build is finished on `day` or before.

        Parameters
        ----------
        day : a date or its ISO text
        stage : its name; None = the whole build
        """
        by, done = to_date(day, "day"), self.finished_on(stage)
        if done is not None:
            return float(done <= by)
        return float(np.mean(np.ceil(self.days(stage)) <= (by - self.as_of).days))

    def past_horizon(self, stage: str | None = None) -> float:
        """The share of runs that do not finish within the horizon."""
        return float(np.mean(~np.isfinite(self.days(stage))))

    def person_hours_left(self, stage: str | None = None) -> np.ndarray:
        """(run,) person-hours left on a stage or the build."""
        if stage is None:
            return np.asarray(self.hours_left.sum(axis=1))
        return np.asarray(self.hours_left[:, self.stage_position(stage)])

    @property
    def basis(self) -> dict[str, int]:
        """How much log the forecast rests on: finished tasks, sessions, weeks since the first session."""
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
        pooled = self.settings.priors
        return (
            *(_never_sentence(*stuck, share) for stuck, share in self.never.items() if share >= _LEAST_SHARE),
            *(() if pooled is None else (pooled.sentence,)),
            *self.fitted.effort.notes_,
            *self.fitted.bench.notes_,
            *self.fitted.network.notes,
        )

    def draws(self) -> pd.DataFrame:
        """Finish days after `as_of`: one row per run, one column per stage and "build"."""
        from forecast.simulate.network import finish_frame

        return finish_frame(self.stages, self.finish_days, self.build_finish_days)

    def to_frame(self) -> pd.DataFrame:
        """One row per stage in plan order, then "build".

        Returns
        -------
        Columns stage, finished (day, NaT while open), hours_left_p10, _p50 and _p90 (person-hours),
        finish_p05 to finish_p95 and first_90_p50 (days, NaT past the horizon), probability_past_horizon
        """
        rows = [self._row(stage) for stage in (*self.stages, None)]
        dates = [c for c in rows[0] if c.startswith(("finish", "first_90"))]
        frame = pd.DataFrame(rows)
        return frame.assign(**{c: pd.to_datetime(frame[c]).astype("datetime64[us]") for c in dates})

    def _row(self, stage: str | None) -> dict[str, Any]:
        hours = self.person_hours_left(stage)
        return {
            "stage": "build" if stage is None else stage,
            "finished": self.finished_on(stage),
            **{f"hours_left_p{p}": sample_quantile(hours, p / 100) for p in (10, 50, 90)},
            **{f"finish_{k}": day for k, day in zip(QUANTILE_KEYS, self._dates(stage), strict=True)},
            "first_90_p50": self.date_at(0.5, stage, first_90=True),
            "probability_past_horizon": self.past_horizon(stage),
        }

    def _dates(self, stage: str | None, *, first_90: bool = False) -> Iterable[date | None]:
        return (self.date_at(q, stage, first_90=first_90) for q in QUANTILES)

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON: ISO days, quantiles by name, null past the horizon."""
        return {
            "as_of": self.as_of.isoformat(),
            "runs": self.settings.runs,
            "seed": self.settings.seed,
            "basis": self.basis | ({} if self.settings.priors is None else {"priors": "pooled"}),
            "stages": [{"stage": s, **self._answer(s)} for s in self.stages],
            "build": self._answer(None),
        }

    def _answer(self, stage: str | None) -> dict[str, Any]:
        hours = sample_quantiles(self.person_hours_left(stage))
        return {
            "finished": _iso(self.finished_on(stage)),
            "finish": dict(zip(QUANTILE_KEYS, map(_iso, self._dates(stage)), strict=True)),
            "first_90": dict(zip(QUANTILE_KEYS, map(_iso, self._dates(stage, first_90=True)), strict=True)),
            "person_hours_left": {key: round(h, 1) for key, h in hours.items()},
            "probability_past_horizon": self.past_horizon(stage),
        }


def _never_sentence(lack: str, task: str, share: float) -> str:
    return f"In {format_percent(share)} of the runs the build cannot be finished: {task} {_LACKS[lack]}."


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
