"""A bootstrap particle filter (Gordon, Salmond and Smith, IEE Proceedings F 140, 1993)."""

from __future__ import annotations

import numpy as np

PARTICLES = 3_000
# The usual threshold of resampling: it keeps a few particles from taking all the weight.
_LEAST_EFFECTIVE_SHARE = 0.5


class ParticleFilter:
    """Weights of particles, that is of copies of a state that the log does not show.

    Parameters
    ----------
    rng : source of the resampling
    particles : how many there are

    Examples
    --------
    >>> follow = ParticleFilter(np.random.default_rng(0), particles=4)
    >>> follow.observe(np.log([1.0, 1.0, 1.0, 0.9])) is None
    True
    >>> follow.observe(np.array([0.0, -99.0, -99.0, -99.0])).tolist()
    [0, 0, 0, 0]
    """

    def __init__(self, rng: np.random.Generator, particles: int = PARTICLES) -> None:
        self.rng = rng
        self.log_weight = np.zeros(particles)

    def observe(self, log_likelihood: np.ndarray) -> np.ndarray | None:
        """Weigh the particles by what was observed; the resampled ones, when it is time to resample.

        Parameters
        ----------
        log_likelihood : (particle,) of the observation

        Returns
        -------
        (particle,) indices of the particles that survive, by systematic resampling; None to go on with all

        Raises
        ------
        RuntimeError when no particle could have produced the observation.
        """
        self.log_weight = self.log_weight + log_likelihood
        if self.log_weight.max() == -np.inf:
            raise RuntimeError("No particle could have produced this log: use more particles.")
        weight = self._weights()
        if 1 / (weight**2).sum() >= _LEAST_EFFECTIVE_SHARE * len(weight):
            return None
        self.log_weight = np.zeros(len(weight))
        points = (self.rng.random() + np.arange(len(weight))) / len(weight)
        return np.minimum(np.searchsorted(np.cumsum(weight), points), len(weight) - 1)

    def sample(self, count: int) -> np.ndarray:
        """(count,) indices of particles drawn from the posterior."""
        return self.rng.choice(len(self.log_weight), size=count, p=self._weights())

    def _weights(self) -> np.ndarray:
        weight = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(weight / weight.sum())
