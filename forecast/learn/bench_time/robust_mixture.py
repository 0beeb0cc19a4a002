"""Leaning back on the built-in habits where a log speaks against the pooled ones.

As with effort (forecast/learn/effort/robust_mixture.py): a mixture of both beliefs, its weights moved by how
likely each makes the log: its weeks, their hours and its weekdays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import betaln

from forecast.learn.bench_time.habit import Habit
from forecast.learn.bench_time.level import Level
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.bench_time.silences import Silences
from forecast.learn.mixture import pooled_weight


@dataclass(frozen=True, kw_only=True)
class Weeks:
    """What was learned of weeks and weekdays from one set of beliefs."""

    level: Level
    silences: Silences
    habit: Habit

    def log_chance(self, belief: BenchPriors) -> float:
        """Log of the chance of the log, everything unknown averaged over its prior, up to a constant."""
        worked, idle = _day_counts(belief)
        days = betaln(self.habit.worked, self.habit.idle) - betaln(worked, idle)
        return self.level.evidence + self.silences.evidence + float(days.sum())


def mixed_weeks(
    pooled: Weeks, built_in: Weeks, belief: BenchPriors, plain: BenchPriors
) -> tuple[Weeks, float]:
    """Both together, and the weight of the pooled one.

    Parameters
    ----------
    pooled, built_in : learned from the same weeks with the same season or none
    belief, plain : what each started from
    """
    log_odds = pooled.log_chance(belief) - built_in.log_chance(plain)
    weight = pooled_weight(log_odds, belief.built_in_weight)
    both = Weeks(
        level=_mixed_levels(pooled.level, built_in.level, weight),
        silences=_mixed_silences(pooled.silences, built_in.silences, weight),
        habit=_mixed_habits(pooled.habit, belief, plain, weight),
    )
    return both, weight


def _mixed_levels(pooled: Level, built_in: Level, weight: float) -> Level:
    """The points of both grids, those of each with its weight."""
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(pooled, name), getattr(built_in, name)])
        for name in ("keep", "move", "shape", "mean", "root", "offset", "slope", "state_sd")
    }
    return replace(
        pooled,
        **joined,
        weight=np.concatenate([weight * pooled.weight, (1 - weight) * built_in.weight]),
        expected=weight * pooled.expected + (1 - weight) * built_in.expected,
    )


def _mixed_silences(pooled: Silences, built_in: Silences, weight: float) -> Silences:
    """One normal with the mean and covariance of the mixture."""
    apart = pooled.mean - built_in.mean
    inner = weight * pooled.covariance + (1 - weight) * built_in.covariance
    return replace(
        pooled,
        mean=weight * pooled.mean + (1 - weight) * built_in.mean,
        covariance=inner + weight * (1 - weight) * np.outer(apart, apart),
    )


def _mixed_habits(pooled: Habit, belief: BenchPriors, plain: BenchPriors, weight: float) -> Habit:
    """The days of the log, on top of days of both beliefs by their weights."""
    worked, idle = (
        own + (1 - weight) * (other - prior)
        for own, prior, other in zip(
            (pooled.worked, pooled.idle), _day_counts(belief), _day_counts(plain), strict=True
        )
    )
    return replace(pooled, worked=worked, idle=idle)


def _day_counts(belief: BenchPriors) -> tuple[np.ndarray, np.ndarray]:
    chance = np.array(belief.day_chance)
    return belief.day_weeks * chance, belief.day_weeks * (1 - chance)
