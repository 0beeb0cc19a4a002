"""Likelihood of the habits in one log, apart from the priors: what pooling adds up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from forecast.learn.bench_time.model import BenchTime, fit_weeks_with
from forecast.learn.bench_time.priors import BUILT_IN
from forecast.learn.bench_time.weekly import weekly_log

# The likelihood is recovered as posterior minus prior, from a fit under normal priors of twice the built-in
# sd (a judgement): wide enough for the log to decide, narrow enough to keep a short log's posterior normal.
_WIDER = 2.0


@dataclass(frozen=True, kw_only=True)
class BenchEvidence:
    """Likelihood of the habits of one build, quadratic in the coefficients with normal priors.

    Attributes
    ----------
    chain_precision, chain_pull : (4, 4) and (4,): of stop, resume, slope, link
    weekly_precision, weekly_pull : of the long mean of the log of the hours of a worked week
    worked, idle : (7,) days of worked weeks with and without a session, Monday to Sunday, old ones less
    weeks : number of worked weeks
    """

    chain_precision: np.ndarray
    chain_pull: np.ndarray
    weekly_precision: float
    weekly_pull: float
    worked: np.ndarray
    idle: np.ndarray
    weeks: int


def evidence_of(bench: BenchTime) -> BenchEvidence:
    """Likelihood of the log behind a fit.

    Raises
    ------
    ValueError : for a fit that did not start from the built-in priors
    """
    if bench.priors_ != BUILT_IN:
        raise ValueError("evidence_of needs a fit that started from the built-in priors.")
    learned, history = bench.learned_, bench.learned_.history
    chain_sd = _WIDER * np.array(BUILT_IN.chain_sd)
    prior_mean, prior_sd = bench.mean_prior_[0], _WIDER * bench.mean_prior_[1]
    fit = fit_weeks_with(
        weekly_log(history, learned.habit),
        history,
        learned.habit,
        (prior_mean, prior_sd),
        replace(BUILT_IN, chain_sd=tuple(chain_sd.tolist()), degrees=inf),
        seasonal=learned.seasonal,
    )
    level, silences, habit = fit.level, fit.silences, learned.habit
    chain = np.linalg.inv(silences.covariance[:4, :4])
    mean = float(level.weight @ level.mean[:, 0])
    variance = (level.root[:, 0, :] ** 2).sum(axis=1) + (level.mean[:, 0] - mean) ** 2
    gained = max(1.0 / float(level.weight @ variance) - prior_sd**-2, 0.0)
    prior_days = BUILT_IN.day_weeks * np.array(BUILT_IN.day_chance)
    return BenchEvidence(
        chain_precision=chain - np.diag(chain_sd**-2),
        chain_pull=chain @ silences.mean[:4] - np.array(BUILT_IN.chain_mean) / chain_sd**2,
        weekly_precision=gained,
        weekly_pull=(gained + prior_sd**-2) * mean - prior_mean / prior_sd**2 if gained else 0.0,
        worked=habit.worked - prior_days,
        idle=habit.idle - BUILT_IN.day_weeks + prior_days,
        weeks=level.observed,
    )
