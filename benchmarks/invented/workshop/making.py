"""A build of a kind, drawn at random from a seed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from benchmarks.invented.workshop.build import SyntheticBuild, play_scenario
from benchmarks.invented.workshop.kinds import draw_beyond, draw_effort, draw_habit, draw_order, draw_reports
from benchmarks.invented.workshop.random_kit import TYPES, draw_plan
from benchmarks.invented.workshop.scenario import Scenario, pair_effects, true_tasks
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Plan

_DRAWING = 9
_AWAY_YEARS = 20
_MISLABELLED, _WITHOUT_PLAN = 0.15, 0.5  # as the kind "mislabelled" says
_LUMPS = 0.03  # share of rows that begin a run logged later: judgement


def make_build(
    *,
    effort: str = "as assumed",
    habit: str = "weekend",
    seed: int = 0,
    tasks: int = 260,
    builders: int = 1,
    until: float = 1.0,
) -> SyntheticBuild:
    """An invented build of a kind, simulated to its end.

    Parameters
    ----------
    effort : "as assumed", "heavy tails", "no learning", or "mislabelled" (15 % of the types in the
        plan are wrong and half of the planned hours are missing)
    habit : "weekend", "daily" (short sessions), or "bursts" (with silences of months)
    seed : the same seed and kinds give the same build
    tasks : approximate number of tasks in the plan
    builders : 1, or 2; the second joins at the start or within two years
    until : fraction of all person-hours after which the log is cut (default: the whole log)

    Examples
    --------
    >>> made = make_build(seed=3, tasks=30, until=0.5)
    >>> made.build.sessions["date"].max().date() < made.truth.build_finish
    True
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_DRAWING,)))
    plan, deliveries = draw_plan(tasks, rng)
    true_effort = draw_effort(effort, rng)
    start = date(2018, 1, 1) + timedelta(days=int(rng.integers(0, 1400)))
    people = [Builder(id="A")]
    joins_after = int(rng.integers(30, 730)) if rng.random() < 0.6 else 0
    if builders == 2:
        people.append(Builder(id="B", joins=start + timedelta(days=joins_after) if joins_after else None))
    scenario = Scenario(
        name=f"Synthetic {seed}",
        country=None,
        builders=tuple(people),
        limits=(),
        plan=_mislabelled(plan, rng) if effort == "mislabelled" else plan,
        deliveries=deliveries,
        away=_holidays(start, rng),
        start=start,
        tasks=true_tasks(plan),
        pair_effect=pair_effects(plan, true_effort, rng),
        effort=true_effort,
        beyond=draw_beyond(rng),
        reports=draw_reports(rng),
        habit=draw_habit(habit, rng),
        order=draw_order(rng),
    )
    level = scenario.habit.level_sd * float(rng.standard_normal())
    made = play_scenario(replace(scenario, first_level=level), seed, lump_chance=_LUMPS)
    return made if until >= 1.0 else replace(made, build=made.as_known_on(made.cut(until)))


def _mislabelled(plan: Plan, rng: np.random.Generator) -> Plan:
    wrong = rng.random(len(plan.tasks)) < _MISLABELLED
    missing = rng.random(len(plan.tasks)) < _WITHOUT_PLAN
    other = rng.integers(len(TYPES), size=len(plan.tasks))
    return Plan(
        tasks=tuple(
            replace(
                t,
                type=TYPES[other[i]] if wrong[i] else t.type,
                planned_hours=None if missing[i] else t.planned_hours,
            )
            for i, t in enumerate(plan.tasks)
        )
    )


def _holidays(start: date, rng: np.random.Generator) -> tuple[Away, ...]:
    """Two weeks in summer and one at the end of the year, for as long as any build may last."""
    first = rng.integers(0, 40, size=_AWAY_YEARS)
    away = []
    for year in range(_AWAY_YEARS):
        summer = date(start.year + year, 7, 1) + timedelta(days=int(first[year]))
        away.append(Away(builder=None, start=summer, end=summer + timedelta(days=13), reason="summer"))
        winter = date(start.year + year, 12, 24)
        away.append(Away(builder=None, start=winter, end=winter + timedelta(days=7), reason="holidays"))
    return tuple(away)
