"""What is believed about effort before the log says anything, and where each belief comes from.

All effects are on the scale of log person-hours. A prior is a centre and a standard deviation; the
scale of a group of effects has a half-t prior with 4 degrees of freedom, so that the amount of pooling
is learned and large values stay possible.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, log

import numpy as np

HALF_T_DEGREES = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """Centre and standard deviation of a belief."""

    centre: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkAndGrowthPriors:
    """What is believed about work that no first-time estimate covers; common practice, no source.

    Attributes
    ----------
    rework_chance : Beta parameters of the chance that a task is redone in part: one in twelve
    rework_log_share : log of the share of its hours that then comes again: a quarter
    outside_per_hour : Gamma shape and rate of the days with work outside the plan per person-hour of
        planned work: one working day in twenty-five; outside_hours on each
    growth_per_hour : the same for days on which tasks are added: 100 person-hours bring one new task
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
    size_slope : exponent on planned hours; 1 = in proportion, less = small tasks over, big ones under
    pieces_slope : exponent on the pieces of tasks without planned hours; big lots have less set-up a piece
    learning : exponent per log piece. Published rates run from 75 % to 95 % a doubling (Stewart, Cost
        Estimator's Reference Manual, 2nd edition: hand assembly with machining 80-90 %, repetitive
        electronics 90-95 %); a builder who repeats ribs is no production line, so the centre is 90 %.
    repeat : what a repeat (the other wing) takes beyond its type's learning. Seconds of a pair took .40,
        .50, .69, .74, .88 and 1.35 of the first in one builder's log: geometric mean .70, of which
        two equal lots at 90 % explain .84, so .84 remains.
    shared_work : ASSUMPTION for kits. In controlled assembly person-hours rose to 1.14 times for groups
        of two; no published figure for two people on a kit was found.
    type_level, type_learning : type -> what other builders' tasks of that type show, added to the level
        and to the learning exponent; empty where nothing is known of them
    degrees : of the t distribution of the effects that all tasks share; infinite = normal. A belief
        learned from others has few, so that it lets go of a builder who is unlike them.
    builds : how many other builds it was learned from; 0 = built in
    built_in_weight : how likely it is beforehand that a builder is none of those, so that the built-in
        beliefs hold; the log moves it (see mix_robustly.py)
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
    drift_scale: float = 0.15

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


# Least and most that the spread of a type's luck can be, and how far the types' spreads lie apart.
SPREADS = (0.04, 2.2)
SPREADS_APART = (0.01, 1.5)

# Degrees of freedom of the luck, light to heavy tails, and how likely each is beforehand.
TAIL_DEGREES = np.array([3.0, 4.0, 6.0, 10.0, 20.0, 200.0])
TAIL_WEIGHTS = np.array([0.08, 0.12, 0.2, 0.2, 0.2, 0.2])

# How many tasks one wave of the drift lasts (its correlation falls to 1/e), all equally likely.
DRIFT_TASKS = np.array([10.0, 20.0, 40.0, 80.0, 160.0, 320.0])
