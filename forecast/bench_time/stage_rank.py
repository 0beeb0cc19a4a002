"""Which stage a session goes to: the first with work to pick up in plan order, or one further on.

Builders interleave. For each day of the log the stages with work that could be picked up are lined
up by their first such task in plan order; the place in that line of the stage that had most of the
day's hours is the day's rank. A session keeps the rank of the one before with some chance, else a
new rank is drawn. The kernel counts stages the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.bench_time import priors
from forecast.pickable import pickable
from forecast.plan import Delivery, Plan
from forecast.progress import Progress

_RANKS = len(priors.RANK_SHARE)
_STAY_PRIOR_DAYS = 10.0
_DAYS_AT_ONCE = 500


@dataclass(frozen=True, kw_only=True)
class RankHabit:
    """How often sessions go to which of the stages with work.

    Attributes
    ----------
    weight : (rank,) Dirichlet parameters
    stay : Beta parameters of the chance that a session keeps the rank of the one before
    last : rank of the last session
    observed : days that it rests on
    """

    weight: np.ndarray
    stay: tuple[float, float]
    last: int
    observed: int


def stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> pd.DataFrame:
    """The rank of each day's main stage among the stages with work to pick up on that day.

    Without a plan every task that is not finished can be picked up.

    Returns
    -------
    frame with date, stage and rank, one row a day with a session in the plan, by date
    """
    tasks = progress.tasks
    day, task, weight = _days_in_plan(progress)
    stage_of, names = pd.factorize(tasks["stage"])
    from_day, to_day = pickable(progress, plan, deliveries)
    main, first_own = _main_stage(day, stage_of[task], task, weight, len(names))
    days = np.unique(day)
    rank = np.zeros(len(days), dtype=np.int64)
    order = np.argsort(stage_of, kind="stable")
    begins = np.flatnonzero(np.diff(stage_of[order], prepend=-1))
    for lo in range(0, len(days), _DAYS_AT_ONCE):
        some = slice(lo, lo + _DAYS_AT_ONCE)
        can = (from_day <= days[some, None]) & (to_day >= days[some, None])
        row = np.where(can, np.arange(len(tasks)), len(tasks))
        first = np.minimum.reduceat(row[:, order], begins, axis=1)
        here = np.arange(len(first))
        # What was worked on could be picked up, whatever the plan says.
        own = np.minimum(first[here, main[some]], first_own[some])
        first[here, main[some]] = own
        rank[some] = (first < own[:, None]).sum(axis=1)
    return pd.DataFrame({"date": days, "stage": np.asarray(names, dtype=object)[main], "rank": rank})


def _days_in_plan(progress: Progress) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(row,) first day, task position and hours of the sessions in the plan."""
    rows = progress.sessions.loc[progress.sessions["task"] != ""]
    place = pd.Series(np.arange(len(progress.tasks)), index=progress.tasks["task"].to_numpy())
    task = place.reindex(rows["task"].to_numpy()).to_numpy(dtype=np.int64)
    return rows["date"].to_numpy().astype("datetime64[D]"), task, rows["hours"].to_numpy(dtype=float)


def _main_stage(
    day: np.ndarray, stage: np.ndarray, task: np.ndarray, hours: np.ndarray, stages: int
) -> tuple[np.ndarray, np.ndarray]:
    """(day,) the stage with most hours (the earlier one of two alike), and its first task worked on."""
    days, place = np.unique(day, return_inverse=True)
    cell = place * stages + stage
    total = np.bincount(cell, weights=hours, minlength=len(days) * stages).reshape(-1, stages)
    first = np.full(len(days) * stages, np.iinfo(np.int64).max)
    np.minimum.at(first, cell, task)
    main = total.argmax(axis=1) if len(days) else np.empty(0, dtype=np.int64)
    return main, first.reshape(-1, stages)[np.arange(len(days)), main]


def fit_stage_ranks(
    progress: Progress, plan: Plan | None = None, deliveries: Sequence[Delivery] = ()
) -> RankHabit:
    """Learn the ranks from the log, recent days weighing more.

    Days on which a session only went on where the last one was say nothing new of the shares.
    """
    days = stage_ranks(progress, plan, deliveries)
    rank = np.minimum(days["rank"].to_numpy(), _RANKS - 1)
    age = (np.datetime64(progress.as_of, "D") - days["date"].to_numpy().astype("datetime64[D]")).astype(float)
    fade = 0.5 ** (age / 7 / priors.HABIT_HALF_LIFE_WEEKS)
    share = _believed_and(rank, fade)
    stage = days["stage"].to_numpy()
    stay, stayed = _fit_stay(stage[1:] == stage[:-1], (share / share.sum())[rank[1:]])
    return RankHabit(
        weight=_believed_and(rank, fade * (1 - np.concatenate([[0.0], stayed])[: len(rank)])),
        stay=stay,
        last=int(rank[-1]) if len(rank) else 0,
        observed=len(rank),
    )


def _believed_and(rank: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """(rank,) Dirichlet parameters: those believed, and so much seen of each."""
    return priors.RANK_PRIOR_DAYS * priors.RANK_SHARE + np.bincount(rank, weights=seen, minlength=_RANKS)


def _fit_stay(same: np.ndarray, share: np.ndarray) -> tuple[tuple[float, float], np.ndarray]:
    """Beta parameters of the chance to stay, and (day after the first,) how likely each stayed.

    By expectation-maximisation.

    A day on the same stage as the one before it either stayed, or drew the same rank (with the
    rank's share) anew.
    """
    stayed, moved = _STAY_PRIOR_DAYS * priors.RANK_STAY, _STAY_PRIOR_DAYS * (1 - priors.RANK_STAY)
    chance = priors.RANK_STAY
    counts = np.zeros(len(same))
    for _ in range(50):
        counts = same * chance / (chance + (1 - chance) * share)
        chance = (counts.sum() + stayed) / (len(same) + stayed + moved)
    total = float(counts.sum())
    return (total + stayed, len(same) - total + moved), counts


@dataclass(frozen=True, kw_only=True)
class RankDraws:
    """(draw, rank) cumulative shares, (draw,) chance to stay; the rank of the last session."""

    cumulative: np.ndarray
    stay: np.ndarray
    last: int


def sample_ranks(habit: RankHabit, draws: int, rng: np.random.Generator) -> RankDraws:
    """One habit a draw."""
    gammas = rng.standard_gamma(habit.weight, size=(draws, _RANKS))
    return RankDraws(
        cumulative=(np.cumsum(gammas, axis=1) / gammas.sum(axis=1, keepdims=True)).astype(np.float32),
        stay=rng.beta(*habit.stay, size=draws).astype(np.float32),
        last=habit.last,
    )
