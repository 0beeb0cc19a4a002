"""Mixture of pooled and built-in priors: the posterior weight of each."""

from __future__ import annotations

from scipy.special import expit, logit


def pooled_weight(log_odds: float, built_in_weight: float) -> float:
    """Posterior probability of the pooled priors.

    Parameters
    ----------
    log_odds : log marginal likelihood of the log under the pooled priors, less that under the built-in ones
    built_in_weight : prior probability of the built-in ones, between 0 and 1

    Examples
    --------
    >>> round(pooled_weight(0.0, 0.1), 6), pooled_weight(-9.0, 0.1) < 0.01
    (0.9, True)
    """
    return float(expit(log_odds + logit(1.0 - built_in_weight)))
