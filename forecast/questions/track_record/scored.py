"""Past forecasts compared with what happened, and their scores."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.quantiles import QUANTILE_KEYS
from forecast.questions.announced_dates import BUILD
from forecast.questions.track_record.announced import AnnouncedRecord
from forecast.questions.track_record.verdicts import Judged
from forecast.simulate.settings import Settings

LEVELS = (0.50, 0.80, 0.90)
WAYS = ("average_pace", "earned_schedule")
KEYS = list(QUANTILE_KEYS)


@dataclass(frozen=True, kw_only=True)
class ScoredForecasts:
    """The past forecasts of one build with their scores.

    Attributes
    ----------
    as_of : the last day that counts
    settings : runs, seed and horizon of every past forecast
    finishes : one row per past day and target (an open stage or "build"): as_of, target, next_stage,
        finished_tasks, p05 ... p95 and actual (dates; NaT past the horizon or still open), days_p05 ...
        days_p95, actual_days and known_days (days after the past day, infinite past the horizon or
        open), crps_days, and for average_pace and earned_schedule the date (NaT = none), _days and
        _crps_days (NaN where that method has no answer)
    hours : one row per past day and target ("next 13 weeks", "next 20 tasks"): as_of, target, days and
        tasks (its size), p05 ... p95 and actual (person-hours, so far where not settled), settled,
        crps_hours, naive_hours and naive_crps_hours
    announced : the dates in forecasts.csv compared with what happened
    notes : what was left out of past forecasts because the folder does not say since when it was known
    """

    as_of: date
    settings: Settings
    finishes: pd.DataFrame
    hours: pd.DataFrame
    announced: AnnouncedRecord
    notes: tuple[str, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """The past days of the forecasts."""
        return tuple(stamp.date() for stamp in self.finishes["as_of"].unique())

    @property
    def targets(self) -> tuple[str, ...]:
        """The stages in the order in which they were open, then the build."""
        named = self.finishes["target"]
        return (*dict.fromkeys(named[named != BUILD]), *([BUILD] if len(named) else []))

    def judged(self, target: str | None = None) -> Judged:
        """The finish dates of one target (None = all), as days after each past day."""
        rows = self.finishes if target is None else self.finishes.loc[self.finishes["target"] == target]
        return Judged(
            quantiles=rows[[f"days_{k}" for k in KEYS]].set_axis(KEYS, axis=1),
            outcome=rows["actual_days"].to_numpy(dtype=float),
            known_until=rows["known_days"].to_numpy(dtype=float),
        )

    def judged_hours(self, target: str) -> Judged:
        """The person-hours of one of the two targets."""
        rows = self.hours.loc[self.hours["target"] == target]
        return Judged(
            quantiles=rows[KEYS],
            outcome=rows["actual"].where(rows["settled"], np.inf).to_numpy(dtype=float),
            known_until=rows["actual"].to_numpy(dtype=float),
        )

    def crps_days(self, way: str = "", target: str | None = None) -> float:
        """Mean CRPS of the finish dates in days; NaN where there is none.

        Only forecasts for which every method has an answer count, so that the methods can be compared.

        Parameters
        ----------
        way : "" for the model, or one of WAYS
        target : a stage or "build"; None = all
        """
        rows = self.finishes if target is None else self.finishes.loc[self.finishes["target"] == target]
        names = ["crps_days", *(f"{w}_crps_days" for w in WAYS)]
        rows = rows.dropna(subset=names)
        return float(rows[f"{way}_crps_days" if way else "crps_days"].mean()) if len(rows) else np.nan

    def crps_hours(self, target: str, *, naive: bool = False) -> float:
        """Mean CRPS of the person-hours of a target, where the naive method has an answer too.

        Parameters
        ----------
        target : WINDOW or TASKS
        naive : True for the naive method
        """
        rows = self.hours.loc[self.hours["target"] == target].dropna(subset=["naive_crps_hours"])
        return float(rows["naive_crps_hours" if naive else "crps_hours"].mean()) if len(rows) else np.nan
