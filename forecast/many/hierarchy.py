"""A normal hierarchy over builds: what each build says of its effects, and how builds differ.

    effects of build i ~ N(centre, between^2), one of each a parameter; parameters of one group (the
        levels of all types) share their `between`
    likelihood of build i: quadratic, exp(-b' P b / 2 + h' b)

Fitted by EM with beliefs on both: the centre lies where a builder may lie, as built in, so that what five
builds are too few to tell stays near it; `between` from a share of the built-in standard deviation, as
if seen on three builds, so that five builds that happen to agree do not make the sixth a certainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_WORTH_BUILDS = 3.0
_SWEEPS = 300
_STILL = 1e-4


@dataclass(frozen=True, kw_only=True)
class Likelihood:
    """One build's word: `places` (p,) which of the shared parameters, `precision` (p, p), `pull` (p,)."""

    places: np.ndarray
    precision: np.ndarray
    pull: np.ndarray

    def without(self, gone: np.ndarray, sd: np.ndarray) -> Likelihood:
        """The same with some parameters integrated out, each believed to be N(0, sd).

        Parameters
        ----------
        gone : (p,) bool
        sd : (p,) of the belief; read where `gone`
        """
        if not gone.any():
            return self
        kept = ~gone
        cross = self.precision[np.ix_(gone, kept)]
        inner = self.precision[np.ix_(gone, gone)] + np.diag(sd[gone] ** -2.0)
        solved = np.linalg.solve(inner, cross)
        return Likelihood(
            places=self.places[kept],
            precision=self.precision[np.ix_(kept, kept)] - cross.T @ solved,
            pull=self.pull[kept] - solved.T @ self.pull[gone],
        )


@dataclass(frozen=True, kw_only=True)
class Hierarchy:
    """(parameter,) centre, its standard error, and the standard deviation between builds."""

    centre: np.ndarray
    centre_sd: np.ndarray
    between: np.ndarray

    @property
    def next_sd(self) -> np.ndarray:
        """(parameter,) how far the next build may lie from the centre, the centre's own error included."""
        return np.asarray(np.sqrt(self.between**2 + self.centre_sd**2))


def fit_hierarchy(
    builds: Sequence[Likelihood],
    centre: np.ndarray,
    sd: np.ndarray,
    group: np.ndarray,
    *,
    share: float = 1.0,
) -> Hierarchy:
    """Centre and spread of each parameter over builds.

    Parameters
    ----------
    builds : what each build says
    centre, sd : (parameter,) what was believed of a build before any other was seen
    group : (parameter,) number of the group that shares a spread; 0, 1, ...
    share : how far builds that are pooled are believed to lie apart, as a share of `sd`

    Examples
    --------
    A build without a word leaves the belief as it was:

    >>> nothing = Likelihood(places=np.array([0]), precision=np.zeros((1, 1)), pull=np.zeros(1))
    >>> fit = fit_hierarchy([nothing], np.array([0.1]), np.array([0.3]), np.array([0]))
    >>> fit.centre.round(6).tolist(), fit.between.round(6).tolist()
    ([0.1], [0.3])
    """
    believed = sd.astype(float) ** 2
    mean, variance = centre.astype(float), believed
    groups = int(group.max()) + 1
    first = np.bincount(group, (share * sd) ** 2, groups) / np.bincount(group, minlength=groups)
    count = np.bincount(np.concatenate([b.places for b in builds]), minlength=len(mean)).astype(float)
    for _ in range(_SWEEPS):
        total, squares, _ = _expected(builds, mean, variance)
        new = (total / variance + centre / believed) / (count / variance + 1 / believed)
        apart = squares - 2 * new * total + count * new**2
        shared = (_WORTH_BUILDS * first + np.bincount(group, apart, groups)) / (
            _WORTH_BUILDS + np.bincount(group, count, groups)
        )
        step = np.abs(new - mean) / sd + np.abs(np.sqrt(shared[group] / variance) - 1)
        mean, variance = new, shared[group]
        if step.max() < _STILL:
            break
    _, _, told = _expected(builds, mean, variance)
    return Hierarchy(centre=mean, centre_sd=np.sqrt(1 / (told + 1 / believed)), between=np.sqrt(variance))


def _expected(
    builds: Sequence[Likelihood], mean: np.ndarray, variance: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(parameter,) sum over builds of the expected effects and of their squares, and what they tell
    of the centre (a precision)."""
    total, squares, told = np.zeros(len(mean)), np.zeros(len(mean)), np.zeros(len(mean))
    for build in builds:
        at = build.places
        prior = 1 / variance[at]
        covariance = np.linalg.inv(build.precision + np.diag(prior))
        effects = covariance @ (build.pull + prior * mean[at])
        own = np.diag(covariance)
        np.add.at(total, at, effects)
        np.add.at(squares, at, effects**2 + own)
        np.add.at(told, at, np.maximum(1 - own * prior, 0.0) * prior)
    return total, squares, told
