"""The effort model for any table of tasks, without a build folder."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Self

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.files.plan import Plan, Task
from forecast.learn.effort.model import EffortModel
from forecast.learn.effort.priors import EffortPriors
from forecast.learn.estimator import Estimator
from forecast.learn.progress import Progress, read_progress
from forecast.random_streams import EFFORT, FIT, stream

_FIRST_DAY = "2000-01-01"  # rows without dates get one day each from here on; only their order matters


class TaskEffort(Estimator):
    """Person-hours that the open tasks of a table still take, from the hours of its finished ones.

    Parameters
    ----------
    draws, warm_up, priors, half_days : as for `EffortModel`
    seed : of the fit and of `predict_quantiles`

    Attributes
    ----------
    progress_ : the table as the forecast reads a build
    model_ : the fitted `EffortModel`

    Examples
    --------
    >>> tasks = pd.DataFrame({"type": "rib", "planned_hours": 4.0, "hours": [5.0, 4.6, 4.9, None, 1.0],
    ...                       "done": [True, True, True, False, False]})
    >>> effort = TaskEffort(draws=100).fit(tasks)
    >>> effort.predict_quantiles([0.1, 0.9]).shape, effort.sample(50, np.random.default_rng(0)).shape
    ((2, 2), (50, 2))
    """

    def __init__(
        self,
        *,
        draws: int = 400,
        warm_up: int = 150,
        priors: EffortPriors | None = None,
        half_days: float | None = None,
        seed: int = 0,
    ) -> None:
        self.draws = draws
        self.warm_up = warm_up
        self.priors = priors
        self.half_days = half_days
        self.seed = seed

    def fit(self, frame: pd.DataFrame) -> Self:
        """Fit to a table of tasks.

        Parameters
        ----------
        frame : one row per task, in the order of the plan, with the columns type and done (bool), and
            optionally task (unique id; else the row's number), planned_hours (person-hours, blank where
            unknown), quantity (pieces, 1 if blank), hours (person-hours so far, blank if not begun) and date
            (last day worked; else finished rows count as worked in their order, one per day)

        Raises
        ------
        UsageError : for a missing column or a value that is not allowed
        """
        self.progress_ = _progress_of(frame)
        settings = {name: value for name, value in self.get_params().items() if name != "seed"}
        self.model_ = EffortModel(**settings).fit(self.progress_, stream(self.seed, FIT))
        return self

    def sample(self, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(draw, open task) person-hours still to do, rework and a share of unplanned work included.

        Parameters
        ----------
        draws : number of draws
        rng : source of randomness
        """
        return self.model_.sample_remaining(draws, rng).hours

    def predict_quantiles(self, levels: Sequence[float] = (0.1, 0.5, 0.9), draws: int = 2000) -> pd.DataFrame:
        """Quantiles of the person-hours still to do: one row per open task, one column per level.

        Parameters
        ----------
        levels : probabilities, 0 to 1
        draws : number of draws behind them; equal settings give equal quantiles
        """
        hours = self.sample(draws, stream(self.seed, EFFORT))
        tasks = pd.Index(self.progress_.open_tasks["task"], name="task")
        return pd.DataFrame(np.quantile(hours, levels, axis=0).T, index=tasks, columns=list(levels))

    def to_frame(self) -> pd.DataFrame:
        """One row per task: task, type, planned_hours, hours so far, done, p10, p50 and p90 still to do."""
        tasks = self.progress_.tasks.rename(columns={"hours_first": "hours"})
        left = self.predict_quantiles().set_axis(["p10", "p50", "p90"], axis=1)
        table = tasks[["task", "type", "planned_hours", "hours", "done"]].join(left, on="task")
        return table.fillna({"p10": 0.0, "p50": 0.0, "p90": 0.0})


def _progress_of(frame: pd.DataFrame) -> Progress:
    """The table as plan and log: one task and one session per row, read as those of a build are."""
    for column in ("type", "done"):
        if column not in frame or frame[column].isna().any():
            raise UsageError(f"A table of tasks needs a {column} in every row.")
    ids = [str(task) for task in frame.get("task", pd.Series(range(len(frame))))]
    if len(set(ids)) < len(ids):
        raise UsageError("The ids in the column task must differ from each other.")
    planned, quantity = _numbers(frame, "planned_hours"), _numbers(frame, "quantity")
    hours, done = np.nan_to_num(_numbers(frame, "hours", zero=True)), frame["done"].to_numpy(dtype=bool)
    tasks = tuple(
        Task(task=t, stage="all", title=t, type=str(k), quantity=1.0 if np.isnan(q) else q,
             planned_hours=None if np.isnan(p) else p)
        for t, k, q, p in zip(ids, frame["type"], quantity, planned, strict=True)
    )  # fmt: skip
    dates = frame.get("date", pd.Series(pd.date_range(_FIRST_DAY, periods=len(frame))))
    sessions = pd.DataFrame({"task": pd.Series(ids, dtype="str"), "date": pd.to_datetime(dates).to_numpy()})
    sessions = sessions.assign(
        until=sessions["date"], start="", stage="all", type="", builders="A", helpers=0, people=1, note="",
        hours=hours, person_hours=hours, quantity=np.nan, percent=np.nan, done=done, rework=False,
    )  # fmt: skip
    sessions = sessions.loc[(hours > 0) | done]
    if sessions["date"].isna().any():
        raise UsageError("Every task with hours needs a date, or none does.")
    as_of = sessions["date"].max().date() if len(sessions) else date.fromisoformat(_FIRST_DAY)
    return read_progress(Plan(tasks=tasks), sessions, as_of)


def _numbers(frame: pd.DataFrame, column: str, *, zero: bool = False) -> np.ndarray:
    """(row,) a column of numbers, NaN where blank or absent."""
    if column not in frame:
        return np.full(len(frame), np.nan)
    try:
        values = frame[column].to_numpy(dtype=float, na_value=np.nan)
    except (TypeError, ValueError):
        raise UsageError(f"{column} must hold numbers only.") from None
    bad = (values < 0) | np.isinf(values) | ((values == 0) & (not zero))
    if bad.any():
        least = "0 or more" if zero else "above 0"
        raise UsageError(f"{column} must be {least} or blank. Got {values[bad][0]:g}.")
    return np.asarray(values)
