"""The simulation of one build: whoever is there takes ready tasks, a quarter-hour at a time.

It walks over days and shares no code with the forecasting kernel: work comes in quarter-hours, rework is
found days later, tasks are added during the build, a builder now and then starts another task than the next.
It obeys the rules of the plan: predecessors, holds, deliveries, crews, limits.
"""

from __future__ import annotations

from bisect import insort
from heapq import heappop, heappush
from itertools import chain
from math import ceil

import numpy as np

from benchmarks.invented.workshop.job import OUTSIDE, Job, Row, Rules, counts_pieces, format_percent
from benchmarks.invented.workshop.number_stream import NumberStream
from benchmarks.invented.workshop.presence import HELPER, QUARTERS, TwoPersonWork
from benchmarks.invented.workshop.supplies import Supplies
from benchmarks.invented.workshop.totals import Totals, TrueTask

WAITING, READY, UNDER_WAY, DONE = range(4)
_REPORTED_FROM = 6 * QUARTERS  # shorter tasks are finished before anybody reports on them: judgement


class Workshop:
    """The state of the work, from the first day on; days are ordinals.

    Attributes
    ----------
    status, left, spent, rework_spent : per task: its status, person-quarter-hours left (drawn when it is
        started), spent on it, and spent on its rework
    rows : the log, when `logs_rows`
    added : (day, task, type, stage, base hours) of the tasks added during the build
    stage_last : per stage, the last day on which one of its tasks was finished
    """

    def __init__(self, rules: Rules, totals: Totals) -> None:
        self.rules, self.totals = rules, totals
        tasks = rules.plan.tasks
        place = {t.task: i for i, t in enumerate(tasks)}
        stages = rules.plan.stages
        self.stage = [stages.index(t.stage) for t in tasks]
        self.crew = [t.crew for t in tasks]
        self.place = [float(i) for i in range(len(tasks))]
        self.hold = [ceil(t.hold_days) for t in tasks]
        self.followers: list[list[int]] = [[] for _ in tasks]
        self.blocked = [len(t.after) for t in tasks]
        for i, t in enumerate(tasks):
            for a in t.after:
                self.followers[place[a]].append(i)
        self.uses = [[(u.limit, u.amount, place[u.until or t.task]) for u in t.uses] for t in tasks]
        self.available = {x.id: x.amount for x in rules.limits}
        self.in_use: list[tuple[str, float, int]] = []
        self.status = [WAITING] * len(tasks)
        self.left = [0.0] * len(tasks)
        self.spent, self.rework_spent = [0] * len(tasks), [0] * len(tasks)
        self.reported, self.reported_at = [0.0] * len(tasks), [0] * len(tasks)
        self.counted = [0] * len(tasks)
        self.ready: list[list[tuple[float, int]]] = [[] for _ in stages]
        self.stage_open = [self.stage.count(s) for s in range(len(stages))]
        self.stage_size = list(self.stage_open)
        self.stage_last = [0] * len(stages)
        self.releases: list[tuple[int, int]] = []
        self.faults: list[tuple[int, int, int]] = []
        self.rework: list[tuple[int, int]] = []
        self.outside_left, self.outside_spent, self.planned_spent = 0, 0, 0
        self.rank = 0
        self.rows: list[Row] = []
        self.logs_rows = True
        self.added: list[tuple[int, int, str, int, float]] = []
        self.supplies = Supplies(rules.plan, rules.deliveries, rules.order.order_ahead)
        for i in chain.from_iterable(self.supplies.waiting.values()):
            self.blocked[i] += 1
        for i, count in enumerate(self.blocked):
            if count == 0:
                self._make_ready(i)

    def copy(self) -> Workshop:
        """The same work in the same state, to be simulated apart, without log rows."""
        new = object.__new__(Workshop)
        new.__dict__.update(self.__dict__)
        new.totals, new.supplies = self.totals.copy(), self.supplies.copy()
        for name, value in self.__dict__.items():
            if isinstance(value, list | dict):
                setattr(new, name, value.copy())
        new.ready = [r.copy() for r in self.ready]
        new.rows, new.logs_rows = [], False
        return new

    def redraw(self, rng: np.random.Generator, today: int) -> None:
        """Replace every random number that no day up to today has used, except of faults not found yet."""
        residuals, order, beyond, rework, under_way = rng.spawn(5)
        self.totals.redraw(residuals)
        self.numbers = NumberStream(order)
        self.beyond_numbers = NumberStream(beyond)
        self.rework_of = self._draw_rework(rework)
        b = self.rules.beyond
        self.outside_at = self._next(b.outside_per_hour)
        self.added_at = self._next(b.added_per_hour)
        for i, status in enumerate(self.status):
            if status == UNDER_WAY and self.left[i] > 1e-9:
                total = self.totals.redraw_total(
                    i, self.spent[i] / QUARTERS, self.reported[i], self.reported_at[i] / QUARTERS,
                    self.rules.reports, under_way,
                )  # fmt: skip
                self.left[i] = max(round(total * QUARTERS) - self.spent[i], 1)
        self.supplies.redraw(today, self.numbers)

    @property
    def finished(self) -> bool:
        """No task and no rework is left."""
        return not any(self.stage_open) and not self.rework and not self.faults

    def two_person_work(self) -> TwoPersonWork:
        """Whether two-person work is ready, and whether nothing else is."""
        two = [self.crew[i] == "two" for stage in self.ready for _, i in stage]
        if not any(two):
            return TwoPersonWork.NONE
        return TwoPersonWork.ONLY if all(two) and not self.rework else TwoPersonWork.SOME

    def work_day(self, day: int, here: dict[str, int]) -> None:
        """Simulate one day on which `here` come, each for so many quarter-hours."""
        self._start_day(day)
        self._choose_stage()
        time = 0
        jobs: list[Job] = []
        rows: dict[tuple[object, ...], Row] = {}
        while here:
            self._assign(jobs, here, day)
            if not jobs:
                break
            step = min(min(here.values()) - time, *(self._quarters_left(j) for j in jobs))
            for job in jobs:
                self._work(job, step, day, rows)
            time += step
            jobs = [j for j in jobs if not self._over(j, day, rows)]
            gone = {p for p, quarters in here.items() if quarters <= time}
            here = {p: q for p, q in here.items() if p not in gone}
            jobs = [rest for j in jobs if (rest := self._without(j, gone)) is not None]
        if self.logs_rows:
            self._close_day(rows)

    def _start_day(self, day: int) -> None:
        while self.releases and self.releases[0][0] <= day:
            self._unblock(heappop(self.releases)[1])
        while self.faults and self.faults[0][0] <= day:
            _, task, quarters = heappop(self.faults)
            self.rework.append((task, quarters))
        for task in self.supplies.advance(day, self._share_done, self.numbers):
            self._unblock(task)

    def _share_done(self, stage: int) -> float:
        return 1.0 - self.stage_open[stage] / max(self.stage_size[stage], 1)

    def _unblock(self, task: int) -> None:
        self.blocked[task] -= 1
        if self.blocked[task] == 0:
            self._make_ready(task)

    def _make_ready(self, task: int) -> None:
        self.status[task] = READY
        insort(self.ready[self.stage[task]], (self.place[task], task))

    def _choose_stage(self) -> None:
        order = self.rules.order
        sticks, ahead, further = (self.numbers.uniform() for _ in range(3))
        if sticks >= order.stick:
            self.rank = 0 if ahead >= order.run_ahead else 1 if further < 0.8 else 2
        self.offset = 1 if self.numbers.uniform() < order.wander else 0

    def _candidates(self) -> list[int]:
        """Ready tasks in order of preference: the day's stage first, tasks under way first."""
        open_stages = [s for s, ready in enumerate(self.ready) if ready]
        if not open_stages:
            return []
        first = open_stages[min(self.rank, len(open_stages) - 1)]
        out = []
        for s in (first, *(s for s in open_stages if s != first)):
            tasks = [i for _, i in self.ready[s]]
            begun = [i for i in tasks if self.status[i] == UNDER_WAY]
            fresh = [i for i in tasks if self.status[i] == READY]
            if self.offset and len(fresh) > 1:
                fresh[0], fresh[1] = fresh[1], fresh[0]
            out += begun + fresh
        return out

    def _assign(self, jobs: list[Job], here: dict[str, int], day: int) -> None:
        busy = {p for j in jobs for p in j.people}
        idle = [p for p in here if p not in busy and p != HELPER]
        helper = HELPER in here and HELPER not in busy
        if not idle and not helper:
            return
        if idle and self.rework and not any(j.rework for j in jobs):
            jobs.append(Job(self.rework[0][0], [idle.pop(0)], rework=True))
        if idle and self.outside_left > 0 and not any(j.task == OUTSIDE for j in jobs):
            jobs.append(Job(OUTSIDE, [idle.pop(0)]))
        if idle:
            taken = {j.task for j in jobs}
            for task in self._candidates():
                if not idle:
                    break
                if task in taken or not self._fits(task):
                    continue
                crew = self.crew[task]
                if crew == "two" and len(idle) + helper < 2:
                    continue
                people = [idle.pop(0)]
                if crew == "two" and not helper:
                    people.append(idle.pop(0))
                elif crew != "one" and helper:
                    people.append(HELPER)
                    helper = False
                self._start(task, day)
                jobs.append(Job(task, people))
        if helper:
            idle.append(HELPER)
        for person in idle:
            for job in jobs:
                if not job.rework and job.task != OUTSIDE and len(job.people) == 1 and (
                    self.crew[job.task] == "either"
                ):  # fmt: skip
                    job.people.append(person)
                    break

    def _fits(self, task: int) -> bool:
        return self.status[task] == UNDER_WAY or all(self.available[x] >= n for x, n, _ in self.uses[task])

    def _start(self, task: int, day: int) -> None:
        if self.status[task] == UNDER_WAY:
            return
        self.status[task] = UNDER_WAY
        for x, amount, until in self.uses[task]:
            self.available[x] -= amount
            self.in_use.append((x, amount, until))
        hours = self.totals.begin(task)
        step = 1 if hours < 1.0 else 2
        self.left[task] = float(max(round(hours * QUARTERS / step) * step, 1))

    def _rate(self, job: Job) -> float:
        if job.rework or job.task == OUTSIDE or len(job.people) == 1:
            return float(len(job.people))
        if self.crew[job.task] == "two":
            return 2.0
        return 2.0 / self.totals.effort.shared_penalty

    def _quarters_left(self, job: Job) -> int:
        if job.task == OUTSIDE:
            return max(self.outside_left, 1)
        left = self.rework[0][1] if job.rework else self.left[job.task]
        return max(ceil(left / self._rate(job) - 1e-9), 1)

    def _work(self, job: Job, step: int, day: int, rows: dict[tuple[object, ...], Row]) -> None:
        people = tuple(sorted(job.people))
        spent = step * len(people)
        if job.task == OUTSIDE:
            self.outside_left -= step
            self.outside_spent += spent
        elif job.rework:
            task, left = self.rework[0]
            self.rework[0] = (task, left - spent)
            self.rework_spent[task] += spent
        else:
            self.left[job.task] -= step * self._rate(job)
            self.spent[job.task] += spent
        if job.task != OUTSIDE:
            self._count_planned(spent, job, day)
        key = (job.task, people, job.rework)
        if key not in rows:
            rows[key] = Row(day, job.task, people, rework=job.rework)
        rows[key].quarters += step

    def _count_planned(self, spent: int, job: Job, day: int) -> None:
        self.planned_spent += spent
        hours = self.planned_spent / QUARTERS
        b = self.rules.beyond
        while hours >= self.outside_at:
            self.outside_left += max(round(2 * self.beyond_numbers.gamma(1.5, b.outside_hours)) * 2, 1)
            self.outside_at += self._step(b.outside_per_hour)
        while hours >= self.added_at:
            self._add_task(job.task, day)
            self.added_at += self._step(b.added_per_hour)

    def _over(self, job: Job, day: int, rows: dict[tuple[object, ...], Row]) -> bool:
        if job.task == OUTSIDE:
            return self.outside_left <= 0
        row = rows[(job.task, tuple(sorted(job.people)), job.rework)]
        if job.rework:
            if self.rework[0][1] > 0:
                return False
            task, _ = self.rework.pop(0)
            row.done = True
            if self.status[task] != DONE:
                self._finish(task, day)
            self.stage_last[self.stage[task]] = max(self.stage_last[self.stage[task]], day)
            return True
        if self.left[job.task] > 1e-9:
            return False
        task = job.task
        redo, later = self.rework_of[task]
        self._leave_ready(task)
        if redo and not later:
            self.rework.append((task, redo))
            return True
        row.done = True
        self._finish(task, day)
        if redo:
            heappush(self.faults, (day + later, task, redo))
        return True

    def _leave_ready(self, task: int) -> None:
        self.ready[self.stage[task]].remove((self.place[task], task))

    def _finish(self, task: int, day: int) -> None:
        self.status[task] = DONE
        s = self.stage[task]
        self.stage_open[s] -= 1
        self.stage_last[s] = max(self.stage_last[s], day)
        for x, amount, until in self.in_use:
            if until == task:
                self.available[x] += amount
        self.in_use = [h for h in self.in_use if h[2] != task]
        for follower in self.followers[task]:
            if self.hold[task]:
                heappush(self.releases, (day + 1 + self.hold[task], follower))
            else:
                self._unblock(follower)

    def _without(self, job: Job, gone: set[str]) -> Job | None:
        """The job without those who left; a helper alone, or one of two, cannot continue."""
        people = [p for p in job.people if p not in gone]
        named = [p for p in people if p != HELPER]
        if not named or (not job.rework and job.task != OUTSIDE and self.crew[job.task] == "two" and
                         len(people) < 2):  # fmt: skip
            return None
        return Job(job.task, people, job.rework)

    def _close_day(self, rows: dict[tuple[object, ...], Row]) -> None:
        """Log the day's rows, finishing ones last, with reports and counts on unfinished tasks."""
        last_of: dict[int, Row] = {}
        for row in rows.values():
            if row.task != OUTSIDE and not row.rework:
                last_of[row.task] = row
        for task, row in last_of.items():
            self._report(task, row)
        self.rows += sorted(rows.values(), key=lambda row: row.done)

    def _report(self, task: int, row: Row) -> None:
        reports, over = self.rules.reports, self.left[task] <= 1e-9
        total = self.spent[task] + max(self.left[task], 0.0)
        share = self.spent[task] / total
        if counts_pieces(task, reports) and self.totals.quantity[task] > 1:
            pieces = self.totals.pieces_done(task, 1.0 if over else share)
            if pieces > self.counted[task]:
                row.pieces = pieces - self.counted[task]
                self.counted[task] = pieces
        if not over and total >= _REPORTED_FROM and self.numbers.uniform() < reports.percent_chance:
            row.percent = max(format_percent(share, reports, self.numbers), round(100 * self.reported[task]))
            self.reported[task], self.reported_at[task] = row.percent / 100.0, self.spent[task]

    def _next(self, per_hour: float) -> float:
        return self.planned_spent / QUARTERS + self._step(per_hour)

    def _step(self, per_hour: float) -> float:
        return self.beyond_numbers.exponential(1.0 / per_hour) if per_hour > 0 else float("inf")

    def _draw_rework(self, rng: np.random.Generator) -> list[tuple[int, int]]:
        """Per task: (quarter-hours of rework, days until it is found; 0 = at once); (0, 0) for most."""
        b, count = self.rules.beyond, len(self.status)
        redone = rng.random(count) < b.rework_chance
        share = b.rework_share * np.exp(b.rework_log_sd * rng.standard_normal(count))
        later = np.where(rng.random(count) < b.rework_later_chance, rng.integers(2, 40, count), 0)
        typical = np.exp(np.array(self.totals.mean))
        quarters = np.where(redone, np.maximum(np.round(share * typical * 2) * 2, 2), 0).astype(int)
        return list(zip(quarters.tolist(), later.tolist(), strict=True))

    def _add_task(self, near: int, day: int) -> None:
        """Add a task that is missing in the plan, right after the one that showed the need."""
        b, number = self.rules.beyond, len(self.status)
        base = max(round(4 * self.beyond_numbers.gamma(1.5, b.added_hours)) / 4, 0.5)
        kind, stage = self.totals.kinds[near], self.stage[near]
        self.totals.add(TrueTask(task=f"+{number}", type=kind, base_hours=base, quantity=1))
        self.stage.append(stage)
        self.crew.append("either")
        self.place.append(self.place[near] + 0.001 * (1 + len(self.added)))
        self.hold.append(0)
        self.followers.append([])
        self.uses.append([])
        for counts in (self.blocked, self.spent, self.rework_spent, self.reported_at, self.counted):
            counts.append(0)
        self.left.append(0.0)
        self.reported.append(0.0)
        self.status.append(WAITING)
        self.rework_of.append((0, 0))
        self.stage_open[stage] += 1
        self.stage_size[stage] += 1
        self.added.append((day, number, kind, stage, base))
        self._make_ready(number)
