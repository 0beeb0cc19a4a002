"""Kinds of builders: distributions of the true parameters; no two builds are alike.

The figures agree with large task records and long build logs: log(actual / plan) with an sd of 0.5 to 1.1
per task, a repeat at 0.4 to 1.35 of the first, sessions on a quarter of the days, 21-38 % of weeks silent,
13-week totals with a coefficient of variation of 0.54 to 0.70. Rework, work outside the plan and added tasks:
judgement, no source.
"""

from __future__ import annotations

from math import exp, inf, log

import numpy as np

from benchmarks.invented.workshop.random_kit import TYPES
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth

EFFORT_KINDS = ("as assumed", "heavy tails", "no learning", "mislabelled")
HABIT_KINDS = ("weekend", "daily", "bursts")


def draw_effort(kind: str, rng: np.random.Generator) -> EffortTruth:
    """Draw how many person-hours this builder's tasks take.

    Raises
    ------
    ValueError for a kind that is not in `EFFORT_KINDS`.
    """
    if kind not in EFFORT_KINDS:
        raise ValueError(f"effort must be one of {', '.join(EFFORT_KINDS)}. Got {kind!r} instead.")
    heavy = kind == "heavy tails"
    between = abs(rng.normal(0.0, 0.3))
    common_slope = rng.normal(log(0.90) / log(2), 0.05)
    spread = 0.42 * exp(rng.normal(0.0, 0.2)) * (0.75 if heavy else 1.0)
    slopes = np.minimum(common_slope + 0.04 * rng.standard_normal(len(TYPES)), 0.0)
    if kind == "no learning":
        slopes = np.zeros(len(TYPES))
    effects = between * rng.standard_normal(len(TYPES))
    spreads = spread * np.exp(0.25 * rng.standard_normal(len(TYPES)))
    return EffortTruth(
        level=rng.normal(0.05, 0.3),
        size_slope=rng.normal(0.97, 0.07),
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
        learning_slope=dict(zip(TYPES, slopes.tolist(), strict=True)),
        residual_sd=dict(zip(TYPES, spreads.tolist(), strict=True)),
        repeat=0.0 if kind == "no learning" else rng.normal(log(0.86), 0.12),
        pair_sd=abs(rng.normal(0.0, 0.2)),
        drift_sd=abs(rng.normal(0.0, 0.2)),
        drift_tasks=rng.uniform(15.0, 120.0),
        tail_degrees=3.0 if heavy else inf,
        disaster_chance=0.03 if heavy else 0.0,
        disaster_times=3.0 if heavy else 1.0,
        shared_penalty=exp(rng.normal(log(1.14), 0.06)),
    )


def draw_beyond(rng: np.random.Generator) -> BeyondTruth:
    """Draw rework, work outside the plan and growth of a build."""
    return BeyondTruth(
        rework_chance=rng.beta(1.6, 18.0),
        rework_share=0.25 * exp(rng.normal(0.0, 0.3)),
        outside_per_hour=rng.gamma(1.5, 0.015),
        outside_hours=rng.uniform(1.0, 3.0),
        added_per_hour=rng.gamma(1.2, 0.005),
        added_hours=rng.uniform(2.0, 5.0),
    )


def draw_reports(rng: np.random.Generator) -> ReportTruth:
    """Draw how a builder reports on tasks under way."""
    return ReportTruth(
        percent_chance=rng.choice([0.0, 0.1, 0.3]),
        bias=rng.normal(0.15, 0.3),
        stretch=rng.normal(1.12, 0.12),
        noise=rng.uniform(0.25, 0.8),
        count_chance=rng.choice([0.0, 0.3, 0.8]),
    )


def draw_habit(kind: str, rng: np.random.Generator) -> HabitTruth:
    """Draw when this household is at the bench.

    Raises
    ------
    ValueError for a kind that is not in `HABIT_KINDS`.
    """
    if kind not in HABIT_KINDS:
        raise ValueError(f"habit must be one of {', '.join(HABIT_KINDS)}. Got {kind!r} instead.")
    days, hours, stop, short, long, long_chance = {
        "weekend": ((0.08, 0.12, 0.1, 0.12, 0.12, 0.68, 0.6), 3.5, 0.1, 1.8, 8.0, 0.08),
        "daily": ((0.5, 0.5, 0.5, 0.48, 0.36, 0.5, 0.42), 1.7, 0.11, 1.8, 8.0, 0.08),
        "bursts": ((0.36, 0.36, 0.36, 0.36, 0.34, 0.6, 0.56), 3.0, 0.18, 2.5, 11.0, 0.22),
    }[kind]
    wobble = np.exp(0.25 * rng.standard_normal(7))
    return HabitTruth(
        day_chance=tuple(np.minimum(np.array(days) * wobble, 0.9).tolist()),
        session_hours=hours * exp(rng.normal(0.0, 0.22)),
        stop_chance=stop * exp(rng.normal(0.0, 0.25)),
        short_silence_weeks=short * exp(rng.normal(0.0, 0.2)),
        long_silence_weeks=long * exp(rng.normal(0.0, 0.25)),
        long_chance=min(long_chance * exp(rng.normal(0.0, 0.3)), 0.6),
        level_sd=rng.uniform(0.4, 0.75),
        level_weeks=rng.uniform(12.0, 60.0),
        both_chance=rng.uniform(0.75, 0.95),
        helper_chance=rng.uniform(0.04, 0.2),
        helper_hours=rng.uniform(1.5, 3.5),
        call_chance=rng.uniform(0.3, 0.8),
    )


def draw_order(rng: np.random.Generator) -> OrderTruth:
    """Draw in which order a builder takes ready tasks."""
    return OrderTruth(
        run_ahead=rng.beta(1.5, 7.0),
        stick=rng.uniform(0.4, 0.8),
        wander=rng.uniform(0.0, 0.2),
        order_ahead=rng.uniform(0.0, 0.6),
    )
