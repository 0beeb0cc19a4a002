"""What can be set for a forecast."""

from __future__ import annotations

from dataclasses import dataclass

from forecast.learn.pooled_priors import PooledPriors


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What can be set for a forecast; the defaults are what the commands use.

    `priors` are those pooled from other builds; None stands for the built-in ones.
    """

    runs: int = 10_000
    seed: int = 0
    horizon_years: int = 15
    priors: PooledPriors | None = None

    @property
    def horizon_days(self) -> int:
        """The longest that a run is played."""
        return round(self.horizon_years * 365.25)
