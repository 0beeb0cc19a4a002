"""The sample dinghy: a wooden sailing dinghy with one row per stage and a long log."""

from __future__ import annotations

from datetime import date

from benchmarks.invented.workshop.build import SyntheticBuild, play_scenario
from benchmarks.invented.workshop.notes import with_notes
from benchmarks.invented.workshop.scenario import Scenario, true_tasks
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Plan, Task

SEED = 16
START = date(2024, 4, 6)
UNTIL = date(2026, 8, 31)
ABOUT = """
A wooden sailing dinghy from a kit of cut planks, with the coarsest plan that works: one row a stage, hours
guessed from the kit's leaflet, and now and then a word on how far the stage is (`percent`). The log runs over
more than two years of weekends, with summers in which the builder sailed other people's boats instead.
"""

EFFORT = EffortTruth(
    level=0.15, size_slope=1.0, residual_sd={"woodwork": 0.35, "finish": 0.4}, drift_sd=0.1, drift_tasks=10.0
)
HABIT = HabitTruth(
    day_chance=(0.05, 0.12, 0.06, 0.14, 0.05, 0.5, 0.38), session_hours=2.8, stop_chance=0.16,
    short_silence_weeks=1.9, long_silence_weeks=9.0, long_chance=0.12, level_sd=0.45, level_weeks=30.0,
    helper_chance=0.05, helper_hours=2.5,
)  # fmt: skip
PLAN = Plan(
    tasks=(
        Task(task="mould", stage="mould", title="Strongback and moulds, dead level", type="woodwork",
             planned_hours=24),
        Task(task="hull", stage="hull", title="Plank the hull and glue every lap", type="woodwork",
             planned_hours=85, after=("mould",), hold_days=2),
        Task(task="fairing", stage="fairing", title="Turn it, fair it, oil out the mistakes", type="finish",
             planned_hours=40, after=("hull",)),
        Task(task="inside", stage="inside", title="Frames, thwarts and buoyancy tanks", type="woodwork",
             planned_hours=60, after=("fairing",), hold_days=1),
        Task(task="board", stage="board and rudder", title="Centreboard, its case, rudder and tiller",
             type="woodwork", planned_hours=35),
        Task(task="deck", stage="deck", title="Deck beams, foredeck, gunwales", type="woodwork",
             planned_hours=55, after=("inside",), hold_days=1),
        Task(task="spars", stage="spars", title="Shape mast, boom and gaff", type="woodwork",
             planned_hours=45),
        Task(task="paint", stage="paint and varnish", title="Sand, paint, varnish, sand, varnish",
             type="finish", planned_hours=60, after=("deck", "board"), hold_days=3),
        Task(task="rig", stage="rigging", title="Fit her out, rig her, float her", type="woodwork",
             planned_hours=25, after=("paint", "spars")),
    )
)  # fmt: skip


def dinghy() -> SyntheticBuild:
    """Simulate the sample to its end."""
    scenario = Scenario(
        name="Sailing dinghy",
        country="IE",
        builders=(Builder(id="A"),),
        limits=(),
        plan=PLAN,
        deliveries=(),
        away=(
            Away(builder="A", start=date(2024, 7, 20), end=date(2024, 8, 11), reason="sailing"),
            Away(builder="A", start=date(2025, 7, 12), end=date(2025, 8, 3), reason="sailing"),
            Away(builder="A", start=date(2026, 7, 18), end=date(2026, 8, 9), reason="sailing"),
        ),
        start=START,
        tasks=true_tasks(PLAN),
        pair_effect={},
        effort=EFFORT,
        beyond=BeyondTruth(
            rework_chance=0.3, rework_share=0.08, rework_later_chance=0.0, outside_per_hour=0.03,
            outside_hours=2.0,
        ),
        reports=ReportTruth(percent_chance=0.16, noise=0.3),
        habit=HABIT,
        order=OrderTruth(run_ahead=0.1, stick=0.75, wander=0.02),
    )  # fmt: skip
    return with_notes(play_scenario(scenario, SEED, lump_chance=0.03), seed=SEED)
