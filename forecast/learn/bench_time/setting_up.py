"""How much of a session goes into setting up and clearing away, where the log can tell.

    pieces of a session = rate of the task x (hours - s) + noise, its variance in proportion to the hours

A short session with fewer pieces an hour than a long one on the same task tells of s. Only days on
which one row with counted pieces stands for the whole day are used. s has an exponential prior (mean
a quarter of an hour: an assumption); rates and the size of the noise are integrated out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

_PRIOR_MEAN_HOURS = 0.25
_GRID_HOURS = np.arange(0.0, 1.51, 0.01)
_LEAST_ROWS_A_TASK = 3
_LEAST_ROWS = 20
# Told by the log when the range is less than half as wide as the prior's.
_TOLD_SD_HOURS = 0.5 * _PRIOR_MEAN_HOURS


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingUp:
    """Hours of a session that make no pieces: mean, and the range that holds with 90 %.

    `rows` counted sessions tell of it. The hours of tasks in the log contain it already.
    """

    hours: float
    low: float
    high: float
    rows: int


def fit_setting_up(sessions: pd.DataFrame) -> SettingUp | None:
    """Estimate it, or None where the log cannot tell."""
    rows = _telling_rows(sessions)
    if len(rows) < _LEAST_ROWS:
        return None
    task = pd.factorize(rows["task"] + "/" + rows["people"].astype(str))[0]
    weight = _posterior(rows["quantity"].to_numpy(), rows["hours"].to_numpy(), task)
    mean = float(weight @ _GRID_HOURS)
    if float(weight @ (_GRID_HOURS - mean) ** 2) ** 0.5 > _TOLD_SD_HOURS:
        return None
    low, high = _GRID_HOURS[np.searchsorted(np.cumsum(weight), [0.05, 0.95])]
    return SettingUp(hours=mean, low=float(low), high=float(high), rows=len(rows))


def _telling_rows(sessions: pd.DataFrame) -> pd.DataFrame:
    """Rows with counted pieces that stand for the whole day of everybody on them."""
    alone_on_day = ~sessions["date"].duplicated(keep=False)
    use = alone_on_day & (sessions["until"] == sessions["date"]) & ~sessions["rework"]
    rows = sessions.loc[use & sessions["quantity"].gt(0) & (sessions["task"] != "")]
    counted = rows.groupby(["task", "people"])["hours"].transform("size")
    return rows.loc[counted >= _LEAST_ROWS_A_TASK]


def _posterior(pieces: np.ndarray, hours: np.ndarray, task: np.ndarray) -> np.ndarray:
    """(grid,) weight of each s."""
    tasks = int(task.max()) + 1
    own = (np.arange(tasks)[:, None] == task).astype(float)
    # In hours at the task's mean rate, so that tasks with many and with few pieces weigh alike.
    made = pieces * ((own @ hours) / (own @ pieces))[task]
    useful = hours - np.minimum(_GRID_HOURS[:, None], 0.9 * hours)
    square = (useful**2 / hours) @ own.T
    rate = ((made * useful / hours) @ own.T) / square
    off = (made - rate[:, task] * useful) ** 2 / hours
    log_chance = -0.5 * ((len(pieces) - tasks) * np.log(off.sum(axis=1)) + np.log(square).sum(axis=1))
    log_weight = log_chance - _GRID_HOURS / _PRIOR_MEAN_HOURS
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())
