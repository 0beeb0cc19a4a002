"""The rules of the schedule as a discrete-event simulation with simpy: check and yardstick of the kernel.

Nothing but the `Network` is shared with the kernel. Every task, every person's day and every stretch of work
is a process of its own; after each event, work is assigned to whoever is free.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import simpy

from forecast.simulate.network import Network
from forecast.simulate.network.records import EITHER, ROW_ORDER, TWO

_NEW_DAY, _ASSIGN = 2, 3  # priorities: after every other event at the same time (priority 1)


@dataclass
class SimulatedRun:
    """The outcome of one run; days after `as_of`."""

    start: np.ndarray
    finish: np.ndarray
    worked_hours: np.ndarray
    stretches: list[tuple[int, float, float, float]]  # stage, from, to, person-hours

    def first_90(self, spent: float, left: float, stage: int | None = None) -> float:
        """The day on which 90 % of all hours are done."""
        need = 0.9 * (spent + left) - spent
        mine = [s for s in self.stretches if stage is None or s[0] == stage]
        if need <= 0:
            return 0.0
        times = np.unique([t for _, begin, end, _ in mine for t in (begin, end)])
        done = np.zeros(len(times))
        for _, begin, end, hours in mine:
            done += hours * np.clip((times - begin) / (end - begin), 0, 1)
        return float(np.interp(need, done, times)) if len(times) and done[-1] >= need else np.inf


def play_once(
    network: Network, hours, bench, stage_rank, release, only_two, shared_penalty=1.0, *, on_call=None,
    call_after_days=np.inf, idle_call_after_days=np.inf, lends=None, expected_hours=None,
    reopening_hours=None, reopening_after_hours=None,
) -> SimulatedRun:  # fmt: skip
    """Simulate one run; arguments are those of `simulate_schedule`, each without its first axis."""
    env = simpy.Environment()
    shop = _Shop(env, network, hours, bench, stage_rank, release, only_two, shared_penalty)
    shop.on_call = [k for k, called in enumerate(on_call if on_call is not None else ()) if called]
    shop.call_after_days, shop.idle_call_after_days = (
        call_after_days,
        min(call_after_days, idle_call_after_days),
    )
    shop.lends = {k for k, lent in enumerate(lends if lends is not None else ()) if lent}
    if expected_hours is not None:
        shop.expected = [float(h) for h in expected_hours]
    if reopening_hours is not None:
        shop.rework = {
            i: (float(h), float(reopening_after_hours[i])) for i, h in enumerate(reopening_hours) if h > 0
        }
        for i, (h, _) in shop.rework.items():
            shop.left[i] -= h
    env.run(until=len(bench) + 1)
    return SimulatedRun(
        shop.start, np.where(shop.finish_is_last, shop.finish, np.inf), shop.worked, shop.stretches
    )


class _Shop:
    def __init__(self, env, network, hours, bench, stage_rank, release, only_two, shared_penalty):
        self.env, self.network, self.penalty = env, network, shared_penalty
        self.left = [float(h) for h in hours]
        self.bench, self.stage_rank, self.only_two = np.asarray(bench, np.float32), stage_rank, only_two
        count = len(self.left)
        self.uses, self.needs = network.uses or ((),) * count, network.needs or ((),) * count
        self.start, self.finish = np.full(count, np.inf), np.full(count, np.inf)
        self.finish_is_last = np.ones(count, dtype=bool)
        self.worked, self.stretches = np.zeros(self.bench.shape[1]), []
        self.done = [env.event() for _ in range(count)]
        self.ready, self.waiting_for_limit, self.ready_since = set(), set(), {}
        self.on_call, self.lends, self.eager, self.for_two = [], set(), set(), set()
        self.call_after_days = self.idle_call_after_days = np.inf
        self.rework, self.reopened, self.not_before = {}, set(), np.zeros(count)
        self.found_at: dict[int, float] = {}  # finished task -> person-hours at which its rework is found
        self.running: dict[int, tuple[float, float]] = {}  # task -> since when, person-hours per day
        self.last_worked = -np.asarray(network.idle_days, dtype=float)
        self.expected, self.paths, self.came = None, {}, np.zeros(self.bench.shape[1])
        self.begun = {i for i in range(count) if network.under_way[i]}
        self.in_use = [0.0] * len(network.limits)
        for i in self.begun:
            self._hold_limits(i)
        for limit, amount, _ in network.still_used:
            self.in_use[limit] += amount
        self.crew: dict[int, list[int]] = {}  # task -> people on it, the one who carries it on first
        self.there: set[int] = set()
        self.jobs: list[simpy.Process] = []
        self.longest, self.first_stage, self.new_day_rank, self.requested = 1.0, None, None, False
        for i in range(count):
            env.process(self._wait_for_turn(i, release))
        env.process(self._days())

    def _wait_for_turn(self, i, release):
        after = self.network.after[i]
        yield self.env.all_of([self.done[p] for p in after])
        times = [self.network.earliest_days[i]]
        times += [self.finish[p] + self.network.hold_days[p] for p in after]
        times += [release[d] for d in self.needs[i]]
        if max(times) == np.inf:
            return
        if max(times) > self.env.now:
            yield self.env.timeout(max(times) - self.env.now)
        self.ready.add(i)
        self.ready_since[i] = max(times) or -self.network.waited_days[i]
        self._request_assignment()

    def _days(self):
        for day, hours in enumerate(self.bench):
            yield self._later(day, _NEW_DAY)
            if hours.max() <= 0:
                continue
            self.longest = float(hours.max())
            self.eager = {k for k, only in enumerate(self.only_two) if only}
            if self._help_is_called_in(day):
                called = [k for k in self.on_call if hours[k] <= 0]
                self.eager.update(called)
                hours = hours.copy()
                hours[called] = self.longest
            self.for_two = self.eager | self.lends
            self.there = {k for k in range(len(hours)) if hours[k] > 0}
            self.came += hours
            self.new_day_rank = self.stage_rank[day]
            for k in self.there:
                self.env.process(self._go_home(k, day + float(hours[k]) / self.longest))
            self._request_assignment()

    def _available_tasks(self):
        """Ready tasks that do not wait for a reopened predecessor."""
        return [
            i
            for i in self.ready
            if i in self.begun
            or (self.env.now >= self.not_before[i] - 1e-9 and not self.reopened & set(self.network.after[i]))
        ]

    def _help_is_called_in(self, day):
        ready = self._available_tasks()
        for_two = sorted(i for i in ready if self.network.crew[i] == TWO)
        wait = self.call_after_days if len(for_two) < len(ready) else self.idle_call_after_days
        return bool(for_two) and self.ready_since[for_two[0]] + wait <= day

    def _later(self, time, priority):
        event = self.env.event()
        event._ok, event._value = True, None
        self.env.schedule(event, priority=priority, delay=max(time - self.env.now, 0))
        return event

    def _go_home(self, k, time):
        yield self.env.timeout(time - self.env.now)
        self._stop_work()
        self.there.discard(k)
        for i, people in list(self.crew.items()):
            if k in people:
                people.remove(k)
                if not people or self.network.crew[i] == TWO or self.lends.issuperset(people):
                    del self.crew[i]
                    self.ready.add(i)
        self._request_assignment()

    def _request_assignment(self):
        """Assign work once, after every other event at this time."""
        if not self.requested:
            self.requested = True
            self.env.process(self._assign())

    def _assign(self):
        yield self._later(self.env.now, _ASSIGN)
        self.requested = False
        self._stop_work()
        self._find_rework()
        for i, people in self.crew.items():
            if len(people) == 2 and self.network.crew[i] != TWO:
                people.pop()
        if self.new_day_rank is not None:
            self.first_stage = self._preferred_stage(self.new_day_rank)
            self.new_day_rank = None
        while self._assign_one():
            pass
        self._share()
        self.jobs = [self.env.process(self._work(i, tuple(people))) for i, people in self.crew.items()]

    def _free(self):
        busy = {k for people in self.crew.values() for k in people}
        free = sorted(self.there - busy)
        return [k for k in free if k not in self.for_two], [k for k in free if k in self.for_two]

    def _preferred_stage(self, rank):
        """The stage of this rank by recency, the most recent one if there are fewer; None = row order."""
        if rank == ROW_ORDER:
            return None
        hands, helpers = self._free()
        enough = len(hands) + len(helpers) > 1
        stages = self._by_recency(i for i in self._available_tasks() if self.network.crew[i] != TWO or enough)
        return stages[rank if rank < len(stages) else 0] if stages else None

    def _by_recency(self, tasks):
        """Stages of the tasks, the one worked on last first; those not begun in the order of their tasks."""
        first = {}
        for i in sorted(tasks):
            first.setdefault(int(self.network.stage[i]), i)
        return sorted(first, key=lambda s: (-self.last_worked[s], first[s]))

    def _assign_one(self):
        hands, helpers = self._free()
        if not hands:
            return False
        enough = len(hands) + len(helpers) > 1
        can = [i for i in self._available_tasks() if self.network.crew[i] != TWO or enough]
        if not can:
            return False

        order = self._by_recency(can) if self.first_stage is not None else []

        def preference(i):
            for_helper = bool(self.eager & set(helpers)) and self.network.crew[i] == TWO
            stage = int(self.network.stage[i])
            recency = order.index(stage) if order and not for_helper else 0
            return (not for_helper, stage != self.first_stage, recency, i)

        i = min(can, key=preference)
        if self.expected and self.network.crew[i] != TWO:
            shared = self._task_worth_sharing(i)
            if shared is not None:
                self.crew[shared].append(hands[0])
                return True
        self.ready.remove(i)
        if i not in self.begun:
            if not self._limits_allow(i):
                self.waiting_for_limit.add(i)
                return True
            self.begun.add(i)
            self._hold_limits(i)
        people = [hands[0]]
        if self.network.crew[i] == TWO:
            people.append(helpers[0] if helpers else hands[1])
        self.crew[i] = people
        self.start[i] = min(self.start[i], self.env.now)
        self.last_worked[self.network.stage[i]] = self.env.now
        return True

    def _task_worth_sharing(self, instead):
        """The task of somebody alone that a second person should share rather than start `instead`."""
        alone = [i for i in self.crew if len(self.crew[i]) == 1 and self.network.crew[i] == EITHER]
        if not alone:
            return None
        task = max(alone, key=lambda i: (self._path(i), -self.crew[i][0]))
        can_wait = self._path(instead) <= self._path(task) - self.expected[task]
        work = sum(h for i, h in enumerate(self.expected) if np.isinf(self.finish[i]))
        work += (self.penalty - 1) * self.expected[task]
        lent = [only or k in self.lends for k, only in enumerate(self.only_two)]
        came = [c for c, apart in zip(self.came, lent, strict=True) if not apart]
        return task if can_wait and self._path(task) * sum(came) > work * max(came) else None

    def _path(self, i):
        """Expected hours of the longest path from task i."""
        if i not in self.paths:
            follow = [self._path(j) for j, after in enumerate(self.network.after) if i in after]
            half = 0.5 if self.network.crew[i] == TWO else 1.0
            self.paths[i] = half * self.expected[i] + max(follow, default=0.0)
        return self.paths[i]

    def _share(self):
        hands, helpers = self._free()
        for k in [*hands, *(k for k in helpers if k in self.lends)]:
            alone = [i for i in self.crew if len(self.crew[i]) == 1 and self.network.crew[i] == EITHER]
            if alone:
                self.crew[min(alone)].append(k)

    def _work(self, i, people):
        shared = len(people) == 2 and self.network.crew[i] != TWO
        rate = (
            len(people) / (self.penalty if shared else 1.0) * self.longest
        )  # person-hours a day of this length
        begin = self.env.now
        self.running[i] = (begin, rate)
        try:
            yield self.env.timeout(max(self.left[i], 0.0) / rate)
            finished = True
        except simpy.Interrupt:
            finished = False
        passed = self.env.now - begin
        if self.running.get(i) == (begin, rate):
            del self.running[i]
        for k in people:
            self.worked[k] += passed * self.longest
        if passed > 0:
            self.stretches.append((int(self.network.stage[i]), begin, self.env.now, passed * rate))
        self.left[i] -= passed * rate
        if finished or self.left[i] <= 1e-9:
            self._finish(i)

    def _stop_work(self):
        jobs, self.jobs = self.jobs, []
        for job in jobs:
            if job.is_alive:
                job.interrupt()

    def _finish(self, i):
        self.crew.pop(i, None)
        self.ready.discard(i)
        self.finish[i] = self.env.now
        if i in self.reopened:
            self.env.process(self._finish_rework(i))
            return
        if i in self.rework:
            self.finish_is_last[i] = False
            self.found_at[i] = self._hours_worked() + self.rework[i][1]
        freed = False
        for j, uses in enumerate(self.uses):
            for limit, amount, until in uses:
                if i in (j, until):
                    freed = True
                    if np.isfinite(self.finish[j]) and np.isfinite(self.finish[until]):
                        self.in_use[limit] -= amount
        for limit, amount, until in self.network.still_used:
            if until == i:
                freed = True
                self.in_use[limit] -= amount
        if freed:
            self.ready |= self.waiting_for_limit
            self.ready_since.update(dict.fromkeys(self.waiting_for_limit, self.env.now))
            self.waiting_for_limit.clear()
        self.done[i].succeed()
        self._request_assignment()

    def _hours_worked(self):
        """Person-hours of progress so far, those of the work under way included."""
        under_way = sum((self.env.now - begin) * rate for begin, rate in self.running.values())
        return sum(hours for *_, hours in self.stretches) + under_way

    def _find_rework(self):
        """Reopen what is found by now: after its hours, and all of it when nothing else is left to do."""
        nothing_else = np.isfinite(self.finish).all() and not self.reopened
        for i, hours in list(self.found_at.items()):
            if nothing_else or self._hours_worked() >= hours - 1e-9:
                del self.found_at[i]
                self._reopen(i)

    def _reopen(self, i):
        self.left[i] = self.rework[i][0]
        self.reopened.add(i)
        self.ready.add(i)
        self.ready_since[i] = self.env.now

    def _next_presence(self, time):
        """Rework starts to wait when somebody is at the bench: now, or on the next day with anybody there."""
        days = [d for d in range(int(time), len(self.bench)) if self.bench[d].max() > 0]
        return max(time, float(days[0])) if days else np.inf

    def _finish_rework(self, i):
        self.reopened.discard(i)
        self.finish_is_last[i] = True
        hold = self.network.hold_days[i]
        for j, after in enumerate(self.network.after):
            if i in after and j not in self.begun:
                self.not_before[j] = max(self.not_before[j], self.env.now + hold)
                self.ready_since[j] = max(self.ready_since.get(j, 0.0), self.env.now + hold)
        self._request_assignment()
        yield self.env.timeout(hold)
        self._request_assignment()

    def _limits_allow(self, i):
        wanted = [0.0] * len(self.in_use)
        for limit, amount, _ in self.uses[i]:
            wanted[limit] += amount
        return all(
            a == 0 or h + a <= x.amount * (1 + 1e-9)
            for h, a, x in zip(self.in_use, wanted, self.network.limits, strict=True)
        )

    def _hold_limits(self, i):
        for limit, amount, _ in self.uses[i]:
            self.in_use[limit] += amount
