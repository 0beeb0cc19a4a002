"""Past forecasts beside what happened, and how they scored."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.quantiles import QUANTILES, quantile_key
from forecast.questions.announced_dates import BUILD
from forecast.questions.track_record.announced import AnnouncedRecord
from forecast.questions.track_record.verdicts import Judged
from forecast.simulate.settings import Settings

LEVELS = (0.50, 0.80, 0.90)
WAYS = ("average_pace", "earned_schedule")
KEYS = [quantile_key(q) for q in QUANTILES]


@dataclass(frozen=True, kw_only=True)
class ScoredForecasts:
    """How past forecasts of one build did: what the record is made of.

    Attributes
    ----------
    as_of : the last day that counts
    settings : runs, seed and horizon of every past forecast
    finishes : one row a past day and target (an open stage or "build"): as_of, target, next_stage,
        finished_tasks, p05 ... p95 and actual (days; NaT past the horizon or still open), days_p05 ...
        days_p95, actual_days and known_days (days after the past day, infinite past the horizon or
        open), crps_days, and for average_pace and earned_schedule the date (NaT none), _days and
        _crps_days (NaN where that way has no answer)
    hours : one row a past day and target ("next 13 weeks", "next 20 tasks"): as_of, target, days and
        tasks (its size), p05 ... p95 and actual (person-hours, so far where not settled), settled,
        crps_hours, naive_hours and naive_crps_hours
    told : the dates announced in forecasts.csv beside what happened
    notes : what was left out of past forecasts because nothing says since when it was known
    """

    as_of: date
    settings: Settings
    finishes: pd.DataFrame
    hours: pd.DataFrame
    told: AnnouncedRecord
    notes: tuple[str, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """The past days that were forecast from."""
        return tuple(stamp.date() for stamp in self.finishes["as_of"].unique())

    @property
    def targets(self) -> tuple[str, ...]:
        """The stages in the order in which they were open, then the build."""
        named = self.finishes["target"]
        return (*dict.fromkeys(named[named != BUILD]), *([BUILD] if len(named) else []))

    def judged(self, target: str | None = None) -> Judged:
        """The finish dates of one target (None: all of them), as days after each past day."""
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
        """Mean CRPS of the finish dates by the model ("") or one of WAYS; NaN where there is none.

        Only over forecasts for which every way has an answer, so that the ways can be compared.
        """
        rows = self.finishes if target is None else self.finishes.loc[self.finishes["target"] == target]
        names = ["crps_days", *(f"{w}_crps_days" for w in WAYS)]
        rows = rows.dropna(subset=names)
        return float(rows[f"{way}_crps_days" if way else "crps_days"].mean()) if len(rows) else np.nan

    def crps_hours(self, target: str, *, naive: bool = False) -> float:
        """Mean CRPS of the person-hours of a target, where the naive way has an answer too."""
        rows = self.hours.loc[self.hours["target"] == target].dropna(subset=["naive_crps_hours"])
        return float(rows["naive_crps_hours" if naive else "crps_hours"].mean()) if len(rows) else np.nan
