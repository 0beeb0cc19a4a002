"""Random numbers one at a time, drawn in blocks because single draws from a generator are slow."""

from __future__ import annotations

import numpy as np

_BLOCK = 256  # any size of this order is fast; the sample logs depend on this one


class NumberStream:
    """Random numbers of one generator, one after the other.

    Examples
    --------
    >>> numbers, same = (NumberStream(np.random.default_rng(1)) for _ in range(2))
    >>> numbers.uniform() == same.uniform()
    True
    """

    __slots__ = ("_normals", "_rng", "_uniforms")

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._uniforms: list[float] = []
        self._normals: list[float] = []

    def uniform(self) -> float:
        """A number between 0 and 1."""
        if not self._uniforms:
            self._uniforms = self._rng.random(_BLOCK).tolist()
        return self._uniforms.pop()

    def normal(self) -> float:
        """A standard normal number."""
        if not self._normals:
            self._normals = self._rng.standard_normal(_BLOCK).tolist()
        return self._normals.pop()

    def gamma(self, shape: float, mean: float) -> float:
        """A gamma number of this shape and mean."""
        return float(self._rng.gamma(shape, mean / shape))

    def exponential(self, mean: float) -> float:
        """An exponential number of this mean."""
        return float(self._rng.exponential(mean))

    def triangular(self, low: float, likely: float, high: float) -> float:
        """A number between low and high, most often near the likely one."""
        return float(self._rng.triangular(low, likely, high)) if high > low else low
