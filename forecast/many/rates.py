"""Chances and rates over builds: conjugate priors for the next build, by penalised marginal likelihood.

The penalty centres on the built-in prior, so that nothing moves without evidence. The weight of each
pooled prior is capped, so that a builder unlike the others soon overrules it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize
from scipy.special import betaln, expit, gammaln, logit

# Caps on what a pooled prior may weigh, in units of the next build's own evidence. Judgement: about what
# a builder records in the first months, after which the log should lead.
MOST_CHANCES = 40.0  # tasks
MOST_EVENTS = 4.0  # days with unplanned or added work
MOST_WEEKS = 4.0  # worked weeks
# Prior sds of the centre (logit or log) and of the log of the weight. Judgement: a factor of e and of two
# either way, so that a few builds count for more than the built-in values.
_CENTRE_SD, _LOG_WEIGHT_SD = 1.0, 0.7
# Bounds of the search: six and more sds, which keeps exp() and betaln() finite and excludes no estimate.
_CENTRE_REACH, _LOG_WEIGHT_BELOW, _LOG_WEIGHT_ABOVE = 6.0, 4.0, 8.0


def pool_chance(happened: np.ndarray, of: np.ndarray, prior: tuple[float, float]) -> tuple[float, float]:
    """Beta parameters of a chance that differs from build to build (beta-binomial).

    Parameters
    ----------
    happened, of : (build,) counts
    prior : built-in Beta parameters

    Examples
    --------
    >>> a, b = pool_chance(np.array([20, 30, 25] * 10), np.full(30, 100), (0.5, 5.5))
    >>> bool(abs(a / (a + b) - 0.25) < 0.01)
    True
    """
    at, weight = prior[0] / sum(prior), float(sum(prior))

    def log_likelihood(centre: np.ndarray, weight: float) -> float:
        a, b = weight * expit(centre[0]), weight * expit(-centre[0])
        return float((betaln(a + happened, b + of - happened) - betaln(a, b)).sum())

    centre, weight = _posterior_mode(log_likelihood, np.array([logit(at)]), weight)
    weight = min(weight, MOST_CHANCES)
    return float(weight * expit(centre[0])), float(weight * expit(-centre[0]))


def pool_rate(events: np.ndarray, exposure: np.ndarray, prior: tuple[float, float]) -> tuple[float, float]:
    """Gamma shape and rate of a rate that differs from build to build (gamma-Poisson).

    Parameters
    ----------
    events : (build,) counts
    exposure : (build,) person-hours in which they happened
    prior : built-in shape and rate (person-hours)

    Examples
    --------
    >>> shape, rate = pool_rate(np.array([18, 20, 22] * 10), np.full(30, 400.0), (0.8, 50.0))
    >>> bool(abs(shape / rate - 0.05) < 0.002)
    True
    """

    def log_likelihood(centre: np.ndarray, shape: float) -> float:
        rate = shape / np.exp(centre[0])
        terms = gammaln(shape + events) - gammaln(shape) + shape * np.log(rate)
        return float((terms - (shape + events) * np.log(rate + exposure)).sum())

    start = np.array([np.log(prior[0] / prior[1])])
    centre, shape = _posterior_mode(log_likelihood, start, prior[0])
    shape = min(shape, MOST_EVENTS)
    return float(shape), float(shape / np.exp(centre[0]))


def pool_days(
    worked: np.ndarray, idle: np.ndarray, prior: np.ndarray, weeks: float
) -> tuple[np.ndarray, float]:
    """Chance of a session by day of a worked week (7,), and the weeks that it weighs.

    Parameters
    ----------
    worked, idle : (build, 7) days with and without a session, Monday to Sunday
    prior : (7,) built-in chances
    weeks : built-in weight

    Examples
    --------
    >>> chances, _ = pool_days(np.full((40, 7), 30.0), np.full((40, 7), 10.0), np.full(7, 0.3), 0.5)
    >>> bool(abs(chances - 0.75).max() < 0.02)
    True
    """

    def log_likelihood(centre: np.ndarray, weight: float) -> float:
        a, b = weight * expit(centre), weight * expit(-centre)
        return float((betaln(a + worked, b + idle) - betaln(a, b)).sum())

    centre, weight = _posterior_mode(log_likelihood, logit(prior), weeks)
    return np.asarray(expit(centre)), min(weight, MOST_WEEKS)


def _posterior_mode(
    log_likelihood: Callable[[np.ndarray, float], float], centre: np.ndarray, weight: float
) -> tuple[np.ndarray, float]:
    """Centre and weight at the maximum of likelihood times prior; the arguments are the prior's."""
    start = np.append(centre, np.log(weight))
    sd = np.append(np.full(len(centre), _CENTRE_SD), _LOG_WEIGHT_SD)

    def loss(at: np.ndarray) -> float:
        return 0.5 * float((((at - start) / sd) ** 2).sum()) - log_likelihood(at[:-1], float(np.exp(at[-1])))

    bounds = [(c - _CENTRE_REACH, c + _CENTRE_REACH) for c in centre]
    bounds.append((np.log(weight) - _LOG_WEIGHT_BELOW, np.log(weight) + _LOG_WEIGHT_ABOVE))
    found = minimize(loss, start, method="L-BFGS-B", bounds=bounds).x
    return found[:-1], float(np.exp(found[-1]))
