"""Logistic regression with a normal prior on each coefficient, through statsmodels.

A prior N(m, s) on one coefficient enters as one weighted pseudo-observation: a row that holds that
coefficient alone, with the success share p = logistic(m) and the weight 1 / (s^2 p (1 - p)), which
has its mode at m and there the curvature 1 / s^2.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit


def logistic_posterior(
    design: np.ndarray,
    success: np.ndarray,
    prior_mean: np.ndarray,
    prior_sd: np.ndarray,
    offset: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, float]:
    """Mode, covariance and log marginal likelihood (Laplace approximation) of the coefficients.

    Parameters
    ----------
    design : (row, coefficient) columns
    success : (row,) 0 or 1
    prior_mean, prior_sd : (coefficient,) normal priors
    offset : (row,) known part of the logit; None = none

    Examples
    --------
    With no rows the prior comes back:

    >>> mean, covariance, _ = logistic_posterior(np.empty((0, 1)), np.empty(0), np.array([-1.0]),
    ...                                          np.array([0.5]))
    >>> mean.round(6).tolist(), covariance.round(6).tolist()
    ([-1.0], [[0.25]])
    """
    if not len(success):
        return prior_mean, np.diag(prior_sd**2), 0.0
    # Imported here: half a second that a build without sessions does not need.
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM

    rows, share = len(success), expit(prior_mean)
    weight = np.concatenate([np.ones(rows), 1 / (prior_sd**2 * share * (1 - share))])
    known = np.zeros(rows) if offset is None else offset
    fit = GLM(
        np.concatenate([success, share]),
        np.vstack([design, np.eye(len(share))]),
        family=Binomial(),
        var_weights=weight,
        offset=np.concatenate([known, np.zeros(len(share))]),
    ).fit(scale=1.0)
    mean, covariance = np.asarray(fit.params), np.asarray(fit.normalized_cov_params)
    logits = known + design @ mean
    log_likelihood = float(-np.logaddexp(0.0, np.where(success > 0.5, -logits, logits)).sum())
    off_prior = (mean - prior_mean) / prior_sd
    occam = 0.5 * np.linalg.slogdet(covariance)[1] - float(np.log(prior_sd).sum())
    return mean, covariance, log_likelihood - 0.5 * float(off_prior @ off_prior) + occam
