"""The kernel: drawn hours and drawn days, walked through the network one event at a time.

Compiled code: positions and records only; nothing is drawn here. Each call works on records of its own, so
that calls from several threads do not meet. Days are counted from the end of `as_of`: day 0 is the first
one. Within a day everybody present starts together and leaves after their own hours; the day's clock
runs from 0 to 1 over the longest presence.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np

from forecast.compiled import compile_cached
from forecast.simulate.network.dispatch import arrive, finish_work, leave, pick, preferred_stage, smallest
from forecast.simulate.network.ready_queues import (
    EMPTY,
    TINY,
    apart,
    compiled,
    drop,
    empty_queues,
    give_back,
    let_go,
    next_awake,
    put,
    set_alarm,
    stands_ready,
)
from forecast.simulate.network.records import (
    CAUSE_AFTER,
    CAUSE_DELIVERY,
    CAUSE_HOLD,
    CAUSE_START,
    LACKS_DAYS,
    LACKS_DELIVERY,
    LACKS_LIMIT,
    LACKS_NOTHING,
    LACKS_TWO,
    NOBODY,
)

_NINE_TENTHS = 0.9
_OTHER_FILES = ("ready_queues.py", "dispatch.py", "records.py")


@apart
def _begin(net, hours, release, again, reopening_after_days):
    """Set everything to the end of `as_of`."""
    empty_queues(net)
    state = net.state[0]
    state.open, state.alarms, state.blocked, state.stints = net.tasks.size, 0, 0, 0
    state.last_task, state.done, state.need, state.sharing, state.ahead = NOBODY, 0.0, 0.0, 0, 0.0
    for s in range(net.stages.size):
        stage = net.stages[s]
        stage.done, stage.need, stage.open = 0.0, 0.0, 0
    for limit in range(net.limits.size):
        net.limits[limit].held = net.limits[limit].held_first
    for k in range(net.people.size):
        person = net.people[k]
        person.worked, person.present, person.busy_until, person.stint = 0.0, 0.0, -1.0, NOBODY
        person.stage = 0
    for i in range(net.tasks.size):
        stage = net.stages[net.tasks[i].stage]
        stage.open += 1
        stage.need += hours[i]
        state.need += hours[i]
        state.ahead += net.details[i].expected
        _begin_task(net, i, hours[i], release)
        if again.size > 0 and again[i] > 0.0:
            net.tasks[i].left -= again[i]
            net.details[i].again, net.details[i].reopening_after_days = again[i], reopening_after_days[i]
    state.need = _NINE_TENTHS * (state.spent + state.need) - state.spent
    state.finish = np.inf if state.open > 0 else 0.0
    state.first_90 = np.inf if state.open > 0 and state.need > 0.0 else 0.0
    for s in range(net.stages.size):
        stage = net.stages[s]
        stage.need = _NINE_TENTHS * (stage.spent + stage.need) - stage.spent
        stage.finish = np.inf if stage.open > 0 else 0.0
        stage.first_90 = np.inf if stage.open > 0 and stage.need > 0.0 else 0.0


@compiled
def _begin_task(net, i, hours, release):
    """Task i as it stands at the end of `as_of`."""
    task, detail = net.tasks[i], net.details[i]
    task.left, task.waits, task.begun = hours, detail.before, detail.under_way
    task.ready_at = detail.earliest
    detail.start, detail.finish, detail.stint = np.inf, np.inf, NOBODY
    detail.again, detail.reopened, detail.asleep, detail.barred = 0.0, 0, 0, 0
    detail.cause = CAUSE_HOLD if detail.earliest > 0.0 else CAUSE_START
    detail.cause_of = NOBODY
    detail.start_cause, detail.start_cause_of = CAUSE_START, NOBODY
    for p in range(detail.need_at, detail.need_end):
        delivery = net.lists[p]
        if release[delivery] > task.ready_at:
            task.ready_at = release[delivery]
            detail.cause, detail.cause_of = CAUSE_DELIVERY, delivery
    if task.waits == 0:
        let_go(net, np.uint32(i), 0.0)


@compiled
def _play(net, bench, rank, grid, hours_done):
    """Walk over the days on which somebody is at the bench."""
    point = 0
    for day in range(bench.shape[0]):
        if _nobody(bench, day):
            continue
        if net.state[0].open == 0:
            break
        while point < grid.size and grid[point] <= day:
            _read_done(net, hours_done, point)
            point += 1
        longest = 0.0
        for k in range(net.people.size):
            longest = max(longest, bench[day, k])
        _wake(net, float(day))
        asked = _two_waited(net, day)
        for k in range(net.people.size):
            person = net.people[k]
            comes = asked and person.on_call and bench[day, k] <= 0.0
            arrive(person, longest if comes else bench[day, k], comes)
        _play_day(net, day, longest, rank[day])
    for p in range(point, grid.size):
        _read_done(net, hours_done, p)


@compiled
def _two_waited(net, day):
    """Whether two-person work has waited so long that a second pair of hands has been asked for.

    It is asked for sooner when there is no other work.
    """
    state, stages = net.state[0], net.stages.size
    if min(state.call_after_days, state.idle_call_after_days) == np.inf:
        return False
    first = smallest(net.tops, stages, 2 * stages)
    if first == EMPTY:
        return False
    other = smallest(net.tops, 0, stages) < EMPTY
    wait = state.call_after_days if other else min(state.call_after_days, state.idle_call_after_days)
    since = net.tasks[first].ready_at
    return (since if since > 0.0 else -net.details[first].waited) + wait <= day


@compiled
def _nobody(bench, day):
    """Whether nobody is at the bench on a day."""
    k = 0
    while k < bench.shape[1] and bench[day, k] <= 0.0:
        k += 1
    return k == bench.shape[1]


@compiled
def _play_day(net, day, longest, rank):
    """One day: pick, work until something happens, pick again, until everybody has gone."""
    state, people = net.state[0], net.people
    clock, now, day_per_hour = 0.0, float(day), 1.0 / longest
    stage = preferred_stage(net, rank)
    here = True
    while here:
        pick(net, stage, now)
        step = _next_event(net, clock, day, longest)
        _work(net, step, clock, day, day_per_hour)
        clock += step
        now = day + 1.0 if clock >= longest - TINY else day + clock * day_per_hour
        if state.trace:
            _note_busy(people, now)
        for k in range(people.size):
            if people[k].left <= TINY:
                _finish(net, people[k].on, now)
        if state.open == 0:
            break
        here = leave(net, clock)
        _wake(net, now)
    for k in range(people.size):
        hours = people[k].hours
        people[k].present += min(clock, hours) if state.open == 0 else hours


@compiled
def _next_event(net, clock, day, longest):
    """Clock hours until a task is finished, somebody leaves, or waiting work wakes."""
    step = np.inf
    for k in range(net.people.size):
        person = net.people[k]
        step = min(step, min(person.leaves_at - clock, max(person.left, 0.0) * person.pace))
    if net.state[0].alarms > 0 and net.alarms[0].at < day + 1.0:
        step = min(step, max((net.alarms[0].at - day) * longest - clock, 0.0))
    return step


@compiled
def _work(net, step, clock, day, day_per_hour):
    """Everybody works for `step` hours; note the moments at which nine tenths are done."""
    people, state, rate = net.people, net.state[0], 0.0
    for k in range(people.size):
        person = people[k]
        person.worked += person.busy * step
        person.left -= person.rate * step
        net.stages[person.stage].done += person.rate * step
        rate += person.rate
    state.done += rate * step
    if state.done >= state.need and state.first_90 == np.inf:
        over = (state.done - state.need) / rate
        state.first_90 = day + (clock + step - over) * day_per_hour
    for k in range(people.size):
        stage = net.stages[people[k].stage]
        if stage.done >= stage.need and stage.first_90 == np.inf:
            over = (stage.done - stage.need) / _rate_in_stage(people, people[k].stage)
            stage.first_90 = day + (clock + step - over) * day_per_hour


@compiled
def _rate_in_stage(people, stage):
    """Person-hours of a stage that are being done in an hour."""
    rate = 0.0
    for k in range(people.size):
        if people[k].stage == stage:
            rate += people[k].rate
    return rate


@compiled
def _note_busy(people, now):
    """Whoever has work was busy until now."""
    for k in range(people.size):
        if people[k].on >= 0:
            people[k].busy_until = now


@apart
def _wake(net, now):
    """Everything whose time has come is ready, what has to be done again first of all."""
    while True:
        i = next_awake(net, now)
        if i < 0:
            break
        task, detail = net.tasks[i], net.details[i]
        if detail.reopened:
            _reopen(net, np.uint32(i), now)
        else:
            detail.asleep = 0
            if task.waits == 0:
                let_go(net, np.uint32(i), now)


@compiled
def _reopen(net, i, now):
    """Task i is open again: what follows it and has not been begun waits until it is finished again."""
    task, detail = net.tasks[i], net.details[i]
    task.left, task.ready_at = detail.again, now
    detail.cause, detail.cause_of = CAUSE_AFTER, i
    put(net, i)
    for p in range(task.follow_at, task.follow_end):
        j = net.lists[p]
        if net.tasks[j].begun == 0:
            net.tasks[j].waits += 1
            if stands_ready(net, j):
                drop(net, j)


@compiled
def _finish(net, i, now):
    """Task i is finished: its people, its limits and what comes after it are let go."""
    state, detail = net.state[0], net.details[i]
    finish_work(net, i, now)
    detail.finish = now
    if not detail.reopened:
        state.ahead -= detail.expected
        give_back(net, i, now)
    _let_followers_go(net, i, now)
    if detail.again > 0.0 and not detail.reopened:
        detail.reopened = 1
        set_alarm(net, i, now + detail.reopening_after_days)
        return
    detail.again = 0.0
    stage = net.stages[net.tasks[i].stage]
    stage.open -= 1
    if stage.open == 0:
        stage.finish = now
        stage.first_90 = min(stage.first_90, now)
    state.open -= 1
    state.last_task = i
    if state.open == 0:
        state.finish = now
        state.first_90 = min(state.first_90, now)


@compiled
def _let_followers_go(net, i, now):
    """What comes after task i waits for one task less; after it was done again, what had not been begun."""
    task, again = net.tasks[i], net.details[i].reopened
    at = now + task.hold
    for p in range(task.follow_at, task.follow_end):
        j = net.lists[p]
        follower = net.tasks[j]
        if again and follower.begun:
            continue
        if at >= follower.ready_at:
            follower.ready_at = at
            net.details[j].cause = CAUSE_HOLD if task.hold > 0.0 else CAUSE_AFTER
            net.details[j].cause_of = i
        follower.waits -= 1
        if follower.waits == 0:
            let_go(net, j, now)


@compiled
def _read_done(net, hours_done, point):
    """The hours done so far."""
    for s in range(net.stages.size):
        hours_done[s, point] = net.stages[s].done


@apart
def _keep(net, kept, run):
    """Write what is kept of a run."""
    state, details = net.state[0], net.details
    for i in range(kept.finish.shape[1]):
        kept.start[run, i] = details[i].start
        kept.finish[run, i] = np.inf if details[i].again > 0.0 else details[i].finish
    for s in range(net.stages.size):
        kept.stage_finish[run, s] = net.stages[s].finish
        kept.stage_first_90[run, s] = net.stages[s].first_90
    kept.build_finish[run] = state.finish
    kept.build_first_90[run] = state.first_90
    for k in range(net.people.size):
        kept.worked_hours[run, k] = net.people[k].worked
        kept.present_hours[run, k] = net.people[k].present
    kept.lacks[run], kept.stuck_on[run] = _lacks(net)
    if state.trace:
        for i in range(net.tasks.size):
            kept.cause[run, i] = details[i].start_cause
            kept.cause_of[run, i] = details[i].start_cause_of
        if state.open == 0 and state.last_task >= 0:
            _follow_chain(net, kept, run)


@apart
def _follow_chain(net, kept, run):
    """Lead the critical chain back from the last finish, over what each task of it waited for."""
    until = net.state[0].finish
    s = net.details[net.state[0].last_task].stint
    while s >= 0:
        stint = net.stints[s]
        kept.chain[run, stint.task] = stint.cause
        kept.chain_days[run, stint.task] += until - stint.at
        until, s = stint.at, stint.before


@compiled
def _lacks(net):
    """What a run that ended unfinished would need to go on, and the first task that needs it."""
    state, stages = net.state[0], net.stages.size
    if state.open == 0:
        return LACKS_NOTHING, NOBODY
    first = smallest(net.tops, 0, stages)
    if first < EMPTY:
        return LACKS_DAYS, first
    if state.alarms > 0 and net.alarms[0].at < np.inf:
        return LACKS_DAYS, np.int64(net.alarms[0].task)
    first = smallest(net.tops, stages, 2 * stages)
    if first < EMPTY:
        return LACKS_TWO, first
    if state.alarms > 0:
        return LACKS_DELIVERY, np.int64(net.alarms[0].task)
    for b in range(state.blocked):
        first = min(first, np.int64(net.blocked[b]))
    return LACKS_LIMIT, first


def _whole_kernel(parts):
    """The kernel; what is kept of it holds for this file and for `parts` only."""

    @compile_cached
    def simulate_runs(net, hours, bench, rank, release, calls, again, reopening_after_days, grid, room):
        parts  # noqa: B018  numba looks at what a function closes over, not at the files it calls
        for run in range(hours.shape[0]):
            net.state[0].call_after_days, net.state[0].idle_call_after_days = calls[run, 0], calls[run, 1]
            _begin(net, hours[run], release[run], again[run], reopening_after_days[run])
            _play(net, bench[run], rank[run], grid, room.hours_done[run])
            _keep(net, room, run)

    return simulate_runs


def _digest(*names):
    """A number for the text of other files of the kernel."""
    text = b"".join(Path(__file__).with_name(name).read_bytes() for name in names)
    return int.from_bytes(hashlib.sha256(text).digest()[:6], "big")


# Play every run: hours (run, task), bench (run, day, person), rank (run, day), release (run, delivery),
# calls (run, 2), again and reopening_after_days (run, task) or without columns.
simulate_runs = _whole_kernel(_digest(*_OTHER_FILES))
