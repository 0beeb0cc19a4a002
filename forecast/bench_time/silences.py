"""Weeks at the bench and weeks of silence: a sticky chain whose silences grow harder to end.

    P(silent week | the week before was worked)   = logistic(stop)
    P(worked week | d silent weeks before it)     = logistic(resume + slope log d)

One logistic regression with the priors as pseudo-observations gives the three figures and their
covariance; every draw has its own three. Weeks in which nobody could come are left out: the chain
stands still over them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from forecast.bench_time import priors

_PRIOR_MEAN = np.array([priors.STOP_LOGIT, priors.RESUME_LOGIT, priors.RESUME_SLOPE])
_PRIOR_SD = np.array([priors.STOP_SD, priors.RESUME_SD, priors.RESUME_SLOPE_SD])


@dataclass(frozen=True, kw_only=True)
class Silences:
    """What the log tells of silences.

    Attributes
    ----------
    mean, covariance : of (stop, resume, slope)
    silent_weeks : silent weeks since the last worked one at the end of the log; 0 = it was worked
    observed : weeks that the regression rests on
    """

    mean: np.ndarray
    covariance: np.ndarray
    silent_weeks: float
    observed: int

    def sample(self, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(draw, 3) stop, resume and slope."""
        root = np.linalg.cholesky(self.covariance)
        out = self.mean + rng.standard_normal((draws, 3)) @ root.T
        return np.asarray(np.column_stack([out[:, :2], np.minimum(out[:, 2], 0.0)]))


def weeks_of_silence(worked: np.ndarray) -> np.ndarray:
    """(week + 1,) silent weeks before each week and after the last; 0 after a worked week.

    >>> weeks_of_silence(np.array([True, False, False, True])).tolist()
    [0, 0, 1, 2, 0]
    """
    place = np.arange(1, len(worked) + 1)
    last = np.maximum.accumulate(np.where(worked, place, 0))
    return np.concatenate([[0], place - last])


def fit_silences(worked: np.ndarray) -> Silences:
    """Fit the chain on the weeks in which somebody could come, the first of them a worked one.

    Parameters
    ----------
    worked : (week,) bool
    """
    before = weeks_of_silence(worked)
    after = worked[1:]
    d = before[1:-1]
    design = np.column_stack([d == 0, d > 0, np.log(np.maximum(d, 1))]).astype(float)
    success = np.where(d == 0, ~after, after).astype(float)
    mean, covariance = _logistic_posterior(design, success)
    return Silences(mean=mean, covariance=covariance, silent_weeks=float(before[-1]), observed=len(success))


def _logistic_posterior(design: np.ndarray, success: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mode and covariance of a logistic regression with independent normal priors (Newton's method)."""
    precision = np.diag(1.0 / _PRIOR_SD**2)
    beta = _PRIOR_MEAN.copy()
    for _ in range(50):
        p = expit(design @ beta)
        hessian = precision + (design * (p * (1 - p))[:, None]).T @ design
        gradient = design.T @ (success - p) - precision @ (beta - _PRIOR_MEAN)
        step = np.linalg.solve(hessian, gradient)
        beta = beta + step
        if np.abs(step).max() < 1e-9:
            break
    return beta, np.linalg.inv(hessian)


def chance_worked(silent: np.ndarray, parameters: np.ndarray) -> np.ndarray:
    """(draw,) chance that the next week is worked after `silent` silent weeks (0 = worked)."""
    resume = parameters[:, 1] + parameters[:, 2] * np.log(np.maximum(silent, 1.0))
    return np.asarray(expit(np.where(silent > 0, resume, -parameters[:, 0])))


def given_nothing_yet(chance: np.ndarray, chance_of_later: np.ndarray) -> np.ndarray:
    """The chance of a worked week once its first days have passed without a session.

    `chance_of_later` is the chance that a worked week has all its sessions in the days left.

    >>> given_nothing_yet(np.array([0.5]), np.array([0.25])).tolist()
    [0.2]
    """
    return np.asarray(chance * chance_of_later / (1 - chance + chance * chance_of_later))
