"""A normal hierarchy over builds: the centre of each parameter, and how far builds lie apart.

    parameters of build i   b_i ~ N(centre, between^2), independently; parameters of one group (such as
                            the levels of all task types) share one `between`
    likelihood of build i   quadratic, exp(-b' P b / 2 + h' b), with P `precision` and h `pull`

Fitted by EM to the mode under priors on both. The centre has the built-in prior of one builder, so that
it stays near it where a few builds cannot tell. Each `between` has a prior worth three builds, so that
five builds that happen to agree do not make the sixth a certainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# Judgement: strong enough that five builds in agreement leave the next one free, weak against fifty.
_PRIOR_BUILDS = 3.0
# A safety limit: EM slows down as `between` nears zero. The tolerance (in prior sds of the centre, plus
# relative change of `between`) lies far below the standard error of either.
_MOST_ITERATIONS = 300
_TOLERANCE = 1e-4


@dataclass(frozen=True, kw_only=True)
class Likelihood:
    """The likelihood of one build.

    Attributes
    ----------
    index : (p,) which of the shared parameters the others refer to
    precision : (p, p)
    pull : (p,) precision times the estimate
    """

    index: np.ndarray
    precision: np.ndarray
    pull: np.ndarray

    def integrate_out(self, dropped: np.ndarray, sd: np.ndarray) -> Likelihood:
        """The likelihood of the other parameters, with N(0, sd^2) priors on those dropped.

        Parameters
        ----------
        dropped : (p,) bool
        sd : (p,) prior standard deviations; only those of dropped parameters are read

        Examples
        --------
        >>> precision = np.array([[4.0, 1.0], [1.0, 1.0]])
        >>> both = Likelihood(index=np.arange(2), precision=precision, pull=np.ones(2))
        >>> one = both.integrate_out(np.array([False, True]), np.ones(2))
        >>> one.precision.tolist(), one.pull.tolist()
        ([[3.5]], [0.5])
        """
        if not dropped.any():
            return self
        rest = ~dropped
        cross = self.precision[np.ix_(dropped, rest)]
        inner = self.precision[np.ix_(dropped, dropped)] + np.diag(sd[dropped] ** -2.0)
        solved = np.linalg.solve(inner, cross)
        return Likelihood(
            index=self.index[rest],
            precision=self.precision[np.ix_(rest, rest)] - cross.T @ solved,
            pull=self.pull[rest] - solved.T @ self.pull[dropped],
        )


@dataclass(frozen=True, kw_only=True)
class Hierarchy:
    """A fitted hierarchy.

    Attributes
    ----------
    centre, centre_sd : (parameter,) and its standard error
    between : (parameter,) standard deviation between builds
    """

    centre: np.ndarray
    centre_sd: np.ndarray
    between: np.ndarray

    @property
    def next_sd(self) -> np.ndarray:
        """(parameter,) predictive sd of the next build, the error of the centre included."""
        return np.asarray(np.sqrt(self.between**2 + self.centre_sd**2))


def fit_hierarchy(
    builds: Sequence[Likelihood],
    centre: np.ndarray,
    sd: np.ndarray,
    group: np.ndarray,
    *,
    between_share: float = 1.0,
) -> Hierarchy:
    """Fit centre and spread of each parameter over builds.

    Parameters
    ----------
    builds : one likelihood per build, at least one
    centre, sd : (parameter,) prior of one builder, before any build was seen
    group : (parameter,) number of the group that shares one `between`: 0, 1, ...
    between_share : prior mean of `between`, as a share of `sd`

    Examples
    --------
    A build without information leaves the prior as it was:

    >>> nothing = Likelihood(index=np.array([0]), precision=np.zeros((1, 1)), pull=np.zeros(1))
    >>> fit = fit_hierarchy([nothing], np.array([0.1]), np.array([0.3]), np.array([0]))
    >>> fit.centre.round(6).tolist(), fit.between.round(6).tolist()
    ([0.1], [0.3])
    """
    prior = sd.astype(float) ** 2
    mean, variance = centre.astype(float), prior
    groups = int(group.max()) + 1
    prior_between = np.bincount(group, (between_share * sd) ** 2, groups) / np.bincount(
        group, minlength=groups
    )
    count = np.bincount(np.concatenate([b.index for b in builds]), minlength=len(mean)).astype(float)
    for _ in range(_MOST_ITERATIONS):
        total, squares, _ = _moments(builds, mean, variance)
        new = (total / variance + centre / prior) / (count / variance + 1 / prior)
        scatter = squares - 2 * new * total + count * new**2
        shared = (_PRIOR_BUILDS * prior_between + np.bincount(group, scatter, groups)) / (
            _PRIOR_BUILDS + np.bincount(group, count, groups)
        )
        step = np.abs(new - mean) / sd + np.abs(np.sqrt(shared[group] / variance) - 1)
        mean, variance = new, shared[group]
        if step.max() < _TOLERANCE:
            break
    _, _, information = _moments(builds, mean, variance)
    return Hierarchy(centre=mean, centre_sd=np.sqrt(1 / (information + 1 / prior)), between=np.sqrt(variance))


def _moments(
    builds: Sequence[Likelihood], mean: np.ndarray, variance: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The E step, (parameter,) each, summed over builds: expected parameters, expected squares, and
    information on the centre (a precision)."""
    total, squares, information = np.zeros(len(mean)), np.zeros(len(mean)), np.zeros(len(mean))
    for build in builds:
        at = build.index
        prior = 1 / variance[at]
        covariance = np.linalg.inv(build.precision + np.diag(prior))
        expected = covariance @ (build.pull + prior * mean[at])
        own = np.diag(covariance)
        np.add.at(total, at, expected)
        np.add.at(squares, at, expected**2 + own)
        # Information is not negative, but rounding can make a variance exceed its prior a little.
        np.add.at(information, at, np.maximum(1 - own * prior, 0.0) * prior)
    return total, squares, information
