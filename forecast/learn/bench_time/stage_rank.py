"""Which stage a session goes to: the first in plan order with work that can be started, or a later one.

Builders interleave. For each day of the log, the stages with work that could be started are ranked by their
first such task in plan order; the rank of the stage that the day was given to is the day's rank. A session
keeps the rank of the one before with some chance, else a new rank is drawn. The kernel counts stages the
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
_STAY_PRIOR_DAYS = 10.0  # judgement: two or three weeks of log outweigh it
# Grids of two chances, finer than a log of hundreds of days resolves; the first is even in its log odds,
# since shares near 1 matter most.
FIRST = 1 / (1 + np.exp(-np.linspace(-4.0, 6.0, 61)))
STAY = (np.arange(40) + 0.5) / 40
_DAYS_AT_ONCE = 500  # bounds memory: arrays of (day, task)


@dataclass(frozen=True, kw_only=True)
class RankHabit:
    """Posterior of the rank of a session.

    Attributes
    ----------
    weight : (first, stay) posterior weight of each pair of a share of the first rank among the sessions that
        choose anew (`FIRST`) and a chance to keep the rank of the session before (`STAY`)
    later : (rank - 1,) Dirichlet parameters of the ranks after the first
    last : rank of the last session
    observed : number of days used
    """

    weight: np.ndarray
    later: np.ndarray
    last: int
    observed: int


def stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> pd.DataFrame:
    """Rank of each day's stage among the stages with work that could be started on that day.

    The day's stage is the one with most hours; but if the first stage worked on had nothing left to start,
    the others only got the rest of the day, and the first counts. Rework says nothing about the order. A
    person alone could not start what needs two.

    Parameters
    ----------
    progress : plan and log as known on one day
    plan, deliveries : what each task waits for; without a plan every unfinished task can be started

    Returns
    -------
    frame with date, stage and rank, one row per day with first-time work on the plan, by date
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
    stage, rank = np.zeros(len(days), dtype=np.int64), np.zeros(len(days), dtype=np.int64)
    for lo in range(0, len(days), _DAYS_AT_ONCE):
        some = slice(lo, lo + _DAYS_AT_ONCE)
        can = (from_day <= days[some, None]) & (to_day >= days[some, None])
        can &= ~(alone[some, None] & for_two)
        mine = (of_row >= lo) & (of_row < lo + len(can))
        spent = np.zeros(can.shape)
        np.add.at(spent, (of_row[mine] - lo, task[mine]), hours[mine])
        # Of two, one may continue a task while the other has nothing left to start.
        taken = (spent > 0) & ~(alone[some, None] & (to_day > days[some, None]))
        stage[some], rank[some] = _stage_and_rank(can, spent, can & ~taken, stage_of)
    return pd.DataFrame({"date": days, "stage": np.asarray(names, dtype=object)[stage], "rank": rank})


def _stage_and_rank(
    can: np.ndarray, spent: np.ndarray, left: np.ndarray, stage_of: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(day,) stage and rank, from (day, task) what could be started, the hours spent and what was left.

    What was worked on could be started, whatever the plan says.
    """
    count, here = can.shape[1], np.arange(len(can))
    worked = spent > 0
    first = stage_of[worked.argmax(axis=1)]
    untouched = (left & (stage_of == first[:, None])).any(axis=1)
    order = np.argsort(stage_of, kind="stable")
    begins = np.flatnonzero(np.diff(stage_of[order], prepend=-1))
    by_stage = np.add.reduceat(spent[:, order], begins, axis=1)
    stage = np.where(untouched, by_stage.argmax(axis=1), first)
    row = np.where(can | worked, np.arange(count), count)
    first_row = np.minimum.reduceat(row[:, order], begins, axis=1)
    own = first_row[here, stage]
    return stage, (first_row < own[:, None]).sum(axis=1)


def _people_present(rows: pd.DataFrame) -> np.ndarray:
    """(day,) number of people on each day with a row, helpers included."""
    helpers = rows.groupby("date")["helpers"].max()
    named = rows.assign(person=rows["builders"].str.split("+")).explode("person")
    return np.asarray((named.groupby("date")["person"].nunique() + helpers).to_numpy(dtype=np.int64))


def fit_stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> RankHabit:
    """Fit the ranks to the log, recent days weighing more; parameters as in `stage_ranks`.

    A day on the same stage as the day before either stayed there or chose the same rank anew. Both chances
    are fitted together, so that days which only continue say little about the choice.
    """
    days = stage_ranks(progress, plan, deliveries)
    rank = np.minimum(days["rank"].to_numpy(dtype=np.int64), _RANKS - 1)
    age = (np.datetime64(progress.as_of, "D") - days["date"].to_numpy().astype("datetime64[D]")).astype(float)
    fade = 0.5 ** (age / 7 / priors.HABIT_HALF_LIFE_WEEKS)
    stage = days["stage"].to_numpy()
    same = np.concatenate([[0], stage[1:] == stage[:-1]]).astype(np.int64)[: len(rank)]
    seen = np.bincount(2 * rank + same, weights=fade, minlength=2 * _RANKS).reshape(_RANKS, 2)
    later = (priors.RANK_PRIOR_DAYS * priors.RANK_SHARE + seen.sum(axis=1))[1:]
    return RankHabit(
        weight=_posterior_weight(seen, later / later.sum()),
        later=later,
        last=int(rank[-1]) if len(rank) else 0,
        observed=len(rank),
    )


def _posterior_weight(seen: np.ndarray, later: np.ndarray) -> np.ndarray:
    """(first, stay) posterior weights, from (rank, on the same stage?) days and shares of later ranks."""
    yes = priors.RANK_PRIOR_DAYS * priors.RANK_SHARE[0]
    no = priors.RANK_PRIOR_DAYS - yes
    stayed, moved = _STAY_PRIOR_DAYS * priors.RANK_STAY, _STAY_PRIOR_DAYS * (1 - priors.RANK_STAY)
    first, stay = FIRST[:, None], STAY[None, :]
    # On a grid even in log odds, the density of a Beta has one more power of each factor.
    log_weight = yes * np.log(first) + no * np.log1p(-first)
    log_weight = log_weight + (stayed - 1) * np.log(stay) + (moved - 1) * np.log1p(-stay)
    for rank, (anew, same) in enumerate(seen):
        share = (1 - stay) * (first if rank == 0 else (1 - first) * later[rank - 1])
        log_weight = log_weight + anew * np.log(share) + same * np.log(stay + share)
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def sample_ranks(habit: RankHabit, draws: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """(draw, rank) cumulative shares of the ranks, and (draw,) chance to stay, by name."""
    at = rng.choice(habit.weight.size, size=draws, p=habit.weight.ravel())
    first, stay = FIRST[at // len(STAY)], STAY[at % len(STAY)]
    gammas = rng.standard_gamma(habit.later, size=(draws, _RANKS - 1))
    later = gammas / gammas.sum(axis=1, keepdims=True) * (1 - first)[:, None]
    return {
        "ranks": np.cumsum(np.column_stack([first, later]), axis=1).astype(np.float32),
        "stay": stay.astype(np.float32),
    }
