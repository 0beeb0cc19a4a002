"""The kernel: drawn hours and drawn days, walked through the network one event at a time.

Positions and plain arrays only; nothing is drawn here. Each call has
its own scratch arrays, so that calls from several threads do not meet.

Days are counted from the end of `as_of`: day 0 is the first one. Within a day everybody present starts
together and leaves after their own hours; the clock of the day runs from 0 to 1 over the longest presence.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import numpy as np
from numba import njit

from forecast.schedule.desk import (
    ABSENT,
    BLOCKED,
    EITHER,
    IDLE,
    OPEN,
    TINY_HOURS,
    TWO,
    WAKES,
    begin,
    count_free,
    first_free,
    give_back,
    let_go,
    new_desk,
    put,
    take,
    take_limits,
    wake,
)  # fmt: skip


@njit(cache=True, nogil=True)
def play_runs(net, hours, bench, rank, release, only_two, grid, shared_penalty, out):
    """Play every run: hours (run, task), bench (run, day, person), rank (run, day)."""
    desk = new_desk(net, bench.shape[2])
    for run in range(hours.shape[0]):
        begin(net, desk, hours[run], release[run], out, run)
        _play(net, desk, bench[run], rank[run], only_two, grid, shared_penalty, out, run)


@njit
def _play(net, desk, bench, rank, only_two, grid, shared_penalty, out, run):
    """Walk over the days on which somebody is at the bench."""
    stages, people = net.spent.size, bench.shape[1]
    point = 0
    for day in range(bench.shape[0]):
        longest = 0.0
        for k in range(people):
            longest = max(longest, bench[day, k])
        if longest <= 0.0:
            continue
        if desk.counts[OPEN] == 0:
            break
        while point < grid.size and grid[point] <= day:
            for s in range(stages):
                out.hours_done[run, s, point] = desk.stage_done[s]
            point += 1
        _play_day(net, desk, day, longest, bench[day], rank[day], only_two, shared_penalty, out, run)
    for p in range(point, grid.size):
        for s in range(stages):
            out.hours_done[run, s, p] = desk.stage_done[s]


@njit
def _play_day(net, desk, day, longest, hours, rank, only_two, shared_penalty, out, run):
    """One day: pick, work until something happens, pick again, until everybody has gone."""
    people = hours.size
    for k in range(people):
        desk.on[k] = IDLE if hours[k] > 0.0 else ABSENT
        desk.rate[k] = 0.0
    wake(net, desk, float(day))
    stage = _preferred_stage(net, desk, rank, only_two)
    clock = 0.0
    while True:
        _pick(net, desk, stage, only_two, shared_penalty, day + clock / longest, out, run)
        step = _next_event(desk, hours, clock, day, longest)
        if step == np.inf:
            break
        _work(net, desk, step, clock, day, longest, out, run)
        clock += step
        now = day + 1.0 if clock >= longest - TINY_HOURS else day + clock / longest
        for k in range(people):
            if desk.rate[k] > 0.0 and desk.left[desk.on[k]] <= TINY_HOURS:
                _finish(net, desk, desk.on[k], now, out, run)
        here = False
        for k in range(people):
            if desk.on[k] != ABSENT and hours[k] - clock <= TINY_HOURS:
                _leave(net, desk, k)
            here |= desk.on[k] != ABSENT
        if desk.counts[OPEN] == 0:
            for k in range(people):
                out.present[run, k] += min(clock, hours[k])
            return
        if not here:
            break
        wake(net, desk, now)
    for k in range(people):
        out.present[run, k] += hours[k]


@njit
def _preferred_stage(net, desk, rank, only_two):
    """The rank-th of the stages with work to pick up, by their first task; -1 for plain row order."""
    if rank == 0:
        return -1
    tasks = net.stage.size
    hands, helpers = count_free(desk, only_two)
    before, found = -1, -1
    for _ in range(rank + 1):
        best = tasks
        for s in range(net.spent.size):
            first = desk.top[2 * s]
            if hands + helpers > 1:
                first = min(first, desk.top[2 * s + 1])
            if before < first < best:
                best = first
        if best == tasks:
            break
        before = best
        found = net.stage[best]
    return found


@njit
def _pick(net, desk, stage, only_two, shared_penalty, now, out, run):
    """Give work to everybody who has none, in the builder's order of preference."""
    tasks, people = net.stage.size, desk.on.size
    for k in range(people):
        if desk.rate[k] == 0.0 and desk.on[k] >= 0 and net.crew[desk.on[k]] != TWO:
            desk.on[k] = IDLE
        elif desk.rate[k] > 0.0:
            desk.rate[k] = 2.0 if net.crew[desk.on[k]] == TWO else 1.0
    hands, helpers = count_free(desk, only_two)
    while hands > 0:
        i = _choose(desk, stage, hands, helpers, tasks)
        if i == tasks:
            break
        take(net, desk, i)
        if not desk.begun[i]:
            if not take_limits(net, desk, i):
                desk.blocked[desk.counts[BLOCKED]] = i
                desk.counts[BLOCKED] += 1
                continue
            desk.begun[i] = True
        if out.start[run, i] == np.inf:
            out.start[run, i] = now
        k = first_free(desk, only_two, False)
        desk.on[k] = i
        desk.rate[k] = 1.0
        hands -= 1
        if net.crew[i] == TWO:
            desk.rate[k] = 2.0
            desk.on[first_free(desk, only_two, helpers > 0)] = i
            if helpers > 0:
                helpers -= 1
            else:
                hands -= 1
    while hands > 0:
        lead = _first_to_share(net, desk)
        if lead < 0:
            break
        desk.on[first_free(desk, only_two, False)] = desk.on[lead]
        desk.rate[lead] = 2.0 / shared_penalty
        hands -= 1


@njit
def _choose(desk, stage, hands, helpers, tasks):
    """The task to pick up next; `tasks` for none. Who helps only with two-person work goes first."""
    two = hands + helpers > 1
    if helpers > 0:
        if stage >= 0 and desk.top[2 * stage + 1] < tasks:
            return desk.top[2 * stage + 1]
        best = tasks
        for q in range(1, desk.top.size, 2):
            best = min(best, desk.top[q])
        if best < tasks:
            return best
    if stage >= 0:
        best = desk.top[2 * stage]
        if two:
            best = min(best, desk.top[2 * stage + 1])
        if best < tasks:
            return best
    best = tasks
    for q in range(0, desk.top.size, 2):
        best = min(best, desk.top[q])
        if two:
            best = min(best, desk.top[q + 1])
    return best


@njit
def _first_to_share(net, desk):
    """The person whose task a second one may share: the first such task in row order; -1 for none."""
    best = -1
    for k in range(desk.on.size):
        if (
            desk.rate[k] == 1.0
            and net.crew[desk.on[k]] == EITHER
            and (best < 0 or desk.on[k] < desk.on[best])
        ):
            best = k
    return best


@njit
def _next_event(desk, hours, clock, day, longest):
    """Clock hours until a task is finished, somebody at work leaves, or waiting work wakes."""
    step = np.inf
    here = 0.0
    for k in range(hours.size):
        if desk.on[k] == ABSENT:
            continue
        here = max(here, hours[k] - clock)
        if desk.on[k] >= 0:
            step = min(step, hours[k] - clock)
            if desk.rate[k] > 0.0:
                step = min(step, max(desk.left[desk.on[k]], 0.0) / desk.rate[k])
    if desk.counts[WAKES] > 0 and desk.wake_at[0] < day + 1.0:
        wait = max((desk.wake_at[0] - day) * longest - clock, 0.0)
        if wait < here:
            step = min(step, wait)
    return step


@njit
def _work(net, desk, step, clock, day, longest, out, run):
    """Everybody works for `step` hours; notes the moments at which nine tenths are done."""
    people, stages = desk.on.size, net.spent.size
    total = 0.0
    for k in range(people):
        if desk.on[k] >= 0:
            out.worked[run, k] += step
        if desk.rate[k] > 0.0:
            done = desk.rate[k] * step
            desk.left[desk.on[k]] -= done
            desk.stage_done[net.stage[desk.on[k]]] += done
            total += desk.rate[k]
    desk.stage_done[stages] += total * step
    for k in range(people):
        if desk.rate[k] > 0.0:
            s = net.stage[desk.on[k]]
            over = desk.stage_done[s] - desk.stage_need[s]
            if over >= 0.0 and out.stage_first_90[run, s] == np.inf:
                together = 0.0
                for other in range(people):
                    if desk.rate[other] > 0.0 and net.stage[desk.on[other]] == s:
                        together += desk.rate[other]
                out.stage_first_90[run, s] = day + (clock + step - over / together) / longest
    over = desk.stage_done[stages] - desk.stage_need[stages]
    if over >= 0.0 and out.build_first_90[run] == np.inf:
        out.build_first_90[run] = day + (clock + step - over / total) / longest


@njit
def _finish(net, desk, i, now, out, run):
    """Task i is finished: hands, limits and followers are let go."""
    for k in range(desk.on.size):
        if desk.on[k] == i:
            desk.on[k] = IDLE
            desk.rate[k] = 0.0
    s = net.stage[i]
    out.finish[run, i] = now
    desk.stage_open[s] -= 1
    desk.counts[OPEN] -= 1
    if desk.stage_open[s] == 0:
        out.stage_finish[run, s] = now
        out.stage_first_90[run, s] = min(out.stage_first_90[run, s], now)
    if desk.counts[OPEN] == 0:
        out.build_finish[run] = now
        out.build_first_90[run] = min(out.build_first_90[run], now)
    give_back(net, desk, i, out, run)
    for p in range(net.follow_at[i], net.follow_at[i + 1]):
        j = net.follow[p]
        desk.ready_at[j] = max(desk.ready_at[j], now + net.hold[i])
        desk.waits[j] -= 1
        if desk.waits[j] == 0:
            let_go(net, desk, j, now)


@njit
def _leave(net, desk, k):
    """Person k goes home; what they were alone on, or two were needed for, stays as it is."""
    i = desk.on[k]
    desk.on[k] = ABSENT
    desk.rate[k] = 0.0
    if i < 0:
        return
    for other in range(desk.on.size):
        if desk.on[other] == i:
            if net.crew[i] == TWO:
                desk.on[other] = IDLE
                desk.rate[other] = 0.0
                break
            desk.rate[other] = 1.0
            return
    put(net, desk, i)
