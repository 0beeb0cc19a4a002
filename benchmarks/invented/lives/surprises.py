"""Work that nobody planned: additions that may breed, hidden defects, inspections that reopen a batch."""

from __future__ import annotations

import math

import numpy as np

from benchmarks.invented.lives.bench import Bench
from benchmarks.invented.lives.kit import LATE, Plan, Task, add_task
from benchmarks.invented.lives.traits import Traits, between, lognormal

Generator = np.random.Generator
ADDED_TYPES = ("fit", "install", "fix", "cut", "wire")


class Surprises:
    """Growth and rework of one household (rework cycle: flaws stay hidden until work or an inspection
    finds them [lit: Cooper 1980])."""

    def __init__(
        self, traits: Traits, plan: Plan, bench: Bench, growth: Generator, rework: Generator
    ) -> None:
        self._traits = traits
        self._plan = plan
        self._bench = bench
        self._growth = growth
        self._rework = rework
        self._storms = sorted(traits.surprise.storms)
        self._upgrades = self._draw_upgrades()
        self._final_inspections = 0

    def _draw_upgrades(self) -> list[float]:
        """Shares of the work at which the builder decides on something more: a panel, a tank."""
        count = int(self._growth.poisson(self._traits.surprise.upgrades))
        return sorted(between(self._growth, 0.2, 0.95) for _ in range(count))

    def rate(self, stage: int) -> float:
        """Planned hours added per hour worked at a stage: the slope makes late stages grow more."""
        s = self._traits.surprise
        return s.growth + s.growth_slope * (stage / max(1, len(self._plan.stages) - 1)) ** 1.5

    def after_work(self, task: Task, person_hours: float, day: int) -> None:
        """What comes to light while working: new tasks, and flaws in what was finished before."""
        s = self._traits.surprise
        rate = self.rate(task.stage) if task.original else s.breed
        expected = rate * person_hours / (s.added_hours * math.exp(0.5 * 0.8**2))
        for _ in range(int(self._growth.poisson(expected))):
            self._add(task.stage, day, lognormal(self._growth, s.added_hours, 0.8), task)

    def _add(self, stage: int, day: int, hours: float, cause: Task | None) -> None:
        rng = self._growth
        if cause is not None and stage + 1 < len(self._plan.stages) and rng.random() < 0.2:
            stage = int(rng.integers(stage + 1, len(self._plan.stages)))
        kind = ADDED_TYPES[int(rng.integers(len(ADDED_TYPES)))]
        title = f"Extra: {kind} {self._plan.stages[stage]}"
        task = add_task(self._plan, stage, title, kind, hours, self._traits, rng)
        task.added, task.original, task.repeat_of = day, False, None
        if self._plan.rows:
            task.row = self._row_of(stage, cause)
            task.stage = self._plan.rows[task.row][0]
        elif cause is not None and not cause.finished and cause.stage == stage and rng.random() < 0.3:
            task.needs(cause)
        self._bench.note_added(task)

    def _row_of(self, stage: int, cause: Task | None) -> int:
        """Row of a coarse plan that takes an addition: one that is still open, of the stage if it has one."""
        if cause is not None and cause.stage == stage:
            return cause.row
        rows = sorted({task.row for tasks in self._bench.open for task in tasks})
        return next((row for row in rows if self._plan.rows[row][0] == stage), rows[-1])

    def by_share(self, share: float, day: int) -> None:
        """Upgrades and inspections that fall due when this share of the plan has been worked."""
        while self._upgrades and share >= self._upgrades[0]:
            self._upgrades.pop(0)
            self._upgrade(day)
        while self._storms and share >= self._storms[0]:
            self._storms.pop(0)
            self._storm(day)

    def _upgrade(self, day: int) -> None:
        late = [k for k, name in enumerate(self._plan.stages) if name in LATE]
        stage = late[int(self._growth.integers(len(late)))]
        total = min(0.08 * self._plan.planned_total, lognormal(self._growth, 45, 0.6))
        count = int(self._growth.integers(3, 9))
        for hours in self._growth.dirichlet(np.full(count, 3.0)) * total:
            self._add(stage, day, float(hours), None)

    def on_finish(self, task: Task) -> None:
        """A finished task may hide a flaw; its redoing takes a share of the task's hours."""
        s = self._traits.surprise
        if self._rework.random() < s.defect and task.total is not None:
            task.hidden_defect = task.total * min(1.5, lognormal(self._rework, s.redo, 0.6))

    def found_while(self, task: Task, day: int) -> None:
        """Taking up a task can show a flaw in one that it builds on."""
        for earlier in task.after:
            if (
                earlier.hidden_defect
                and earlier.finished
                and self._rework.random() < self._traits.surprise.found_by_work
            ):
                self._reopen(earlier, day)

    def _storm(self, day: int) -> None:
        """An inspection: finds hidden flaws and reopens a batch of the latest finished tasks besides."""
        s, rng = self._traits.surprise, self._rework
        finished = [task for task in self._plan.tasks if task.finished]
        finished.sort(key=lambda task: task.last_day)
        recent = finished[-max(5, len(finished) // 2) :]
        wanted = max(3, int(s.storm_share * len(finished) * between(rng, 0.5, 1.5)))
        for k in rng.permutation(len(recent))[:wanted]:
            task = recent[int(k)]
            if not task.hidden_defect:
                task.hidden_defect = (task.total or task.basis) * min(1.5, lognormal(rng, s.redo, 0.6))
            self._reopen(task, day)

    def final_inspection(self, day: int) -> bool:
        """Inspect the finished build; True when something must be done again (three times at most)."""
        self._final_inspections += 1
        if self._final_inspections > 3:
            return False
        chance = self._traits.surprise.found_at_end
        found = [t for t in self._plan.tasks if t.hidden_defect and self._rework.random() < chance]
        for task in found:
            self._reopen(task, day)
        return bool(found)

    def _reopen(self, task: Task, day: int) -> None:
        task.remaining = max(0.3, task.hidden_defect)
        task.hidden_defect = 0.0
        task.finished = False
        task.redone = True
        # it is redone another day: the parts must come first, or the courage
        task.free_from = max(task.free_from, day + 1.0)
        self._bench.note_reopened(task)
