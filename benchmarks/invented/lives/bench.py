"""Which work a session takes up: what lies open on the bench, then what was touched last, rarely the plan."""

from __future__ import annotations

import numpy as np

from benchmarks.invented.lives.deliveries import Deliveries
from benchmarks.invented.lives.kit import Plan, Task
from benchmarks.invented.lives.traits import Traits, lognormal

Generator = np.random.Generator
SIGHT = 9  # ready tasks that a builder has in mind at once


class Bench:
    """State of the stages and the choice of the next task."""

    def __init__(self, traits: Traits, plan: Plan, deliveries: Deliveries, rng: Generator) -> None:
        self._choice = traits.choice
        self._rng = rng
        self._plan = plan
        self._deliveries = deliveries
        self.open: list[list[Task]] = [plan.of_stage(k) for k in range(len(plan.stages))]
        self.last_day = [-1] * len(plan.stages)
        self.planned = [max(1e-9, sum(task.basis for task in tasks)) for tasks in self.open]
        self.planned_done = [0.0] * len(plan.stages)
        self.current = 0
        self._stuck_since: int | None = None

    def share(self, stage: int) -> float:
        """Share of the stage's planned work, additions included, that is finished."""
        return self.planned_done[stage] / self.planned[stage]

    def started(self, stage: int) -> bool:
        """Whether anybody has worked at the stage."""
        return self.last_day[stage] >= 0

    def ready(self, task: Task, day: int, people: int, started: bool) -> bool:
        """Whether the task can be worked at now by this many people."""
        if task.crew == "two" and people < 2:
            return False
        if task.worked and not task.ever_finished and task.free_from <= day:
            return True
        if task.free_from > day or (task.blocked > (1 if task.ahead and started else 0)):
            return False
        if task.waits_for is not None:
            stage, share = task.waits_for
            if self.share(stage) < share:
                return False
            task.waits_for = None
        # the last tenth turns out to need something that nobody has ordered
        if task.tail and not task.worked and self._rng.random() < 0.15 * self._choice.tail_wait:
            task.free_from = day + 7 * lognormal(self._rng, self._choice.backorder_weeks, 0.8)
            return False
        return True

    def _ready_tasks(self, stage: int, day: int, people: int) -> list[Task]:
        if not self.open[stage] or not self._deliveries.here(stage, day):
            return []
        found = []
        started = self.started(stage)
        for task in self.open[stage]:
            if self.ready(task, day, people, started):
                found.append(task)
                if len(found) == SIGHT:
                    break
        return found

    def pick(self, day: int, people: int, hours: float, taken: Task | None) -> Task | None:
        """Task to take up next, or None when nothing can be worked at. ``taken``: somebody else has it."""
        for stage in self._stages_in_mind(day):
            tasks = [task for task in self._ready_tasks(stage, day, people) if task is not taken]
            if tasks:
                if stage != self.current and taken is None:
                    self.current = stage
                self._stuck_since = None
                return self._pick_task(tasks, people, hours)
        return None

    def _stages_in_mind(self, day: int) -> list[int]:
        """Stages in the order in which they come to mind today."""
        c, rng = self._choice, self._rng
        begun = [k for k in range(len(self.open)) if self.open[k] and self.started(k)]
        fresh = [k for k in range(len(self.open)) if self.open[k] and not self.started(k)]
        begun.sort(key=lambda k: -self.last_day[k])
        order = begun + fresh
        if begun and rng.random() < c.easy:
            # the joy of crossing a stage off: go where the least is left
            return _to_front(order, min(begun, key=lambda k: len(self.open[k])))
        if self.current in begun and rng.random() < c.stay:
            return _to_front(order, self.current)
        if fresh and rng.random() < c.new_stage:
            return _to_front(order, fresh[0])
        if begun:
            weights = np.array([c.ranks[min(r, len(c.ranks) - 1)] for r in range(len(begun))])
            first = int(np.searchsorted(np.cumsum(weights / weights.sum()), rng.random()))
            return _to_front(order, begun[min(first, len(begun) - 1)])
        return order

    def _pick_task(self, tasks: list[Task], people: int, hours: float) -> Task:
        """Prefer what is half done, what fits the evening, what needs the second person now here."""
        c, rng = self._choice, self._rng
        latest = max(tasks, key=lambda task: task.last_day)
        if latest.worked and not latest.finished and rng.random() < c.task_stay:
            return latest
        weights = []
        for place, task in enumerate(tasks):
            weight = (1 - c.jump_order) ** place
            if task.basis <= hours * people:
                weight *= 1.5
            if task.crew == "two":
                weight *= 6.0
            if task.tail:
                weight *= c.tail_liking
            weights.append(weight)
        total = np.cumsum(weights)
        return tasks[int(np.searchsorted(total, rng.random() * total[-1]))]

    def note_work(self, task: Task, day: int) -> None:
        """The stage has been worked at today."""
        self.last_day[task.stage] = day

    def note_finished(self, task: Task, day: int) -> bool:
        """Take a finished task off the bench; True when its stage has nothing open left."""
        self.open[task.stage].remove(task)
        self.planned_done[task.stage] += task.basis
        if not task.ever_finished:
            for later in task.before:
                later.blocked -= 1
                later.free_from = max(later.free_from, day + task.hold)
        return not self.open[task.stage]

    def note_reopened(self, task: Task) -> None:
        """Put a finished task back; what follows it and has not begun is not blocked again."""
        self.open[task.stage].append(task)
        self.planned_done[task.stage] -= task.basis

    def note_added(self, task: Task) -> None:
        """A new task lies on the bench."""
        self.open[task.stage].append(task)
        self.planned[task.stage] += task.basis

    def stuck(self) -> bool:
        """Whether the last session found nothing to work at."""
        return self._stuck_since is not None

    def nothing_to_do(self, day: int) -> None:
        """After two idle weeks something is done about it: a call to the maker, a way around."""
        if self._stuck_since is None:
            self._stuck_since = day
        if day - self._stuck_since < 14:
            return
        self._deliveries.order_next(day)
        for tasks in self.open:
            for task in tasks:
                if task.waits_for is not None and not task.blocked:
                    task.waits_for = None
                    return

    def finished(self) -> bool:
        """Whether no task is open."""
        return not any(self.open)


def _to_front(order: list[int], stage: int) -> list[int]:
    return [stage, *[k for k in order if k != stage]]
