"""What happened, as far as it is known."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.learn.progress import Progress
from forecast.questions.announced_dates import BUILD


@dataclass(frozen=True, kw_only=True)
class Outcomes:
    """What happened to the targets of past forecasts.

    Attributes
    ----------
    progress : the build at the end of the last day that counts
    """

    progress: Progress

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.progress.as_of

    @property
    def build_finished(self) -> bool:
        """True when every task of the plan is done."""
        return bool(self.progress.tasks["done"].all())

    def knows(self, target: str) -> bool:
        """True for the build and for the stages that are still in the plan."""
        return target == BUILD or target in set(self.progress.tasks["stage"])

    def finished_on(self, target: str) -> date | None:
        """The day on which a stage or the build was finished; None while it is open or unknown."""
        tasks = self.progress.tasks
        rows = tasks if target == BUILD else tasks.loc[tasks["stage"] == target]
        if rows.empty or not rows["done"].all():
            return None
        day: date = rows["finished"].max().date()
        return day

    def hours_within(self, day: date, days: int) -> float:
        """Person-hours in the `days` days after `day`; a log row of several days is spread evenly."""
        rows = self.progress.sessions
        origin = np.datetime64(day, "D")
        first, last = ((rows[c].to_numpy() - origin) / np.timedelta64(1, "D") for c in ("date", "until"))
        inside = np.minimum(last, days) - np.maximum(first, 1.0) + 1.0
        share = np.maximum(inside, 0.0) / (last - first + 1.0)
        return float(rows["person_hours"].to_numpy() @ share)

    def task_hours_after(self, day: date, tasks: Collection[str]) -> tuple[float, bool]:
        """Person-hours spent on some tasks after `day`, and whether all of them are done."""
        rows = self.progress.sessions
        later = rows["task"].isin(list(tasks)) & (rows["until"] > pd.Timestamp(day))
        chosen = self.progress.tasks["task"].isin(list(tasks))
        done = bool(self.progress.tasks.loc[chosen, "done"].all()) and int(chosen.sum()) == len(set(tasks))
        return float(rows.loc[later, "person_hours"].sum()), done


def days_between(day: date, happened: date | None) -> float:
    """Whole days from `day` to `happened`; infinite when it has not happened.

    >>> days_between(date(2026, 3, 1), date(2026, 3, 4)), days_between(date(2026, 3, 1), None)
    (3.0, inf)
    """
    return np.inf if happened is None else float((happened - day).days)
