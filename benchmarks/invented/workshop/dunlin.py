"""The sample dunlin: a composite single-seater three weeks into its build."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import log

import numpy as np

from benchmarks.invented.workshop.build import SyntheticBuild, play_scenario
from benchmarks.invented.workshop.dunlin_kit import dunlin_plan
from benchmarks.invented.workshop.notes import with_notes
from benchmarks.invented.workshop.scenario import Scenario, pair_effects, true_tasks
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth
from forecast.files.logbook import Builder
from forecast.files.plan import Delivery, Plan

SEED = 12
START = date(2026, 9, 7)
UNTIL = date(2026, 9, 30)
ABOUT = """
A composite single-seater, three weeks in: a handful of sessions, a few finished tasks. Almost everything that
a forecast can say here rests on the plan, on priors and on the builder's own guess of six hours a week; for
wiring and plumbing the builder did not even guess, so those tasks have no planned hours. Laminates and bonds
cure for one to three days before work goes on.
"""
_NO_GUESS = ("wire", "plumb")

EFFORT = EffortTruth(
    level=0.12,
    size_slope=0.95,
    type_effect={"laminate": 0.15, "sand": 0.35, "bond": 0.05, "fill": 0.3, "cut": -0.05, "fit": 0.25},
    learning_slope=dict.fromkeys(
        ("laminate", "sand", "bond", "cut", "fit", "fill"), log(0.9) / log(2)
    ),
    residual_sd={"laminate": 0.3, "sand": 0.35, "bond": 0.3, "cut": 0.35, "fit": 0.5, "fill": 0.4},
    repeat=log(0.86),
    pair_sd=0.15,
    drift_sd=0.15,
)  # fmt: skip
HABIT = HabitTruth(
    day_chance=(0.2, 0.25, 0.3, 0.2, 0.15, 0.65, 0.45), session_hours=2.7, stop_chance=0.1,
    short_silence_weeks=1.6, long_silence_weeks=7.0, long_chance=0.08, level_sd=0.45, level_weeks=26.0,
    helper_chance=0.1, helper_hours=2.5,
)  # fmt: skip


def dunlin() -> SyntheticBuild:
    """Simulate the sample to its end."""
    known = dunlin_plan()
    plan = Plan(
        tasks=tuple(replace(t, planned_hours=None) if t.type in _NO_GUESS else t for t in known.tasks)
    )
    scenario = Scenario(
        name="Dunlin single-seater",
        country="DE",
        builders=(Builder(id="A", weekly_hours=6.0),),
        limits=(),
        plan=plan,
        deliveries=DELIVERIES,
        away=(),
        start=START,
        tasks=true_tasks(known),
        pair_effect=pair_effects(known, EFFORT, np.random.default_rng(SEED)),
        effort=EFFORT,
        beyond=BeyondTruth(
            rework_chance=0.08,
            outside_per_hour=0.03,
            outside_hours=1.5,
            added_per_hour=0.006,
            added_hours=2.5,
        ),
        reports=ReportTruth(percent_chance=0.3, count_chance=0.3),
        habit=HABIT,
        order=OrderTruth(run_ahead=0.1, stick=0.6, wander=0.1, order_ahead=0.3),
    )
    return with_notes(play_scenario(scenario, SEED), seed=SEED)


DELIVERIES = (
    Delivery(
        delivery="tail-and-wing-mouldings", title="Tail and wing mouldings", ordered=date(2026, 5, 4),
        lead_weeks_low=10.0, lead_weeks_likely=14.0, lead_weeks_high=20.0, arrived=date(2026, 8, 28),
        needed_for="tail",
    ),
    Delivery(
        delivery="fuselage-mouldings", title="Fuselage mouldings and canopy", ordered=None,
        lead_weeks_low=10.0, lead_weeks_likely=14.0, lead_weeks_high=24.0, late_cost_per_week=40.0,
        early_cost_per_week=10.0, needed_for="fuselage",
    ),
    Delivery(
        delivery="engine", title="Engine and propeller", ordered=None, lead_weeks_low=16.0,
        lead_weeks_likely=26.0, lead_weeks_high=44.0, needed_for="systems",
    ),
)  # fmt: skip
