"""Invented clubs: builders who are alike, because they build to one guide and meet each other.

Members differ from each other by less than builders anywhere differ; a club as a whole may lie far from the
built-in priors. Plans, logs and simulation are those of benchmarks/invented/workshop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import exp, log

import numpy as np

from benchmarks.invented.workshop import Scenario, SyntheticBuild, play_scenario
from benchmarks.invented.workshop.kinds import draw_order, draw_reports
from benchmarks.invented.workshop.random_kit import TYPES, draw_plan
from benchmarks.invented.workshop.scenario import pair_effects, true_tasks
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth
from forecast.files.logbook import Builder

TASKS = 80
# Monday to Sunday: chance of a session in a week of building.
EVENINGS = (0.6, 0.6, 0.6, 0.55, 0.2, 0.6, 0.5)
WEEKENDS = (0.05, 0.05, 0.05, 0.05, 0.2, 0.85, 0.8)


# How members of any club differ: standard deviations, and for chances and rates the number of tasks or events
# that would scatter as much. About half of what builders anywhere differ by: judgement.
APART = {"level": 0.15, "type_level": 0.12, "size_slope": 0.05, "learning": 0.04, "repeat": 0.1}
SIZE_SLOPE, SPREAD, SPREADS_APART, TYPE_SPREADS = 0.93, 0.38, 0.15, 0.2
REWORK_TASKS, EVENTS = 20.0, 4.0
OUTSIDE_PER_HOUR, ADDED_PER_HOUR = 0.01, 0.002


@dataclass(frozen=True, kw_only=True)
class Club:
    """Centres of the members' true parameters.

    Attributes
    ----------
    level, learning, repeat : as in `EffortTruth`
    rework : chance of rework per task
    day_chance, session_hours, stop_chance, long_chance : as in `HabitTruth`
    type_effect : type -> log effect, shared by all members
    """

    level: float
    learning: float
    repeat: float
    rework: float
    day_chance: tuple[float, ...]
    session_hours: float
    stop_chance: float
    long_chance: float
    type_effect: Mapping[str, float]


def optimistic_club(seed: int) -> Club:
    """An optimistic guide (hours at 55 % of the true ones), steep learning, short evenings."""
    rng = np.random.default_rng([seed, 1])
    effects = 0.3 * rng.standard_normal(len(TYPES))
    return Club(
        level=0.6,
        learning=log(0.82) / log(2),
        repeat=log(0.75),
        rework=0.2,
        day_chance=EVENINGS,
        session_hours=1.8,
        stop_chance=0.18,
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def strangers_club(seed: int) -> Club:
    """Builders unlike that club: below the guide's hours, hardly any learning, long days at weekends."""
    rng = np.random.default_rng([seed, 2])
    effects = 0.3 * rng.standard_normal(len(TYPES))
    return Club(
        level=-0.3,
        learning=log(0.97) / log(2),
        repeat=log(1.0),
        rework=0.03,
        day_chance=WEEKENDS,
        session_hours=5.0,
        stop_chance=0.06,
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def member(club: Club, seed: int) -> SyntheticBuild:
    """The whole build of one member, with a plan of its own.

    Examples
    --------
    >>> member(optimistic_club(1), seed=2).build.name
    'Member 2'
    """
    rng = np.random.default_rng([seed, 3])
    plan, deliveries = draw_plan(TASKS, rng)
    effort = _effort(club, rng)
    start = date(2018, 1, 1) + timedelta(days=int(rng.integers(0, 1400)))
    scenario = Scenario(
        name=f"Member {seed}",
        country=None,
        builders=(Builder(id="A"),),
        limits=(),
        plan=plan,
        deliveries=deliveries,
        away=(),
        start=start,
        tasks=true_tasks(plan),
        pair_effect=pair_effects(plan, effort, rng),
        effort=effort,
        beyond=BeyondTruth(
            rework_chance=rng.beta(REWORK_TASKS * club.rework, REWORK_TASKS * (1 - club.rework)),
            outside_per_hour=rng.gamma(EVENTS, OUTSIDE_PER_HOUR),
            outside_hours=rng.uniform(1.5, 2.5),
            added_per_hour=min(rng.gamma(EVENTS, ADDED_PER_HOUR), 0.02),
            added_hours=rng.uniform(3.0, 5.0),
        ),
        reports=draw_reports(rng),
        habit=_habit(club, rng),
        order=draw_order(rng),
    )
    level = scenario.habit.level_sd * float(rng.standard_normal())
    return play_scenario(replace(scenario, first_level=level), seed)


def _effort(club: Club, rng: np.random.Generator) -> EffortTruth:
    slope = rng.normal(club.learning, APART["learning"])
    slopes = np.minimum(slope + APART["learning"] * rng.standard_normal(len(TYPES)), 0.0)
    effects = [club.type_effect[t] + rng.normal(0.0, APART["type_level"]) for t in TYPES]
    spreads = SPREAD * exp(rng.normal(0.0, SPREADS_APART))
    spreads = spreads * np.exp(TYPE_SPREADS * rng.standard_normal(len(TYPES)))
    return EffortTruth(
        level=rng.normal(club.level, APART["level"]),
        size_slope=rng.normal(SIZE_SLOPE, APART["size_slope"]),
        type_effect=dict(zip(TYPES, effects, strict=True)),
        learning_slope=dict(zip(TYPES, slopes.tolist(), strict=True)),
        residual_sd=dict(zip(TYPES, spreads.tolist(), strict=True)),
        repeat=rng.normal(club.repeat, APART["repeat"]),
        pair_sd=abs(rng.normal(0.0, 0.2)),
        drift_sd=abs(rng.normal(0.0, 0.15)),
        drift_tasks=rng.uniform(15.0, 120.0),
        shared_penalty=exp(rng.normal(log(1.14), 0.06)),
    )


def _habit(club: Club, rng: np.random.Generator) -> HabitTruth:
    days = np.minimum(np.array(club.day_chance) * np.exp(0.2 * rng.standard_normal(7)), 0.9)
    return HabitTruth(
        day_chance=tuple(days.tolist()),
        session_hours=club.session_hours * exp(rng.normal(0.0, 0.18)),
        stop_chance=club.stop_chance * exp(rng.normal(0.0, 0.2)),
        short_silence_weeks=1.8 * exp(rng.normal(0.0, 0.2)),
        long_silence_weeks=7.0 * exp(rng.normal(0.0, 0.2)),
        long_chance=club.long_chance,
        level_sd=rng.uniform(0.35, 0.6),
        level_weeks=rng.uniform(12.0, 40.0),
        helper_chance=rng.uniform(0.04, 0.15),
        call_chance=rng.uniform(0.3, 0.8),
    )
