"""The settings of a forecast."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral

from forecast.errors import UsageError
from forecast.learn.pooled_priors import PooledPriors

_LEAST = {"runs": 1, "seed": 0, "horizon_years": 1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The settings of a forecast; the defaults are those of the commands.

    Parameters
    ----------
    runs : simulation runs, 1 or more
    seed : of all random draws, 0 or more; same seed, same answer
    horizon_years : years after `as_of` that are simulated, 1 or more
    priors : pooled from other builds; None = the built-in priors

    Raises
    ------
    UsageError for a number that is not whole or below its least value.

    Examples
    --------
    >>> Settings(runs=500).horizon_days
    5479
    """

    runs: int = 10_000
    seed: int = 0
    horizon_years: int = 15
    priors: PooledPriors | None = None

    def __post_init__(self) -> None:
        for name, least in _LEAST.items():
            value = getattr(self, name)
            if not isinstance(value, Integral) or isinstance(value, bool) or value < least:
                raise UsageError(f"{name} must be a whole number of {least} or more. Got {value!r} instead.")

    @property
    def horizon_days(self) -> int:
        """Days after `as_of` that are simulated."""
        return round(self.horizon_years * 365.25)
