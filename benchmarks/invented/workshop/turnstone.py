"""The sample turnstone: its builders and its true parameters."""

from __future__ import annotations

from datetime import date
from math import log

import numpy as np

from benchmarks.invented.workshop.build import SyntheticBuild, play_scenario
from benchmarks.invented.workshop.notes import with_notes
from benchmarks.invented.workshop.scenario import Scenario, pair_effects, true_tasks
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth
from benchmarks.invented.workshop.turnstone_kit import turnstone_plan
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Limit

SEED = 54
START = date(2025, 3, 29)
UNTIL = date(2026, 9, 30)
B_JOINS = date(2026, 4, 4)

EFFORT = EffortTruth(
    level=0.06,
    size_slope=0.94,
    type_effect={
        "deburr": 0.32, "drill": -0.08, "dimple": -0.05, "prime": 0.25, "rivet": 0.04, "fit": 0.28,
        "seal": 0.38, "bend": 0.1, "wire": 0.2, "test": -0.1, "cut": 0.0, "paint": 0.3,
    },
    learning_slope={
        "deburr": log(0.90) / log(2), "drill": log(0.93) / log(2), "dimple": log(0.92) / log(2),
        "prime": log(0.95) / log(2), "rivet": log(0.88) / log(2), "fit": log(0.95) / log(2),
        "seal": log(0.87) / log(2), "bend": log(0.92) / log(2), "wire": log(0.93) / log(2),
    },
    residual_sd={
        "deburr": 0.28, "drill": 0.3, "dimple": 0.25, "prime": 0.3, "rivet": 0.32, "fit": 0.5,
        "seal": 0.4, "bend": 0.4, "wire": 0.45, "test": 0.55,
    },
    repeat=log(0.86),
    pair_sd=0.15,
    drift_sd=0.14,
    drift_tasks=60.0,
    shared_penalty=1.12,
)  # fmt: skip
BEYOND = BeyondTruth(
    rework_chance=0.09, rework_share=0.25, outside_per_hour=0.035, outside_hours=1.6,
    added_per_hour=0.009, added_hours=2.5,
)  # fmt: skip
HABIT = HabitTruth(
    day_chance=(0.26, 0.34, 0.28, 0.32, 0.14, 0.7, 0.56), session_hours=3.1, stop_chance=0.1,
    short_silence_weeks=1.6, long_silence_weeks=6.0, long_chance=0.08, level_sd=0.35, level_weeks=26.0,
    both_chance=0.85, helper_chance=0.13, helper_hours=3.0,
)  # fmt: skip


def turnstone() -> SyntheticBuild:
    """Simulate the sample to its end."""
    plan = turnstone_plan()
    scenario = Scenario(
        name="Turnstone two-seat floatplane",
        country="GB",
        builders=(Builder(id="A", weekly_hours=8.0), Builder(id="B", joins=B_JOINS, weekly_hours=5.0)),
        limits=(Limit(id="fasteners", amount=400.0),),
        plan=plan,
        deliveries=DELIVERIES,
        away=AWAY,
        start=START,
        tasks=true_tasks(plan),
        pair_effect=pair_effects(plan, EFFORT, np.random.default_rng(SEED)),
        effort=EFFORT,
        beyond=BEYOND,
        reports=ReportTruth(percent_chance=0.25, count_chance=0.35),
        habit=HABIT,
        order=OrderTruth(run_ahead=0.14, stick=0.6, wander=0.1, order_ahead=0.35),
    )
    return with_notes(play_scenario(scenario, SEED, lump_chance=0.2), seed=SEED)


DELIVERIES = (
    Delivery(
        delivery="tail-wing-kit", title="Tail and wing kit, two crates", ordered=date(2024, 11, 18),
        lead_weeks_low=12.0, lead_weeks_likely=16.0, lead_weeks_high=24.0, arrived=date(2025, 3, 14),
        needed_for="tail",
    ),
    Delivery(
        delivery="fuselage-kit", title="Fuselage kit", ordered=None, lead_weeks_low=10.0,
        lead_weeks_likely=14.0, lead_weeks_high=26.0, late_cost_per_week=60.0, early_cost_per_week=12.0,
        needed_for="fuselage",
    ),
    Delivery(
        delivery="float-kit", title="Float kit and spreader bars", ordered=None, lead_weeks_low=12.0,
        lead_weeks_likely=18.0, lead_weeks_high=30.0, late_cost_per_week=60.0, early_cost_per_week=18.0,
        needed_for="floats",
    ),
    Delivery(
        delivery="engine", title="Engine, propeller and exhaust", ordered=None, lead_weeks_low=20.0,
        lead_weeks_likely=30.0, lead_weeks_high=52.0, late_cost_per_week=60.0, early_cost_per_week=45.0,
        needed_for="fitting out",
    ),
    Delivery(
        delivery="panel", title="Instruments, radio and looms", ordered=None, lead_weeks_low=6.0,
        lead_weeks_likely=9.0, lead_weeks_high=20.0, late_cost_per_week=60.0, early_cost_per_week=20.0,
        needed_for="fitting out",
    ),
)  # fmt: skip
AWAY = (
    Away(builder="A", start=date(2025, 7, 26), end=date(2025, 8, 9), reason="family holiday"),
    Away(builder=None, start=date(2025, 12, 21), end=date(2026, 1, 2), reason="barn let out over Christmas"),
    Away(builder="B", start=date(2026, 6, 6), end=date(2026, 6, 14), reason="work trip"),
    Away(builder=None, start=date(2026, 8, 1), end=date(2026, 8, 16), reason="summer holiday"),
    Away(builder=None, start=date(2026, 12, 20), end=date(2027, 1, 3), reason="barn let out over Christmas"),
    Away(builder=None, start=date(2027, 7, 31), end=date(2027, 8, 15), reason="summer holiday"),
)  # fmt: skip
ABOUT = """
An aluminium two-seat floatplane kit in a rented barn, 252 tasks in five stages. Builder A begins alone in
March 2025 with the tail and the wings; B joins a year later. Long seams need a second pair of hands to buck,
so A asks a neighbour in now and then (`A+1`), and what needs two waits. Primer and sealant hold what follows
for one to four days, the right side repeats the left, the fuselage, float, engine and panel kits come on
order, and there are 400 temporary fasteners to go round. Some sessions were written up afterwards as one row
that stands for several days.
"""
