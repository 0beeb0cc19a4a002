"""Weeks at the bench and weeks of silence: a sticky chain whose silences grow harder to end.

    P(worked week | the week before was worked) = logistic(-stop + link x + season)
    P(worked week | d silent weeks before it)   = logistic(resume + slope log d + link x + season)

x is the level of the hours, as a deviation from its long mean: who does less also comes less. One
logistic regression gives all coefficients and their covariance; every draw has its own. Weeks in which
nobody could come are left out: they neither start nor lengthen a silence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

import forecast.learn.bench_time.priors as priors
from forecast.learn.bench_time.logistic import logistic_posterior


@dataclass(frozen=True, kw_only=True)
class Silences:
    """Posterior of the chain at the end of the log.

    Attributes
    ----------
    mean, covariance : of stop, resume, slope, link and, where there is a season, its two terms
    silent_weeks : silent weeks since the last worked one at the end of the log; 0 = it was worked
    observed : weeks in the regression
    evidence : log marginal likelihood of the weeks
    """

    mean: np.ndarray
    covariance: np.ndarray
    silent_weeks: int
    observed: int
    evidence: float

    def sample(self, draws: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
        """(draw,) coefficients of one chain per draw, by name; chance_season is (draw, 2) or (draw, 0)."""
        root = np.linalg.cholesky(self.covariance)
        drawn = self.mean + rng.standard_normal((draws, len(self.mean))) @ root.T
        return {
            "stop": drawn[:, 0],
            "resume": drawn[:, 1],
            # A silence never gets easier to end, and a lower level never brings more weeks: a sign that the
            # data do not settle would make decades ahead absurd.
            "slope": np.minimum(drawn[:, 2], 0.0),
            "link": np.maximum(drawn[:, 3], 0.0),
            "chance_season": drawn[:, 4:],
        }


def weeks_of_silence(worked: np.ndarray) -> np.ndarray:
    """(week + 1,) silent weeks before each week and after the last; 0 after a worked week.

    >>> weeks_of_silence(np.array([True, False, False, True])).tolist()
    [0, 0, 1, 2, 0]
    """
    place = np.arange(1, len(worked) + 1)
    last = np.maximum.accumulate(np.where(worked, place, 0))
    return np.concatenate([[0], place - last])


def fit_silences(
    worked: np.ndarray, x: np.ndarray, season: np.ndarray, prior: priors.BenchPriors = priors.BUILT_IN
) -> Silences:
    """Fit the chain to the weeks in which somebody could come, the first of them a worked one.

    Parameters
    ----------
    worked : (week,) bool
    x : (week,) the level expected for each week from the weeks before, as a deviation
    season : (week, 2) annual terms, or (week, 0)
    prior : of the four coefficients
    """
    before = weeks_of_silence(worked)
    after, d = worked[1:], before[1:-1]
    # A row after a worked week has "it stops" as its success, so what favours work has the opposite sign.
    sign = np.where(d == 0, -1.0, 1.0)
    design = np.column_stack(
        [d == 0, d > 0, np.log(np.maximum(d, 1)), sign * x[1:], sign[:, None] * season[1:]]
    ).astype(float)
    no_season = np.zeros(season.shape[1])
    fits = [
        logistic_posterior(
            design,
            np.where(d == 0, ~after, after).astype(float),
            np.concatenate([prior.chain_mean, no_season]),
            np.concatenate([width * np.array(prior.chain_sd), no_season + priors.SEASON_CHANCE_SD]),
        )
        for width in prior.widths
    ]
    mean, covariance, evidence = _averaged(fits)
    return Silences(
        mean=mean,
        covariance=covariance,
        silent_weeks=int(before[-1]),
        observed=len(after),
        evidence=evidence,
    )


def _averaged(fits: list[tuple[np.ndarray, np.ndarray, float]]) -> tuple[np.ndarray, np.ndarray, float]:
    """One normal with the mean and covariance of several fits, weighted by their evidence."""
    if len(fits) == 1:
        return fits[0]
    evidence = np.array([fit[2] for fit in fits])
    total = float(logsumexp(evidence))
    weight = np.exp(evidence - total)
    means = np.array([fit[0] for fit in fits])
    mean = weight @ means
    deviation = means - mean
    covariance = np.einsum("w,wij->ij", weight, np.array([fit[1] for fit in fits]))
    return mean, covariance + (deviation * weight[:, None]).T @ deviation, total - float(np.log(len(fits)))
