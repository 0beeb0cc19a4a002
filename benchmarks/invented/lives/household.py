"""One household, day by day, from the first session to the last ``done``."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from benchmarks.invented.lives.bench import Bench
from benchmarks.invented.lives.build import Piece
from benchmarks.invented.lives.deliveries import Deliveries
from benchmarks.invented.lives.effort import TrueEffort
from benchmarks.invented.lives.kit import Plan, Task, draw_plan
from benchmarks.invented.lives.presence import Presence
from benchmarks.invented.lives.surprises import Surprises
from benchmarks.invented.lives.traits import Traits, lognormal

Generator = np.random.Generator
HORIZON_YEARS = 25
OUTSIDE = ("cleaning", "ordering", "inventory", "planning", "training", "tools")


@dataclass(frozen=True)
class Streams:
    """Independent generators, so that a change to one part of the household leaves the others alone."""

    life: Generator
    work: Generator
    choice: Generator
    growth: Generator
    rework: Generator
    records: Generator


class Household:
    """The simulation; ``run`` fills ``pieces``."""

    def __init__(self, traits: Traits, start: date, streams: Streams) -> None:
        days = int(HORIZON_YEARS * 365.25)
        self.traits = traits
        self.start = start
        self.days = days
        self.plan: Plan = draw_plan(traits, streams.work)
        self.deliveries = Deliveries(traits, self.plan.stages, streams.growth.spawn(1)[0])
        self.presence = Presence(traits, start, days, streams.life)
        self.effort = TrueEffort(traits, days, streams.work)
        self.bench = Bench(traits, self.plan, self.deliveries, streams.choice)
        self.surprises = Surprises(traits, self.plan, self.bench, streams.growth, streams.rework)
        self.pieces: list[Piece] = []
        self._rng = streams.choice.spawn(1)[0]
        self._crew_rng = streams.life.spawn(1)[0]
        self._record_rng = streams.records.spawn(1)[0]
        self._ticks: list[tuple[int, Task]] = []
        self._planned_done = 0.0
        self._rows_open = self._count_rows()
        self.handed_over: int | None = None
        self.finished = False

    def _count_rows(self) -> list[int]:
        counts = [0] * len(self.plan.rows)
        for task in self.plan.tasks if counts else ():
            counts[task.row] += 1
        return counts

    def run(self) -> None:
        """Live until everything is done or the horizon is reached."""
        for day in range(self.days):
            if day % 7 == 0:
                shares = [self.bench.share(k) for k in range(len(self.plan.stages))]
                self.deliveries.order_by_progress(day, shares)
            if day and self.deliveries.arriving(day):
                self.presence.arrival(day)
            hours = self.presence.hours(day, self._planned_done / self.plan.planned_total)
            # the log starts with the first session: the first day is one
            if day == 0 and hours == 0:
                hours = 2.0
            if hours:
                self._session(day, hours)
                if self.bench.finished() and self._close(day):
                    self.finished = True
                    return

    def stage_finished(self, stage: str) -> bool:
        """Whether nothing is open in the stage and nothing waits to be ticked off."""
        k = self.plan.stages.index(stage)
        return not self.bench.open[k] and not any(task.stage == k for _, task in self._ticks)

    def _close(self, day: int) -> bool:
        """Whether all is done, inspected and ticked off."""
        if self.surprises.final_inspection(day):
            self._recount()
            return False
        while self._ticks:
            self._tick(day, self._ticks.pop(0)[1])
        return True

    # -- who ---------------------------------------------------------------------------------------

    def _people(self, day: int, weekend: bool) -> tuple[list[str], int]:
        """Builders and helpers without a name who are there today."""
        c, rng = self.traits.crew, self._crew_rng
        builders = list(c.builders)
        if c.hand_over_at is not None:
            builders = self._hand_over(day)
        helpers = 0
        if rng.random() < c.helper_days * (1.6 if weekend else 0.6):
            helpers = 1 + int(rng.geometric(1 - c.helper_more)) - 1
        if len(builders) == 2 and rng.random() >= c.together:
            builders = [builders[1]] if rng.random() < c.second_alone else [builders[0]]
        if len(builders) == 1 and not helpers and rng.random() < self._friend() and self._two_waiting(day):
            helpers = 1
        return builders, helpers

    def _friend(self) -> float:
        """Chance that a friend comes when asked; who is stuck without one asks harder."""
        return 0.5 if self.bench.stuck() else self.traits.crew.friend

    def _two_waiting(self, day: int) -> bool:
        """Whether a job for two lies ready in a stage that has been begun: time to ring a friend."""
        return any(
            task.crew == "two" and not task.blocked and task.free_from <= day
            for stage, tasks in enumerate(self.bench.open)
            if self.bench.started(stage)
            for task in tasks
        )

    def _hand_over(self, day: int) -> list[str]:
        c = self.traits.crew
        share = self._planned_done / self.plan.planned_total
        if self.handed_over is None and c.hand_over_at is not None and share >= c.hand_over_at:
            self.handed_over = day
            # another pair of hands: the same plan suits it differently
            self.effort.shift = float(self._crew_rng.normal(0.05, 0.25))
        return list(c.builders) if self.handed_over is None else [c.builders[1]]

    # -- a session ---------------------------------------------------------------------------------

    def _session(self, day: int, hours: float) -> None:
        weekend = (day + self.start.weekday()) % 7 >= 5
        self.surprises.by_share(self._planned_done / self.plan.planned_total, day)
        if self._planned_done:
            self._recount()
        people, helpers = self._people(day, weekend)
        hours -= self._outside(day, hours, people, helpers)
        hours -= self._do_ticks(day, people)
        if len(people) == 2 and not helpers and self._rng.random() < self.traits.crew.split:
            first = self._work(day, hours, people[:1], 0, None)
            self._work(day, hours, people[1:], 0, first)
            return
        self._work(day, hours, people, helpers, None)

    def _outside(self, day: int, hours: float, people: list[str], helpers: int) -> float:
        """Hours that belong to no task: the shop is swept, parts are counted."""
        if self._rng.random() >= 2.2 * self.traits.surprise.outside:
            return 0.0
        spent = min(0.8 * hours, float(self._rng.uniform(0.3, 0.7)) * hours)
        kind = OUTSIDE[int(self._rng.integers(len(OUTSIDE)))]
        stage = self.plan.stages[self.bench.current] if self._rng.random() < 0.5 else ""
        self._note(day, stage, None, kind, spent, people, helpers)
        return spent

    def _do_ticks(self, day: int, people: list[str]) -> float:
        due = [pair for pair in self._ticks if pair[0] <= day][:3]
        spent = 0.0
        for pair in due:
            # ticking off a row of a coarse plan drops what else was to be ticked off in it
            if pair in self._ticks:
                self._ticks.remove(pair)
                self._tick(day, pair[1], people)
                spent += 0.25
        return spent

    def _tick(self, day: int, task: Task, people: list[str] | None = None) -> None:
        """A quarter of an hour of checking a finished task, in which it is ticked off at last."""
        if not task.finished:
            return
        somebody = people or self.traits.crew.builders[0 if self.handed_over is None else -1 :]
        stage, done = self.plan.stages[task.stage], self._row_done(task)
        self._note(day, stage, task, task.type, 0.25, list(somebody[:1]), 0, done=done, rework=task.redone)

    def _work(
        self, day: int, hours: float, people: list[str], helpers: int, taken: Task | None
    ) -> Task | None:
        count = len(people) + helpers
        task = None
        for _ in range(5):
            if hours < 0.3:
                break
            if task is None or self._rng.random() < 0.95 or task.finished:
                task = self.bench.pick(day, count, hours, taken)
            if task is None:
                self.bench.nothing_to_do(day)
                self.presence.idle()
                break
            spent = self._work_at(task, day, hours, people, helpers)
            if task.crew == "one" and len(people) > 1:
                # no room for two: the other takes up something else meanwhile
                self._work(day, spent, people[1:], helpers, task)
            hours -= spent
        return task

    def _work_at(self, task: Task, day: int, hours: float, people: list[str], helpers: int) -> float:
        """Work at one task for up to ``hours`` clock hours; return the hours spent."""
        # helpers at a job for one hold the lamp and are not written down
        if task.crew == "one":
            people, helpers = people[:1], 0
        count = len(people) + helpers
        if task.total is None:
            task.total = self.effort.total(task, day)
            task.remaining = task.total
            self.surprises.found_while(task, day)
        spent_setup = self._primer(task, day)
        needed = task.remaining * self._penalty(count, task) / count + spent_setup
        spent = needed if needed <= hours + 0.25 else hours
        rework = task.ever_finished
        task.worked += spent * count
        task.remaining -= max(0.0, (spent - spent_setup)) * count / self._penalty(count, task)
        task.last_day = day
        self.bench.note_work(task, day)
        finishes = task.remaining <= 1e-6
        if not rework:
            # before the ticking off: who has just seen more to do does not tick the row off
            self.surprises.after_work(task, spent * count, day)
        self._after(task, day, spent, people, helpers, rework, finishes)
        return spent

    def _primer(self, task: Task, day: int) -> float:
        """The first paint of a day has its mixing and cleaning, whatever the size of the task."""
        if task.true_type != "prime" or task.last_day == day:
            return 0.0
        return 0.5 * self.traits.effort.primer_hours

    def _penalty(self, count: int, task: Task) -> float:
        """Person-hours per person-hour of one: the pair's own factor, more for larger groups."""
        if count == 1 or (count == 2 and task.crew == "two"):
            return 1.0
        return self.traits.crew.pair_penalty * (1 + 0.14 * (min(count, 5) - 2))

    def _after(
        self,
        task: Task,
        day: int,
        spent: float,
        people: list[str],
        helpers: int,
        rework: bool,
        finishes: bool,
    ) -> None:
        stage = self.plan.stages[task.stage]
        if finishes:
            task.finished = True
            cleared = self.bench.note_finished(task, day)
            if not task.ever_finished:
                self._planned_done += task.basis if task.original else 0.0
            task.ever_finished = True
            self.surprises.on_finish(task)
            if cleared:
                self.presence.milestone(day)
        late = finishes and self._record_rng.random() < self.traits.records.late_tick
        if late and not any(waiting is task for _, waiting in self._ticks):
            self._ticks.append((day + 2 + int(lognormal(self._record_rng, 20, 0.9)), task))
        done = finishes and not late and self._row_done(task)
        self._note(day, stage, task, task.type, spent, people, helpers, done=done, rework=rework)

    def _row_done(self, task: Task) -> bool:
        """Whether the plan row of a finished task is finished with it."""
        if not self.plan.rows:
            return True
        self._recount()
        return self._rows_open[task.row] == 0

    def _recount(self) -> None:
        if not self.plan.rows:
            return
        self._rows_open = [0] * len(self.plan.rows)
        for tasks in self.bench.open:
            for task in tasks:
                self._rows_open[task.row] += 1

    def _note(
        self,
        day: int,
        stage: str,
        task: Task | None,
        kind: str,
        hours: float,
        people: list[str],
        helpers: int,
        done: bool = False,
        rework: bool = False,
    ) -> None:
        if done and task is not None:
            row = self._row_id(task)
            self._ticks = [(due, other) for due, other in self._ticks if self._row_id(other) != row]
        builders = "+".join(people) + (f"+{helpers}" if helpers else "")
        self.pieces.append(
            Piece(
                date=self.start + timedelta(days=day),
                stage=stage or "other",
                task="" if task is None else self._row_id(task),
                type=kind,
                hours=hours,
                people=len(people) + helpers,
                builders=builders,
                rework=rework,
                done=done,
                percent=self._judged(task),
                pieces=self._counted(task),
            )
        )

    def _row_id(self, task: Task) -> str:
        return f"R{task.row + 1:02d}" if self.plan.rows else task.id

    def _judged(self, task: Task | None) -> float | None:
        """The builder's own judgement of how far the row is: hopeful, to the nearest 5, stuck at 95."""
        r = self.traits.records
        if task is None or not r.percent or self._record_rng.random() > r.percent:
            return None
        if self.plan.rows:
            same = [t for t in self.plan.tasks if t.row == task.row]
            whole = sum(t.basis for t in same)
            part = sum(t.basis * self._part(t) for t in same)
        else:
            whole, part = 1.0, self._part(task)
        share = min(1.0, part / max(whole, 1e-9))
        noisy = share**r.percent_optimism * math.exp(0.05 * self._record_rng.standard_normal())
        return 5.0 * round(min(95.0, 100 * noisy) / 5)

    @staticmethod
    def _part(task: Task) -> float:
        if task.total is None:
            return 0.0
        return 1.0 if task.finished else max(0.0, 1 - task.remaining / task.total)

    def _counted(self, task: Task | None) -> int | None:
        """Pieces finished in this session, where the household counts them."""
        r = self.traits.records
        if task is None or self.plan.rows or task.quantity == 1 or not r.counts:
            return None
        now = int(self._part(task) * task.quantity + 1e-9)
        new, task.counted = max(0, now - task.counted), max(now, task.counted)
        return new if self._record_rng.random() < r.counts else None
