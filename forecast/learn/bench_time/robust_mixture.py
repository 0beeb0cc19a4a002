"""Mixture of pooled and built-in habits, so that a log unlike the pooled ones falls back on the built-in.

As for effort (forecast/learn/effort/robust_mixture.py): the weights follow the marginal likelihoods of the
log, here of its weeks, their hours and its weekdays.
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
class WeekFit:
    """Fit of weeks and weekdays under one set of priors."""

    level: Level
    silences: Silences
    habit: Habit

    def log_marginal(self, prior: BenchPriors) -> float:
        """Log marginal likelihood of the log, up to a constant; `prior` as in the fit."""
        worked, idle = _day_counts(prior)
        days = betaln(self.habit.worked, self.habit.idle) - betaln(worked, idle)
        return self.level.evidence + self.silences.evidence + float(days.sum())


def mixed_weeks(
    pooled: WeekFit, built_in: WeekFit, prior: BenchPriors, built_in_prior: BenchPriors
) -> tuple[WeekFit, float]:
    """Both fits mixed, and the posterior probability of the pooled prior.

    Parameters
    ----------
    pooled, built_in : fits to the same weeks, both with a season or both without
    prior, built_in_prior : priors of each
    """
    log_odds = pooled.log_marginal(prior) - built_in.log_marginal(built_in_prior)
    weight = pooled_weight(log_odds, prior.built_in_weight)
    both = WeekFit(
        level=_mixed_levels(pooled.level, built_in.level, weight),
        silences=_mixed_silences(pooled.silences, built_in.silences, weight),
        habit=_mixed_habits(pooled.habit, prior, built_in_prior, weight),
    )
    return both, weight


def _mixed_levels(pooled: Level, built_in: Level, weight: float) -> Level:
    """The points of both grids, with the weight of each fit."""
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(pooled, name), getattr(built_in, name)])
        for name in ("persistence", "step_sd", "shape", "mean", "root", "offset", "slope", "state_sd")
    }
    return replace(
        pooled,
        **joined,
        weight=np.concatenate([weight * pooled.weight, (1 - weight) * built_in.weight]),
        expected=weight * pooled.expected + (1 - weight) * built_in.expected,
    )


def _mixed_silences(pooled: Silences, built_in: Silences, weight: float) -> Silences:
    """One normal with the mean and covariance of the mixture."""
    difference = pooled.mean - built_in.mean
    within = weight * pooled.covariance + (1 - weight) * built_in.covariance
    return replace(
        pooled,
        mean=weight * pooled.mean + (1 - weight) * built_in.mean,
        covariance=within + weight * (1 - weight) * np.outer(difference, difference),
    )


def _mixed_habits(pooled: Habit, prior: BenchPriors, built_in_prior: BenchPriors, weight: float) -> Habit:
    """The days of the log on top of the weighted mean of both priors' days."""
    worked, idle = (
        own + (1 - weight) * (built_in - of_prior)
        for own, of_prior, built_in in zip(
            (pooled.worked, pooled.idle), _day_counts(prior), _day_counts(built_in_prior), strict=True
        )
    )
    return replace(pooled, worked=worked, idle=idle)


def _day_counts(prior: BenchPriors) -> tuple[np.ndarray, np.ndarray]:
    chance = np.array(prior.day_chance)
    return prior.day_weeks * chance, prior.day_weeks * (1 - chance)
