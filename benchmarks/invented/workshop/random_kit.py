"""Random plans with the shape of a kit: stages of assemblies, assemblies of steps, pairs."""

from __future__ import annotations

import numpy as np

from benchmarks.invented.workshop.kit import UNITS
from forecast.files.plan import Crew, Delivery, Plan, Task

TYPES = ("deburr", "drill", "dimple", "prime", "rivet", "fit", "seal", "bend", "wire", "cut", "test", "paint")
# Chance of a hold of 1 to 3 days, chance of needing two people, pieces per 4-hour task: judgement, after
# common kits. Hours: the median and spread of planned hours in large task records (shared/effort_spread.csv).
_HOLDS = {"prime": 0.6, "seal": 0.8, "paint": 0.7}
_TWO = {"rivet": 0.2, "fit": 0.1, "test": 0.06}
_PIECES = {"drill": 120.0, "dimple": 150.0, "rivet": 150.0}
_MEDIAN_HOURS, _HOURS_LOG_SD = 3.2, 0.75


class _PlanDraft:
    """A plan under construction: its tasks so far, and the last task of each finished stage."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.tasks: list[Task] = []
        self.stage_ends: list[str] = []

    def chance(self, of: float) -> bool:
        return bool(self.rng.random() < of)

    def stage(self, name: str, count: int, mix: np.ndarray, delivery: str | None) -> None:
        """Add a stage of about `count` tasks: assemblies, then a few steps that join them."""
        ends: list[str] = []
        first = len(self.tasks)
        while len(self.tasks) - first < count - 2:
            steps = int(self.rng.integers(3, 9))
            after = [ends[int(self.rng.integers(len(ends)))]] if ends and self.chance(0.35) else []
            if self.stage_ends and self.chance(0.25):
                after.append(self.stage_ends[-1])
            made = [self._step(name, mix) for _ in range(steps)]
            pair = self.chance(0.4)
            left = self._chain(made, after, delivery, None)
            ends.append(left[-1])
            if pair:
                ends.append(self._chain(made, after, delivery, left)[-1])
        made = [self._step(name, mix) for _ in range(int(self.rng.integers(1, 4)))]
        self.stage_ends.append(self._chain(made, ends, delivery, None)[-1])

    def _step(self, stage: str, mix: np.ndarray) -> Task:
        rng = self.rng
        kind = TYPES[int(rng.choice(len(TYPES), p=mix))]
        hours = _MEDIAN_HOURS * np.exp(_HOURS_LOG_SD * rng.standard_normal())
        per_hour = _PIECES.get(kind, 6.0) / 4.0 * np.exp(0.3 * rng.standard_normal())
        crew: Crew = "two" if self.chance(_TWO.get(kind, 0.01)) else "one" if self.chance(0.05) else "either"
        return Task(
            task="",
            stage=stage,
            title="",
            type=kind,
            quantity=float(max(round(hours * per_hour), 1)),
            unit=UNITS[kind],
            planned_hours=max(round(4 * hours) / 4, 0.25),
            crew=crew,
            hold_days=float(rng.integers(1, 4)) if self.chance(_HOLDS.get(kind, 0.0)) else 0.0,
        )

    def _chain(
        self, made: list[Task], after: list[str], delivery: str | None, repeats: list[str] | None
    ) -> list[str]:
        ids: list[str] = []
        for n, step in enumerate(made):
            task = f"T{len(self.tasks) + 1:03d}"
            self.tasks.append(
                Task(
                    task=task,
                    stage=step.stage,
                    title=f"{step.type.capitalize()} {step.stage} {len(self.tasks) + 1}",
                    type=step.type,
                    quantity=step.quantity,
                    unit=step.unit,
                    planned_hours=step.planned_hours,
                    after=(ids[-1],) if ids else tuple(dict.fromkeys(after)),
                    crew=step.crew,
                    hold_days=step.hold_days,
                    repeat_of=repeats[n] if repeats else None,
                    delivery=delivery,
                )
            )
            ids.append(task)
        return ids


def draw_plan(tasks: int, rng: np.random.Generator) -> tuple[Plan, tuple[Delivery, ...]]:
    """Draw a plan of about `tasks` tasks in three to six stages (two below 60 tasks), and its deliveries."""
    count = int(rng.integers(3, 7)) if tasks >= 60 else 2
    share = rng.dirichlet(np.full(count, 6.0))
    common = rng.dirichlet(np.full(len(TYPES), 3.0))
    draft, deliveries = _PlanDraft(rng), []
    for s in range(count):
        name = f"stage {s + 1}"
        kit = None
        if s > 0 and draft.chance(0.4):
            kit = f"kit-{s + 1}"
            deliveries.append(_delivery(kit, name, rng))
        mix = 0.6 * common + 0.4 * rng.dirichlet(np.full(len(TYPES), 0.8))
        draft.stage(name, max(round(tasks * share[s]), 4), mix / mix.sum(), kit)
    return Plan(tasks=tuple(draft.tasks)), tuple(deliveries)


def _delivery(kit: str, stage: str, rng: np.random.Generator) -> Delivery:
    likely = float(rng.integers(6, 20))
    return Delivery(
        delivery=kit,
        title=f"Kit for {stage}",
        ordered=None,
        lead_weeks_low=float(round(0.7 * likely)),
        lead_weeks_likely=likely,
        lead_weeks_high=float(round(likely * rng.uniform(1.3, 2.2))),
        needed_for=stage,
    )
