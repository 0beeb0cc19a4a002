"""Which stage a session goes to: the first open one in plan order, or one further on.

Builders interleave. For each session of the log the stages still open on that day are lined up in
plan order, and the place of the session's stage in that line is its rank. A day's session keeps
the rank of the last one with some chance, else a new rank is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.bench_time import priors
from forecast.progress import Progress

_RANKS = len(priors.RANK_SHARE)
_STAY_PRIOR_SESSIONS = 10.0


@dataclass(frozen=True, kw_only=True)
class RankHabit:
    """How often sessions go to which open stage.

    Attributes
    ----------
    weight : (rank,) Dirichlet parameters
    stay : Beta parameters of the chance that a session keeps the rank of the one before
    last : rank of the last session
    observed : sessions that it rests on
    """

    weight: np.ndarray
    stay: tuple[float, float]
    last: int
    observed: int


def open_stage_ranks(progress: Progress) -> pd.DataFrame:
    """The rank of each session's stage among the stages open on its day.

    Returns
    -------
    frame with date and rank (0 = the first open stage in plan order), one row a session in the plan
    """
    tasks = progress.tasks
    rows = progress.sessions.loc[progress.sessions["task"] != "", ["date", "task"]]
    stages, names = pd.factorize(tasks["stage"])
    closes = np.full(len(names), np.datetime64("1677-09-22", "D"))
    finished = tasks["finished"].to_numpy().astype("datetime64[D]")
    end = np.where(tasks["done"].to_numpy(), finished, np.datetime64("9999-12-31", "D"))
    np.maximum.at(closes, stages, end)
    place = pd.Series(stages, index=tasks["task"]).reindex(rows["task"]).to_numpy(dtype=np.int64)
    day = rows["date"].to_numpy().astype("datetime64[D]")
    is_open = closes[None, :] >= day[:, None]
    earlier = np.arange(len(names))[None, :] < place[:, None]
    rank = (is_open & earlier).sum(axis=1)
    return pd.DataFrame({"date": rows["date"].to_numpy(), "rank": rank})


def fit_stage_ranks(progress: Progress) -> RankHabit:
    """Learn the ranks from the sessions, the recent ones weighing more."""
    ranks = open_stage_ranks(progress)
    rank = np.minimum(ranks["rank"].to_numpy(), _RANKS - 1)
    age = (np.datetime64(progress.as_of, "D") - ranks["date"].to_numpy().astype("datetime64[D]")).astype(
        float
    )
    fade = 0.5 ** (age / 7 / priors.HABIT_HALF_LIFE_WEEKS)
    weight = np.bincount(rank, weights=fade, minlength=_RANKS)
    share = (weight + priors.RANK_PRIOR_SESSIONS * priors.RANK_SHARE) / (
        weight.sum() + priors.RANK_PRIOR_SESSIONS
    )
    same = rank[1:] == rank[:-1]
    # Agreement beyond what independent draws of the same shares would give is what staying explains.
    stayed = float((same - share[rank[1:]] * same).sum())
    moved = float((~same).sum())
    return RankHabit(
        weight=weight + priors.RANK_PRIOR_SESSIONS * priors.RANK_SHARE,
        stay=(
            stayed + _STAY_PRIOR_SESSIONS * priors.RANK_STAY,
            moved + _STAY_PRIOR_SESSIONS * (1 - priors.RANK_STAY),
        ),
        last=int(rank[-1]) if len(rank) else 0,
        observed=len(rank),
    )


@dataclass(kw_only=True)
class RankDraws:
    """(draw, rank) cumulative shares, (draw,) chance to stay and the rank of the last session so far."""

    cumulative: np.ndarray
    stay: np.ndarray
    last: np.ndarray


def sample_ranks(habit: RankHabit, draws: int, rng: np.random.Generator) -> RankDraws:
    """One habit a draw."""
    gammas = rng.standard_gamma(habit.weight, size=(draws, _RANKS))
    return RankDraws(
        cumulative=(np.cumsum(gammas, axis=1) / gammas.sum(axis=1, keepdims=True)).astype(np.float32),
        stay=rng.beta(*habit.stay, size=draws).astype(np.float32),
        last=np.full(draws, habit.last, dtype=np.uint8),
    )


def play_ranks(drawn: RankDraws, worked: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draw, day) uint8 ranks; a new one is drawn only on days with a session.

    `drawn.last` moves on to the rank of the last day, for the next block of days.
    """
    u = rng.random((2, *worked.shape), dtype=np.float32)
    fresh = np.zeros(worked.shape, dtype=np.uint8)
    for k in range(_RANKS - 1):
        fresh += u[1] >= drawn.cumulative[:, k, None]
    renew = worked & (u[0] >= drawn.stay[:, None])
    days = np.arange(1, worked.shape[1] + 1)
    newest = np.maximum.accumulate(np.where(renew, days, 0), axis=1)
    line = np.concatenate([drawn.last[:, None], fresh], axis=1)
    ranks = np.take_along_axis(line, newest, axis=1)
    drawn.last = ranks[:, -1].copy()
    return ranks
