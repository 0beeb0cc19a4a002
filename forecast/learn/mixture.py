"""Two beliefs beside each other: how likely each is once a log has spoken."""

from __future__ import annotations

from scipy.special import expit, logit


def pooled_weight(log_odds: float, built_in_weight: float) -> float:
    """How likely the pooled beliefs are, by how far the log favours them.

    Examples
    --------
    >>> round(pooled_weight(0.0, 0.1), 6), pooled_weight(-9.0, 0.1) < 0.01
    (0.9, True)
    """
    return float(expit(log_odds + logit(1.0 - built_in_weight)))
