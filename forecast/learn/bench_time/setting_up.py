"""How much of a session goes into setting up and clearing away, where the log can tell.

    pieces of a session = rate of the task x (hours - s) + noise, its variance in proportion to the hours

A short session with fewer pieces per hour than a long one on the same task is evidence of s. Only days on
which a single row with counted pieces covers the whole day are used. s has an exponential prior (mean a
quarter of an hour: an assumption); rates and the size of the noise are integrated out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

_PRIOR_MEAN_HOURS = 0.25
_GRID_HOURS = np.arange(
    0.0, 1.51, 0.01
)  # steps of 36 seconds; the prior exceeds 1.5 hours with a chance of 1 in 400
# Judgements: two rows of a task only just fix its rate, and fewer than 20 rows in all show nothing but noise.
_LEAST_ROWS_PER_TASK = 3
_LEAST_ROWS = 20
_LARGEST_SD_HOURS = 0.5 * _PRIOR_MEAN_HOURS  # half the prior's: above it, the figure would be the prior's


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingUp:
    """Hours of a session that make no pieces: posterior mean, 90 % range, number of sessions used.

    The hours of tasks in the log include them already.
    """

    hours: float
    low: float
    high: float
    rows: int


def fit_setting_up(sessions: pd.DataFrame) -> SettingUp | None:
    """Estimate setting up from the sessions frame; None where the log cannot tell."""
    rows = _whole_day_rows(sessions)
    if len(rows) < _LEAST_ROWS:
        return None
    task = pd.factorize(rows["task"] + "/" + rows["people"].astype(str))[0]
    weight = _posterior(rows["quantity"].to_numpy(), rows["hours"].to_numpy(), task)
    mean = float(weight @ _GRID_HOURS)
    if float(weight @ (_GRID_HOURS - mean) ** 2) ** 0.5 > _LARGEST_SD_HOURS:
        return None
    low, high = _GRID_HOURS[np.searchsorted(np.cumsum(weight), [0.05, 0.95])]
    return SettingUp(hours=mean, low=float(low), high=float(high), rows=len(rows))


def _whole_day_rows(sessions: pd.DataFrame) -> pd.DataFrame:
    """Rows with counted pieces that cover the whole day of everybody on them."""
    alone_on_day = ~sessions["date"].duplicated(keep=False)
    use = alone_on_day & (sessions["until"] == sessions["date"]) & ~sessions["rework"]
    rows = sessions.loc[use & sessions["quantity"].gt(0) & (sessions["task"] != "")]
    counted = rows.groupby(["task", "people"])["hours"].transform("size")
    return rows.loc[counted >= _LEAST_ROWS_PER_TASK]


def _posterior(pieces: np.ndarray, hours: np.ndarray, task: np.ndarray) -> np.ndarray:
    """(grid,) weight of each s."""
    tasks = int(task.max()) + 1
    own = (np.arange(tasks)[:, None] == task).astype(float)
    # In hours at the task's mean rate, so that tasks with many pieces and with few weigh the same.
    made = pieces * ((own @ hours) / (own @ pieces))[task]
    useful = hours - np.minimum(_GRID_HOURS[:, None], 0.9 * hours)
    square = (useful**2 / hours) @ own.T
    rate = ((made * useful / hours) @ own.T) / square
    squares = (made - rate[:, task] * useful) ** 2 / hours
    log_likelihood = -0.5 * ((len(pieces) - tasks) * np.log(squares.sum(axis=1)) + np.log(square).sum(axis=1))
    log_weight = log_likelihood - _GRID_HOURS / _PRIOR_MEAN_HOURS
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())
