"""Weeks at the bench and weeks of silence: a sticky chain whose silences grow harder to end.

    P(worked week | the week before was worked) = logistic(-stop + link x + season)
    P(worked week | d silent weeks before it)   = logistic(resume + slope log d + link x + season)

x is the level of the hours, as a deviation from its long mean: who does less also comes less. One
logistic regression gives all coefficients and their covariance; every draw has its own. Weeks in
which nobody could come are left out: the chain stands still over them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from forecast.learn.bench_time import priors
from forecast.learn.bench_time.logistic import logistic_posterior


@dataclass(frozen=True, kw_only=True)
class Silences:
    """What the log tells of silences.

    Attributes
    ----------
    mean, covariance : of stop, resume, slope, link and, where there is a season, its two waves
    silent_weeks : silent weeks since the last worked one at the end of the log; 0 = it was worked
    observed : weeks that the regression rests on
    evidence : log of the chance of what was seen, the coefficients averaged over their prior
    """

    mean: np.ndarray
    covariance: np.ndarray
    silent_weeks: int
    observed: int
    evidence: float

    def sample(self, draws: int, rng: np.random.Generator) -> ChainDraws:
        """One chain a draw."""
        root = np.linalg.cholesky(self.covariance)
        drawn = self.mean + rng.standard_normal((draws, len(self.mean))) @ root.T
        return ChainDraws(
            stop=drawn[:, 0],
            resume=drawn[:, 1],
            slope=np.minimum(drawn[:, 2], 0.0),
            link=np.maximum(drawn[:, 3], 0.0),
            season=drawn[:, 4:],
        )


@dataclass(frozen=True, kw_only=True)
class ChainDraws:
    """(draw,) coefficients of the chain; season is (draw, 2), or (draw, 0) where there is none."""

    stop: np.ndarray
    resume: np.ndarray
    slope: np.ndarray
    link: np.ndarray
    season: np.ndarray


def weeks_of_silence(worked: np.ndarray) -> np.ndarray:
    """(week + 1,) silent weeks before each week and after the last; 0 after a worked week.

    >>> weeks_of_silence(np.array([True, False, False, True])).tolist()
    [0, 0, 1, 2, 0]
    """
    place = np.arange(1, len(worked) + 1)
    last = np.maximum.accumulate(np.where(worked, place, 0))
    return np.concatenate([[0], place - last])


def fit_silences(
    worked: np.ndarray, x: np.ndarray, waves: np.ndarray, belief: priors.BenchPriors | None = None
) -> Silences:
    """Fit the chain on the weeks in which somebody could come, the first of them a worked one.

    Parameters
    ----------
    worked : (week,) bool
    x : (week,) the level expected for each week from the weeks before, as a deviation
    waves : (week, 2) the waves of the year, or (week, 0)
    belief : on the four coefficients; the built-in one if None
    """
    belief = belief or priors.BenchPriors()
    before = weeks_of_silence(worked)
    after, d = worked[1:], before[1:-1]
    # A row after a worked week has "it stops" as its success, so what helps to come counts against it.
    sign = np.where(d == 0, -1.0, 1.0)
    design = np.column_stack(
        [d == 0, d > 0, np.log(np.maximum(d, 1)), sign * x[1:], sign[:, None] * waves[1:]]
    ).astype(float)
    season = np.zeros(waves.shape[1])
    fits = [
        logistic_posterior(
            design,
            np.where(d == 0, ~after, after).astype(float),
            np.concatenate([belief.chain_mean, season]),
            np.concatenate([width * np.array(belief.chain_sd), season + priors.SEASON_CHANCE_SD]),
        )
        for width in belief.widths
    ]
    mean, covariance, evidence = _together(fits)
    return Silences(
        mean=mean,
        covariance=covariance,
        silent_weeks=int(before[-1]),
        observed=len(after),
        evidence=evidence,
    )


def _together(fits: list[tuple[np.ndarray, np.ndarray, float]]) -> tuple[np.ndarray, np.ndarray, float]:
    """One normal with the mean and covariance of several, each as likely as the log makes it."""
    if len(fits) == 1:
        return fits[0]
    evidence = np.array([fit[2] for fit in fits])
    total = float(logsumexp(evidence))
    weight = np.exp(evidence - total)
    means = np.array([fit[0] for fit in fits])
    mean = weight @ means
    apart = means - mean
    covariance = np.einsum("w,wij->ij", weight, np.array([fit[1] for fit in fits]))
    return mean, covariance + (apart * weight[:, None]).T @ apart, total - float(np.log(len(fits)))
