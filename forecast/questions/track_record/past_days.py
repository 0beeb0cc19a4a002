"""The past days to forecast from, and the build as it was known on each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.files.folder import Build
from forecast.files.plan import Delivery
from forecast.learn.progress import Progress

# Judgement: with less log the forecast is its priors, and its record would be theirs.
LEAST_FINISHED_TASKS = 6
LEAST_WEEKS = 8
_STAGE_POINTS = (0.25, 0.50, 0.75)


def past_days(progress: Progress) -> tuple[date, ...]:
    """Each month end since the first session, and the days on which a stage had 25, 50 and 75 % of its hours.

    Only days with enough log (six finished tasks, or eight weeks) and with something left to forecast. The
    points of a stage need its total hours, so only finished stages have them: they are chosen by hindsight,
    the month ends are not. The forecast of a day never depends on why the day was chosen.

    Parameters
    ----------
    progress : the build today
    """
    if progress.started is None:
        return ()
    last = _last_open_day(progress)
    days = {*_month_ends(progress.started, last), *_stage_days(progress)}
    finished = np.sort(progress.tasks["finished"].dropna().to_numpy())
    return tuple(sorted(d for d in days if d <= last and _can_learn(progress.started, d, finished)))


def build_known_on(build: Build, day: date) -> Build:
    """The folder without anything dated after `day`.

    Removed are log rows that end later, tasks added later, later orders and arrivals, builders who join later
    and days away that begin later. away.csv does not say when a row was written, so a holiday planned long
    before and an illness entered afterwards look alike, and the record must not profit from the second. What
    has no date (planned hours, lead times, limits, weekly hours) is as today.

    Parameters
    ----------
    build : the folder today
    day : the past day
    """
    sessions = build.sessions
    known = sessions.loc[sessions["until"] <= pd.Timestamp(day)].reset_index(drop=True)
    joined = tuple(b for b in build.builders if b.joins is None or b.joins <= day)
    return replace(
        build,
        builders=joined or build.builders,
        plan=build.plan.known_on(day),
        sessions=known,
        deliveries=tuple(_known_delivery(d, day) for d in build.deliveries),
        away=tuple(a for a in build.away if a.start <= day),
    )


def left_out_notes(build: Build, days: Sequence[date]) -> tuple[str, ...]:
    """Sentences about what `build_known_on` leaves out although it may have been planned by then.

    Parameters
    ----------
    build : the folder today
    days : the past days
    """
    if not days:
        return ()
    first = min(days)
    notes = []
    if later := [b.id for b in build.builders if b.joins is not None and b.joins > first]:
        who, verb = " and ".join(later), "joins" if len(later) == 1 else "join"
        notes.append(
            f"Forecasts from days before {who} {verb} are made without {who}: the folder does not say since "
            "when that was planned."
        )
    if away := sum(a.start > first for a in build.away):
        rows = f"{away} rows of away.csv are" if away > 1 else "1 row of away.csv is"
        notes.append(
            f"{rows} left out of forecasts from earlier days: the folder does not say since when that was "
            "planned."
        )
    return tuple(notes)


def _known_delivery(delivery: Delivery, day: date) -> Delivery:
    def known(happened: date | None) -> date | None:
        return happened if happened is not None and happened <= day else None

    return replace(delivery, ordered=known(delivery.ordered), arrived=known(delivery.arrived))


def _last_open_day(progress: Progress) -> date:
    """The last day with something left to forecast: the day before the finish, or before today."""
    tasks = progress.tasks
    end = progress.as_of
    if len(tasks) and tasks["done"].all():
        end = min(end, tasks["finished"].max().date())
    return end - timedelta(days=1)


def _month_ends(first: date, last: date) -> list[date]:
    """The last day of each month.

    >>> [str(d) for d in _month_ends(date(2027, 12, 30), date(2028, 2, 28))]
    ['2027-12-31', '2028-01-31']
    """
    begun = pd.date_range(first.replace(day=1), last + timedelta(days=1), freq="MS")
    ends = [stamp.date() - timedelta(days=1) for stamp in begun]
    return [d for d in ends if first <= d <= last]


def _stage_days(progress: Progress) -> list[date]:
    done = progress.tasks.groupby("stage", sort=False)["done"].all()
    days = []
    for stage in done.index[done]:
        rows = progress.sessions.loc[progress.sessions["stage"] == stage].sort_values("until", kind="stable")
        if rows.empty:
            continue
        spent = rows["person_hours"].cumsum().to_numpy()
        at = np.searchsorted(spent, np.array(_STAGE_POINTS) * spent[-1])
        days += [rows["until"].iloc[int(i)].date() for i in at]
    return days


def _can_learn(first: date, day: date, finished: np.ndarray) -> bool:
    weeks = ((day - first).days + 1) / 7
    tasks = int(np.searchsorted(finished, np.datetime64(day), side="right"))
    return weeks >= LEAST_WEEKS or tasks >= LEAST_FINISHED_TASKS
