"""Which stage a session goes to, by recency: the stage of the session before, or one left longer ago.

Builders interleave, and return to what lies on the bench. For each day of the log, the stages with work that
could be started are ordered by the last day on which they were worked on, stages not begun last and in plan
order; the place of the stage that the day was given to is the day's rank. Plan order tells less: on two real
logs the shares of hours by recency rank are alike, by plan order they scatter. The kernel ranks stages the
same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

import forecast.learn.bench_time.priors as priors
from forecast.files.plan import Delivery, Plan
from forecast.learn.progress import Progress
from forecast.learn.task_windows import workable_since

_RANKS = len(priors.RANK_SHARE)
_ROUNDS = 20  # of EM: shares change by less than 1e-3 after that
_DAYS_AT_ONCE = 500  # bounds memory: arrays of (day, task)


@dataclass(frozen=True, kw_only=True)
class RankHabit:
    """Posterior of the rank of a session.

    Attributes
    ----------
    weight : (rank,) parameters of the Dirichlet posterior of the shares of the ranks
    observed : number of days used
    """

    weight: np.ndarray
    observed: int


def stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> pd.DataFrame:
    """Rank of each day's stage among the stages with work that could be started on that day.

    The day's stage is the one with most hours. Rework says nothing about the order. A person alone could not
    start what needs two.

    Parameters
    ----------
    progress : plan and log as known on one day
    plan, deliveries : what each task waits for; without a plan every unfinished task can be started

    Returns
    -------
    frame with date, stage, rank and stages (how many had work): one row per day with first-time work on the
    plan, by date
    """
    tasks, rows = progress.tasks, progress.sessions
    rows = rows.loc[(rows["task"] != "") & ~rows["rework"]]
    stage_of, names = pd.factorize(tasks["stage"])
    place = pd.Series(np.arange(len(tasks)), index=tasks["task"].to_numpy())
    task = place.reindex(rows["task"].to_numpy()).to_numpy(dtype=np.int64)
    days, of_row = np.unique(rows["date"].to_numpy().astype("datetime64[D]"), return_inverse=True)
    from_day, to_day = workable_since(progress, plan, deliveries)
    for_two = (tasks["crew"] == "two").to_numpy(dtype=bool)
    alone, hours = _people_present(rows) < 2, rows["hours"].to_numpy(dtype=float)
    spent = np.zeros((len(days), len(tasks)))
    np.add.at(spent, (of_row, task), hours)
    last_worked = _last_worked_before(spent > 0, stage_of, len(names))
    parts = []
    for lo in range(0, len(days), _DAYS_AT_ONCE):
        some = slice(lo, lo + _DAYS_AT_ONCE)
        can = (from_day <= days[some, None]) & (to_day >= days[some, None])
        can &= ~(alone[some, None] & for_two)
        parts.append(_stage_and_rank(can, spent[some], last_worked[some], stage_of))
    stage, rank, many = np.concatenate([np.zeros((3, 0), dtype=np.int64), *parts], axis=1)
    named = np.asarray(names, dtype=object)[stage]
    return pd.DataFrame({"date": days, "stage": named, "rank": rank, "stages": many})


def _last_worked_before(worked: np.ndarray, stage_of: np.ndarray, stages: int) -> np.ndarray:
    """(day, stage) number of the last day before on which each stage was worked on; -1 for none."""
    by_stage = np.zeros((len(worked) + 1, stages), dtype=bool)
    for stage in range(stages):
        by_stage[1:, stage] = worked[:, stage_of == stage].any(axis=1)
    place = np.where(by_stage, np.arange(len(worked) + 1)[:, None] - 1, -1)
    return np.asarray(np.maximum.accumulate(place, axis=0)[:-1])


def _stage_and_rank(
    can: np.ndarray, spent: np.ndarray, last_worked: np.ndarray, stage_of: np.ndarray
) -> np.ndarray:
    """(3, day) stage with most hours, its rank and the number of stages with work.

    From (day, task) what could be started and the hours spent, and (day, stage) when each was last worked on.
    What was worked on could be started, whatever the plan says.
    """
    count, here, stages = can.shape[1], np.arange(len(can)), last_worked.shape[1]
    hours, first = np.zeros((len(can), stages)), np.full((len(can), stages), count)
    row = np.where(can | (spent > 0), np.arange(count), count)
    for s in range(stages):
        hours[:, s] = spent[:, stage_of == s].sum(axis=1)
        first[:, s] = row[:, stage_of == s].min(axis=1)
    stage = hours.argmax(axis=1)
    own_worked, own_first = last_worked[here, stage][:, None], first[here, stage][:, None]
    later = (last_worked > own_worked) | ((own_worked < 0) & (last_worked < 0) & (first < own_first))
    eligible = first < count
    return np.stack([stage, (later & eligible).sum(axis=1), eligible.sum(axis=1)])


def _people_present(rows: pd.DataFrame) -> np.ndarray:
    """(day,) number of people on each day with a row, helpers included."""
    helpers = rows.groupby("date")["helpers"].max()
    named = rows.assign(person=rows["builders"].str.split("+")).explode("person")
    return np.asarray((named.groupby("date")["person"].nunique() + helpers).to_numpy(dtype=np.int64))


def fit_stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> RankHabit:
    """Fit the shares of the ranks to the log, recent days weighing more; parameters as in `stage_ranks`.

    With fewer stages than ranks, the simulation gives a later rank's session to the first stage. A day on the
    first of few stages may have been such a session: it is shared out over the ranks by EM.
    """
    days = stage_ranks(progress, plan, deliveries)
    rank = np.minimum(days["rank"].to_numpy(dtype=np.int64), _RANKS - 1)
    age = (np.datetime64(progress.as_of, "D") - days["date"].to_numpy().astype("datetime64[D]")).astype(float)
    fade = 0.5 ** (age / 7 / priors.HABIT_HALF_LIFE_WEEKS)
    many = np.minimum(days["stages"].to_numpy(dtype=np.int64), _RANKS)
    seen = np.bincount(rank * (_RANKS + 1) + many, weights=fade, minlength=_RANKS * (_RANKS + 1))
    seen = seen.reshape(_RANKS, _RANKS + 1)
    weight = prior = priors.RANK_PRIOR_DAYS * priors.RANK_SHARE
    for _ in range(_ROUNDS):
        share, weight = weight / weight.sum(), prior + np.append(0.0, seen[1:].sum(axis=1))
        for stages in range(1, _RANKS + 1):
            meant = np.where((np.arange(_RANKS) == 0) | (np.arange(_RANKS) >= stages), share, 0.0)
            weight = weight + seen[0, stages] * meant / meant.sum()
    return RankHabit(weight=weight, observed=len(rank))


def sample_ranks(habit: RankHabit, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, rank) cumulative shares of the ranks."""
    gammas = rng.standard_gamma(habit.weight, size=(draws, _RANKS))
    return np.cumsum(gammas / gammas.sum(axis=1, keepdims=True), axis=1).astype(np.float32)
