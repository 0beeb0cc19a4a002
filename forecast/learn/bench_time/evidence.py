"""What one log says of its habits, apart from what was believed beforehand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from forecast.learn.bench_time.model import BenchTime, fit_weeks_with
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.bench_time.season import waves_of
from forecast.learn.bench_time.weekly import weekly_log

# What the log says is what a normal belief was moved by, one wide enough to leave the word to the log.
_WIDER = 2.0


@dataclass(frozen=True, kw_only=True)
class BenchEvidence:
    """Likelihood of the habits of one build, quadratic where a belief is normal.

    Attributes
    ----------
    chain_precision, chain_pull : (4, 4) and (4,): stop, resume, slope, link
    weekly_precision, weekly_pull : of the long mean of the log of the hours of a worked week
    worked, idle : (7,) days of worked weeks with and without a session, Monday to Sunday, old ones less
    weeks : worked weeks that it rests on
    """

    chain_precision: np.ndarray
    chain_pull: np.ndarray
    weekly_precision: float
    weekly_pull: float
    worked: np.ndarray
    idle: np.ndarray
    weeks: int


def evidence_of(bench: BenchTime) -> BenchEvidence:
    """What the log behind a fit says.

    Raises
    ------
    ValueError for a fit that did not start from the built-in beliefs.
    """
    belief = bench.priors
    if belief != BenchPriors():
        raise ValueError("evidence is told apart from the built-in beliefs only.")
    learned, history = bench.learned_, bench.learned_.history
    sd = _WIDER * np.array(belief.chain_sd)
    at_mean, at_sd = bench.mean_prior_[0], _WIDER * bench.mean_prior_[1]
    level, silences = fit_weeks_with(
        weekly_log(history, learned.habit),
        (at_mean, at_sd),
        waves_of(history.origin, history.weeks, seasonal=learned.seasonal),
        replace(belief, chain_sd=tuple(sd.tolist()), degrees=inf),
    )
    chain = np.linalg.inv(silences.covariance[:4, :4])
    mean = float(level.weight @ level.mean[:, 0])
    inner = (level.root[:, 0, :] ** 2).sum(axis=1) + (level.mean[:, 0] - mean) ** 2
    gained = max(1.0 / float(level.weight @ inner) - at_sd**-2, 0.0)
    habit, day = learned.habit, belief.day_weeks * np.array(belief.day_chance)
    return BenchEvidence(
        chain_precision=chain - np.diag(sd**-2),
        chain_pull=chain @ silences.mean[:4] - np.array(belief.chain_mean) / sd**2,
        weekly_precision=gained,
        weekly_pull=(gained + at_sd**-2) * mean - at_mean / at_sd**2 if gained else 0.0,
        worked=habit.worked - day,
        idle=habit.idle - belief.day_weeks + day,
        weeks=level.observed,
    )
