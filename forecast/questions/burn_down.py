"""The burn-down: hours left in the past, from the log, and in the future, from the simulation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.quantiles import date_column, quantile_key, sample_quantile
from forecast.random_streams import SCOPE, stream
from forecast.simulate.outlook import BURN_DOWN_QUANTILES, Outlook

_SCOPE_DRAWS = 400  # only medians of single tasks are needed
_SHOWN_UNTIL = 0.90
_NO_HOURS = 0.05  # hours that print as 0.0


@dataclass(frozen=True, kw_only=True)
class BurnDown:
    """Person-hours left of one stage, or (`stage` None) of the whole build.

    Attributes
    ----------
    stage : its name in the plan
    logged : day, hours_left: at the end of each week since the first session, as seen from `as_of`: hours
        spent later count as left then, tasks added to the plan later do not
    scope : day, tasks, hours: tasks added to the plan, and their person-hours (spent and left)
    forecast : day and one column per quantile of BURN_DOWN_QUANTILES (p02 to p98): hours left in the runs
    """

    stage: str | None
    logged: pd.DataFrame
    scope: pd.DataFrame
    forecast: pd.DataFrame

    def __repr__(self) -> str:
        left = self.logged["hours_left"].iloc[-1]
        until = self.forecast["day"].iloc[-1].date()
        return f"<BurnDown {self.stage or 'build'}: {left:.0f} hours left, forecast to {until}>"

    def to_frame(self) -> pd.DataFrame:
        """One row per day of the log (p50 only) and then of the forecast: day, p02 to p98 of hours left."""
        return pd.concat(
            [self.logged.rename(columns={"hours_left": "p50"}), self.forecast], ignore_index=True
        )


def burn_down(outlook: Outlook, stage: str | None = None) -> BurnDown:
    """Hours left over time, until 90 % of the runs have nothing left or to the horizon.

    Parameters
    ----------
    outlook : the forecast
    stage : its name; None = the whole build

    Raises
    ------
    UsageError for a stage that the plan does not have.
    """
    stage = None if stage is None else outlook.stages[outlook.stage_position(stage)]
    scope = _scope(outlook, stage)
    return BurnDown(
        stage=stage,
        logged=_logged(outlook, stage, scope),
        scope=scope,
        forecast=_forecast(outlook, stage),
    )


def _forecast(outlook: Outlook, stage: str | None) -> pd.DataFrame:
    if stage is None:
        done = outlook.burn_hours_done.sum(axis=1)
    else:
        done = outlook.burn_hours_done[:, outlook.stage_position(stage)]
    left = np.maximum(outlook.person_hours_left(stage)[:, None] - done, 0.0)
    levels = np.quantile(left, BURN_DOWN_QUANTILES, axis=0, method="inverted_cdf")
    until = BURN_DOWN_QUANTILES.index(_SHOWN_UNTIL)
    busy = np.flatnonzero(levels[until] > _NO_HOURS)
    points = min(int(busy[-1]) + 2 if busy.size else 1, len(outlook.burn_grid_days))
    days = [outlook.as_of + timedelta(days=int(d)) for d in outlook.burn_grid_days[:points]]
    columns = {quantile_key(q): levels[i, :points] for i, q in enumerate(BURN_DOWN_QUANTILES)}
    return pd.DataFrame({"day": date_column(days), **columns})


def _logged(outlook: Outlook, stage: str | None, scope: pd.DataFrame) -> pd.DataFrame:
    progress = outlook.fitted.progress
    rows = progress.sessions
    if stage is not None:
        rows = rows.loc[rows["stage"] == stage]
    left_now = sample_quantile(outlook.person_hours_left(stage), 0.5)
    if rows.empty:
        return pd.DataFrame({"day": date_column([outlook.as_of]), "hours_left": [left_now]})
    days = _week_ends(rows["date"].min().date(), outlook.as_of)
    dates = date_column(days)
    spent_later = _after(dates, rows["until"], rows["person_hours"])
    added_later = _after(dates, scope["day"], scope["hours"])
    return pd.DataFrame({"day": dates, "hours_left": left_now + spent_later - added_later})


def _scope(outlook: Outlook, stage: str | None) -> pd.DataFrame:
    """Tasks added to the plan after the beginning, by day."""
    tasks = outlook.fitted.progress.tasks
    hours = tasks["hours_first"] + tasks["hours_rework"] + _hours_left_by_task(outlook)
    added = tasks.assign(hours=hours).loc[tasks["added"].notna()]
    if stage is not None:
        added = added.loc[added["stage"] == stage]
    by_day = added.groupby("added").agg(tasks=("task", "size"), hours=("hours", "sum"))
    return by_day.reset_index(names="day")


def _hours_left_by_task(outlook: Outlook) -> np.ndarray:
    """(task,) median person-hours left on each task; 0 where it is done."""
    progress = outlook.fitted.progress
    left = np.zeros(len(progress.tasks))
    is_open = ~progress.tasks["done"].to_numpy()
    if progress.tasks["added"].notna().any() and is_open.any():
        rng = stream(outlook.settings.seed, SCOPE)
        drawn = outlook.fitted.effort.sample_remaining(_SCOPE_DRAWS, rng).hours
        left[is_open] = np.median(drawn, axis=0)
    return left


def _after(days: pd.Series, happened: pd.Series, hours: pd.Series) -> np.ndarray:
    """(day,) sum of the hours after each day.

    `happened` and `hours` have one entry per session or task.
    """
    order = np.argsort(happened.to_numpy(), kind="stable")
    sums = np.concatenate([[0.0], np.cumsum(hours.to_numpy(dtype=float)[order])])
    before = np.searchsorted(happened.to_numpy()[order], days.to_numpy(), side="right")
    return np.asarray(sums[-1] - sums[before])


def _week_ends(first: date, last: date) -> list[date]:
    """The day before the first, every seventh day from then, and the last.

    >>> [d.day for d in _week_ends(date(2026, 3, 2), date(2026, 3, 12))]
    [1, 8, 12]
    """
    begin = first - timedelta(days=1)
    days = [begin + timedelta(days=7 * w) for w in range((last - begin).days // 7 + 1)]
    return days if days[-1] == last else [*days, last]
