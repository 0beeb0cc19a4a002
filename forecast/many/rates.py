"""Chances, rates and shares over builds: conjugate priors for the next one, by their marginal likelihood.

Each has a weak belief around the built-in prior, so that nothing moves where nothing was seen, and an
upper end to what the prior may weigh, so that a builder unlike the others is soon believed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize
from scipy.special import betaln, expit, gammaln, logit

MOST_CHANCES = 40.0  # tasks that a chance may weigh
MOST_EVENTS = 4.0  # events that a rate may weigh
MOST_WEEKS = 4.0  # weeks that a habit may weigh
_CENTRE_SD, _WEIGHT_SD = 1.0, 0.7


def pool_chance(happened: np.ndarray, of: np.ndarray, believed: tuple[float, float]) -> tuple[float, float]:
    """Beta parameters of a chance that differs from build to build (a beta-binomial).

    Parameters
    ----------
    happened, of : (build,) counts
    believed : Beta parameters built in

    Examples
    --------
    >>> a, b = pool_chance(np.array([20, 30, 25] * 10), np.full(30, 100), (0.5, 5.5))
    >>> bool(abs(a / (a + b) - 0.25) < 0.01)
    True
    """
    at, weight = believed[0] / sum(believed), float(sum(believed))

    def log_chance(centre: np.ndarray, weight: float) -> float:
        a, b = weight * expit(centre[0]), weight * expit(-centre[0])
        return float((betaln(a + happened, b + of - happened) - betaln(a, b)).sum())

    centre, weight = _most_likely(log_chance, np.array([logit(at)]), weight)
    weight = min(weight, MOST_CHANCES)
    return float(weight * expit(centre[0])), float(weight * expit(-centre[0]))


def pool_rate(events: np.ndarray, exposure: np.ndarray, believed: tuple[float, float]) -> tuple[float, float]:
    """Gamma shape and rate of a rate that differs from build to build (a gamma-Poisson).

    Parameters
    ----------
    events, exposure : (build,) counts, and what they came from (person-hours)
    believed : shape and rate built in
    """

    def log_chance(centre: np.ndarray, shape: float) -> float:
        rate = shape / np.exp(centre[0])
        seen = gammaln(shape + events) - gammaln(shape) + shape * np.log(rate)
        return float((seen - (shape + events) * np.log(rate + exposure)).sum())

    first = np.array([np.log(believed[0] / believed[1])])
    centre, shape = _most_likely(log_chance, first, believed[0])
    shape = min(shape, MOST_EVENTS)
    return float(shape), float(shape / np.exp(centre[0]))


def pool_days(
    worked: np.ndarray, idle: np.ndarray, believed: np.ndarray, weeks: float
) -> tuple[np.ndarray, float]:
    """(7,) chance of a session on each day of a worked week, and the weeks that it weighs.

    Parameters
    ----------
    worked, idle : (build, 7) days with and without a session
    believed, weeks : built in
    """

    def log_chance(centre: np.ndarray, weight: float) -> float:
        a, b = weight * expit(centre), weight * expit(-centre)
        return float((betaln(a + worked, b + idle) - betaln(a, b)).sum())

    centre, weight = _most_likely(log_chance, logit(believed), weeks)
    return np.asarray(expit(centre)), min(weight, MOST_WEEKS)


def _most_likely(
    log_chance: Callable[[np.ndarray, float], float], centre: np.ndarray, weight: float
) -> tuple[np.ndarray, float]:
    """Centre and weight at the maximum of chance times belief."""
    start = np.append(centre, np.log(weight))
    sd = np.append(np.full(len(centre), _CENTRE_SD), _WEIGHT_SD)

    def loss(at: np.ndarray) -> float:
        return 0.5 * float((((at - start) / sd) ** 2).sum()) - log_chance(at[:-1], float(np.exp(at[-1])))

    reach = [(c - 6.0, c + 6.0) for c in centre]
    bounds = [*reach, (np.log(weight) - 4.0, np.log(weight) + 8.0)]
    found = minimize(loss, start, method="L-BFGS-B", bounds=bounds).x
    return found[:-1], float(np.exp(found[-1]))
