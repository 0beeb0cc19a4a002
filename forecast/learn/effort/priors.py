"""Prior distributions of the effort model, and the source of each.

All effects are on the scale of log person-hours. A prior is a centre and a standard deviation; the scale of a
group of effects has a half-t prior with 4 degrees of freedom, so that the amount of pooling is estimated and
large values stay possible. Where no source is named, the figure is a judgement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, log

import numpy as np

HALF_T_DEGREES = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """Centre and standard deviation of a normal prior."""

    centre: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkAndGrowthPriors:
    """Priors of the work that no first-time estimate covers; common practice, no source.

    Attributes
    ----------
    rework_chance : Beta parameters of the chance that part of a task is redone: mean one in twelve
    rework_log_share : log of the share of its hours that is then redone: median a quarter
    outside_per_hour : Gamma shape and rate of the days with work outside the plan per person-hour of
        planned work: mean one per 62 person-hours, about one working day in twenty-five
    outside_hours : mean person-hours of such a day
    growth_per_hour : Gamma shape and rate of the days on which tasks are added, per person-hour: mean one
        per 100 person-hours
    growth_hours : mean person-hours added on such a day
    """

    rework_chance: tuple[float, float] = (0.5, 5.5)
    rework_log_share: Normal = Normal(centre=log(0.25), sd=0.8)
    outside_per_hour: tuple[float, float] = (0.8, 50.0)
    outside_hours: float = 2.5
    growth_per_hour: tuple[float, float] = (0.6, 60.0)
    growth_hours: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortPriors:
    """Every prior of the effort model.

    Attributes
    ----------
    level : log(actual / planned) of a task of typical size. Median ratios of .95-1.08 were measured on
        open task records; guides for kits are optimistic more often, hence the small positive centre.
    size_slope : exponent on planned hours; 1 = in proportion, less = small tasks over, big ones under plan
    pieces_slope : exponent on the pieces of tasks without planned hours; big lots set up less per piece
    learning : exponent per log piece. Published rates run from 75 % to 95 % per doubling (Stewart, Cost
        Estimator's Reference Manual, 2nd edition: hand assembly with machining 80-90 %, repetitive
        electronics 90-95 %); a builder who repeats ribs is no production line, so the centre is 90 %.
    repeat : what a repeat (the other wing) takes beyond its type's learning. Seconds of a pair took .40,
        .50, .69, .74, .88 and 1.35 of the first in one builder's log: geometric mean .70, of which
        two equal lots at 90 % explain .84, so .84 remains.
    shared_work : ASSUMPTION for kits. In controlled assembly person-hours rose to 1.14 times for groups
        of two; no published figure for two people on a kit was found.
    type_level, type_learning : type -> level and learning exponent that other builders' tasks of that type
        add; empty where nothing is pooled
    degrees : of the t distribution of the effects that all tasks share; infinite = normal. A pooled prior
        has few, so that it gives way for a builder who is unlike the others.
    builds : number of builds it was pooled from; 0 = built in
    built_in_weight : prior probability that a builder is unlike those pooled and the built-in priors hold;
        the log changes it (see robust_mixture.py)
    """

    level: Normal = Normal(centre=0.05, sd=0.35)
    size_slope: Normal = Normal(centre=1.0, sd=0.12)
    pieces_slope: Normal = Normal(centre=0.85, sd=0.2)
    unplanned_level: Normal = Normal(centre=0.0, sd=0.3)
    unplanned_level_without_any_plan: Normal = Normal(centre=0.0, sd=1.1)
    learning: Normal = Normal(centre=log(0.90) / log(2), sd=0.1)
    learning_between_types: Normal = Normal(centre=-0.05, sd=0.08)
    repeat: Normal = Normal(centre=log(0.84), sd=0.25)
    shared_work: Normal = Normal(centre=log(1.14), sd=0.08)

    type_level_scale: float = 0.3
    type_learning_scale: float = 0.06
    type_rate_scale: float = 0.6
    pair_scale: float = 0.2
    drift_scale: float = 0.3

    log_spread: Normal = Normal(centre=log(0.5), sd=0.4)
    type_spread_scale: float = 0.3
    spread_by_size: Normal = Normal(centre=0.05, sd=0.07)

    typical_hours: float = 4.0

    beyond: ReworkAndGrowthPriors = ReworkAndGrowthPriors()
    type_level: Mapping[str, float] = field(default_factory=dict)
    type_learning: Mapping[str, float] = field(default_factory=dict)
    degrees: float = inf
    builds: int = 0
    built_in_weight: float = 0.0

    @property
    def scales(self) -> dict[str, float]:
        """Scale of the half-t prior of each group of effects."""
        return {
            "level": self.type_level_scale,
            "learning": self.type_learning_scale,
            "rate": self.type_rate_scale,
            "drift": self.drift_scale,
            "pair": self.pair_scale,
        }


def half_t_log_density(value: np.ndarray, scale: np.ndarray | float) -> np.ndarray:
    """Log density, up to a constant, of a half-t variable with 4 degrees of freedom."""
    return -0.5 * (HALF_T_DEGREES + 1) * np.log1p((value / scale) ** 2 / HALF_T_DEGREES)


# Bounds of the spread of a type's residuals (from hours within 4 % of the plan to a factor of 9 either way,
# well outside any log seen), and of the sd of its log between types.
SPREADS = (0.04, 2.2)
SPREADS_APART = (0.01, 1.5)

# Degrees of freedom of the residuals, heavy to light tails, and the prior probability of each.
TAIL_DEGREES = np.array([3.0, 4.0, 6.0, 10.0, 20.0, 200.0])
TAIL_WEIGHTS = np.array([0.08, 0.12, 0.2, 0.2, 0.2, 0.2])

# Correlation length of the drift in tasks (where the correlation falls to 1/e), all equally likely a priori.
DRIFT_TASKS = np.array([10.0, 20.0, 40.0, 80.0, 160.0, 320.0])
