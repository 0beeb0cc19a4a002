"""An invented build before its first day, and the state of its simulation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from benchmarks.invented.workshop.job import Rules
from benchmarks.invented.workshop.presence import HELPER, HabitState, Presence, ordinals
from benchmarks.invented.workshop.totals import Totals, TrueTask
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth
from benchmarks.invented.workshop.workshop import Workshop
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Limit, Plan

_LONGEST_DAYS = 150 * 366  # guards against work that grows faster than it is done


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """Everything that is decided before the first day.

    Attributes
    ----------
    name, country, builders, limits, plan, deliveries, away : as in the build folder at the start
    start : the first day on which anybody may come
    tasks : the truth about each task, in plan order
    pair_effect : task -> log effect that a pair of repeats has in common
    effort, beyond, reports, habit, order : the parameters
    first_level : level of the habit on the first day
    """

    name: str
    country: str | None
    builders: tuple[Builder, ...]
    limits: tuple[Limit, ...]
    plan: Plan
    deliveries: tuple[Delivery, ...]
    away: tuple[Away, ...]
    start: date
    tasks: tuple[TrueTask, ...]
    pair_effect: Mapping[str, float]
    effort: EffortTruth
    beyond: BeyondTruth
    reports: ReportTruth
    habit: HabitTruth
    order: OrderTruth
    first_level: float = 0.0


@dataclass(slots=True)
class PlayState:
    """The state of a simulation: the day to come, the work and the household."""

    day: int
    workshop: Workshop
    presence: Presence

    def copy(self) -> PlayState:
        """The same state, to be simulated apart."""
        return PlayState(self.day, self.workshop.copy(), self.presence.copy())

    def redraw(self, rng: np.random.Generator) -> None:
        """Replace every random number that no day so far has used."""
        work, household = rng.spawn(2)
        self.workshop.redraw(work, self.day - 1)
        self.presence.redraw(household)

    def play(self, last_day: int | None = None) -> None:
        """Simulate until the work is finished, or to the end of `last_day`.

        Raises
        ------
        ValueError when no `last_day` is given and the work is not finished within 150 years.
        """
        workshop, presence = self.workshop, self.presence
        end = self.day + _LONGEST_DAYS if last_day is None else last_day
        while self.day <= end and not workshop.finished:
            here = presence.day(self.day, workshop.two_person_work)
            if here and (len(here) > 1 or HELPER not in here):
                workshop.work_day(self.day, here)
            self.day += 1
        if last_day is not None:
            self.day = max(self.day, last_day + 1)
        elif not workshop.finished:
            raise ValueError(
                f"the work must end within {_LONGEST_DAYS // 366} years; added tasks outpace it."
            )


def begin(scenario: Scenario, rng: np.random.Generator) -> PlayState:
    """The state before the first day."""
    rules = Rules(
        plan=scenario.plan,
        deliveries=scenario.deliveries,
        limits=scenario.limits,
        beyond=scenario.beyond,
        reports=scenario.reports,
        order=scenario.order,
    )
    totals = Totals(scenario.effort, scenario.tasks, dict(scenario.pair_effect))
    first = scenario.start.toordinal()
    joins = {b.id: max((b.joins or scenario.start).toordinal(), first) for b in scenario.builders}
    away: dict[str, set[int]] = {}
    for a in scenario.away:
        away.setdefault(a.builder or "", set()).update(ordinals(a.start, a.end))
    habit_state = HabitState(level=scenario.first_level)
    state = PlayState(first, Workshop(rules, totals), Presence(scenario.habit, joins, away, habit_state))
    state.redraw(rng)
    return state


def true_tasks(plan: Plan) -> tuple[TrueTask, ...]:
    """The truth behind a plan without errors: its types and planned hours."""
    return tuple(
        TrueTask(
            task=t.task,
            type=t.type,
            base_hours=t.planned_hours or 4.0,  # `typical_hours` of `EffortTruth`
            quantity=max(round(t.quantity), 1),
            repeat_of=t.repeat_of,
        )
        for t in plan.tasks
    )


def pair_effects(plan: Plan, effort: EffortTruth, rng: np.random.Generator) -> dict[str, float]:
    """Task -> log effect shared with the task that it repeats, for every task of a pair."""
    out: dict[str, float] = {}
    for t in plan.tasks:
        if t.repeat_of is not None:
            out.setdefault(t.repeat_of, effort.pair_sd * float(rng.standard_normal()))
            out[t.task] = out[t.repeat_of]
    return out
