"""Why the finish date changed: two forecasts of one build, and the difference attributed to causes.

Hours worked less than expected, hours by which tasks run over and hours of tasks added to the plan each move
the date by as many days as an hour took in the earlier forecast. Today's plan, simulated at the earlier pace
and at today's, gives the part of the pace. The remainder is the order of the work: constraints, deliveries,
holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.files.folder import Build
from forecast.quantiles import sample_quantile
from forecast.random_streams import DATE_CHANGE, stream
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import fit_build
from forecast.simulate.outlook import Outlook

CAUSES = ("worked", "over", "grown", "pace", "order")
LEVEL = 0.80
_GROWTH_DRAWS = 400  # only medians of single tasks are needed


@dataclass(frozen=True, kw_only=True)
class DateChange:
    """How far the finish of the whole build moved between two days, and why.

    Attributes
    ----------
    before, now : the two forecasts
    days : cause -> days later (below zero: earlier); they add up to `days_later`. Causes: worked (hours
        at the bench compared with those expected), over (tasks that take longer than forecast), grown
        (tasks added to the plan), pace (hours per week from now on), order (the remainder)
    hours_expected, hours_worked : person-hours between the two days, as forecast and as logged
    hours_over, hours_grown : person-hours that these two causes add to the work left
    """

    before: Outlook
    now: Outlook
    days: dict[str, float]
    hours_expected: float
    hours_worked: float
    hours_over: float
    hours_grown: float

    @property
    def days_later(self) -> float:
        """Days by which the date moved; below zero: earlier."""
        return sum(self.days.values())

    def __repr__(self) -> str:
        return f"<DateChange {self.before.as_of} to {self.now.as_of}: {self.days_later:+.0f} days>"

    def to_frame(self) -> pd.DataFrame:
        """One row per cause: cause, days_later (below zero: earlier)."""
        causes = {"cause": pd.Series(list(self.days), dtype="str"), "days_later": list(self.days.values())}
        return pd.DataFrame(causes)


def explain_date_change(
    build: Build, now: Outlook, *, days: int = 30, runs: int = 2_000
) -> DateChange | None:
    """Compare a forecast with the one of `days` earlier.

    Parameters
    ----------
    build : the folder that `now` forecasts
    now : today's forecast
    days : how far to look back
    runs : of each of the other forecasts; of `now`, the first ones are compared

    Returns
    -------
    None when either has no finish date to compare: no session by then, nothing open, past the horizon
    """
    then_day = now.as_of - timedelta(days=days)
    started = now.fitted.progress.started
    if started is None or started >= then_day or not now.open_stages:
        return None
    settings = replace(now.settings, runs=min(runs, now.settings.runs))
    then = fit_build(build, then_day, settings)
    if not len(then.progress.tasks) or not len(then.progress.open_tasks):
        return None
    before = simulate_build(then, settings)
    at_old_pace = simulate_build(replace(now.fitted, bench=then.bench), settings)
    dates = [_finish(o, settings.runs) for o in (before, at_old_pace, now)]
    if not np.isfinite(dates).all():
        return None
    return _attributed(before, now, days, settings.runs, dates)


def _finish(outlook: Outlook, runs: int) -> float:
    """Days from `as_of` to the 80 % sure finish, in the first runs."""
    return sample_quantile(outlook.days(None)[:runs], LEVEL)


def _attributed(before: Outlook, now: Outlook, days: int, runs: int, dates: list[float]) -> DateChange:
    first, old_pace, today = dates
    expected = float(np.mean(_hours_done_by(before, days)))
    worked = _hours_worked(now, days)
    grown = _hours_grown(now, before.as_of)
    left_then = sample_quantile(before.person_hours_left(None), 0.5)
    left_now = sample_quantile(now.person_hours_left(None)[:runs], 0.5)
    over = left_now - (left_then - worked + grown)
    # At least an hour of work left: a forecast that was all but finished would divide by 0.
    per_hour = max(first - days, 0.0) / max(left_then - expected, 1.0)
    moved = {
        "worked": (expected - worked) * per_hour,
        "over": over * per_hour,
        "grown": grown * per_hour,
        "pace": today - old_pace,
    }
    moved["order"] = (today + days - first) - sum(moved.values())
    return DateChange(
        before=before,
        now=now,
        days=moved,
        hours_expected=expected,
        hours_worked=worked,
        hours_over=over,
        hours_grown=grown,
    )


def _hours_done_by(outlook: Outlook, days: int) -> np.ndarray:
    """(run,) person-hours done so many days after `as_of`, interpolated between the points of the grid."""
    done = outlook.burn_hours_done.sum(axis=1)
    grid = outlook.burn_grid_days
    after = int(np.searchsorted(grid, days))
    if grid[after] == days:
        return np.asarray(done[:, after])
    share = (days - grid[after - 1]) / (grid[after] - grid[after - 1])
    return np.asarray(done[:, after - 1] + share * (done[:, after] - done[:, after - 1]))


def _hours_worked(now: Outlook, days: int) -> float:
    sessions = now.fitted.progress.sessions
    since = np.datetime64(now.as_of - timedelta(days=days))
    return float(sessions.loc[sessions["until"] > since, "person_hours"].sum())


def _hours_grown(now: Outlook, since: date) -> float:
    """Person-hours, spent and left, of the tasks added to the plan after a day."""
    tasks = now.fitted.progress.tasks
    added = (tasks["added"] > np.datetime64(since)).to_numpy()
    if not added.any():
        return 0.0
    spent = float((tasks["hours_first"] + tasks["hours_rework"])[added].sum())
    is_open = ~tasks["done"].to_numpy()
    if not (added & is_open).any():
        return spent
    rng = stream(now.settings.seed, DATE_CHANGE)
    left = np.median(now.fitted.effort.sample_remaining(_GROWTH_DRAWS, rng).hours, axis=0)
    return spent + float(left[added[is_open]].sum())
