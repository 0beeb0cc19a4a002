"""The kernel: a discrete-event simulation of the network on drawn hours and drawn days (compiled code).

It draws nothing and knows positions and records only. Each call has its own records, so that threads can
call it at the same time. Day 0 is the first day after `as_of`. Within a day everybody present starts
together and leaves after their own hours; the day's clock runs from 0 to 1 over the longest presence.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np

import forecast.simulate.network.ready_queues as queues
import forecast.simulate.network.records as records
from forecast.compiled import compile_cached
from forecast.simulate.network.dispatch import (
    arrive,
    dispatch,
    first_of_queues,
    free_people,
    leave,
    preferred_stage,
)
from forecast.simulate.network.ready_queues import inlined, out_of_line

_NINE_TENTHS = 0.9  # of the hours: the answer's first_90
_INLINED_FILES = ("ready_queues.py", "dispatch.py", "records.py")


@out_of_line
def _reset(net, hours, release, reopening_hours, reopening_after_hours):
    """Reset everything to the end of `as_of`."""
    queues.clear_queues(net)
    state = net.state[0]
    state.open, state.wakes, state.blocked, state.stints = net.tasks.size, 0, 0, 0
    state.done, state.need, state.sharing, state.expected_left = 0.0, 0.0, 0, 0.0
    state.reopenings, state.next_reopening = 0, np.inf
    state.last_task = records.NOBODY
    for s in range(net.stages.size):
        stage = net.stages[s]
        stage.done, stage.need, stage.open = 0.0, 0.0, 0
        stage.last_worked = stage.last_worked_at_start
    for limit in range(net.limits.size):
        net.limits[limit].used = net.limits[limit].used_at_start
    for k in range(net.people.size):
        person = net.people[k]
        person.worked, person.present, person.busy_until, person.stint = 0.0, 0.0, -1.0, records.NOBODY
        person.stage = 0
    for i in range(net.tasks.size):
        stage = net.stages[net.tasks[i].stage]
        stage.open += 1
        stage.need += hours[i]
        state.need += hours[i]
        state.expected_left += net.details[i].expected
        _reset_task(net, i, hours[i], release)
        if reopening_hours.size > 0 and reopening_hours[i] > 0.0:
            net.tasks[i].left -= reopening_hours[i]
            net.details[i].reopening_hours = reopening_hours[i]
            net.details[i].reopening_after_hours = reopening_after_hours[i]
    state.need = _NINE_TENTHS * (state.spent + state.need) - state.spent
    state.finish = np.inf if state.open > 0 else 0.0
    state.first_90 = np.inf if state.open > 0 and state.need > 0.0 else 0.0
    for s in range(net.stages.size):
        stage = net.stages[s]
        stage.need = _NINE_TENTHS * (stage.spent + stage.need) - stage.spent
        stage.finish = np.inf if stage.open > 0 else 0.0
        stage.first_90 = np.inf if stage.open > 0 and stage.need > 0.0 else 0.0


@inlined
def _reset_task(net, i, hours, release):
    """Reset task i to the end of `as_of`."""
    task, detail = net.tasks[i], net.details[i]
    task.left, task.open_predecessors, task.begun = hours, detail.predecessors, detail.under_way
    task.ready_at = detail.earliest
    detail.start, detail.finish, detail.stint = np.inf, np.inf, records.NOBODY
    detail.reopening_hours, detail.reopened, detail.asleep, detail.blocked = 0.0, 0, 0, 0
    detail.reopens_at = np.inf
    detail.cause = records.CAUSE_HOLD if detail.earliest > 0.0 else records.CAUSE_START
    detail.cause_of = records.NOBODY
    detail.start_cause, detail.start_cause_of = records.CAUSE_START, records.NOBODY
    for p in range(detail.needs_begin, detail.needs_end):
        delivery = net.lists[p]
        if release[delivery] > task.ready_at:
            task.ready_at = release[delivery]
            detail.cause, detail.cause_of = records.CAUSE_DELIVERY, delivery
    if task.open_predecessors == 0:
        queues.make_eligible(net, np.uint32(i), 0.0)


@inlined
def _run_days(net, bench, rank, grid, hours_done):
    """Simulate each day on which somebody is at the bench."""
    point = 0
    for day in range(bench.shape[0]):
        if _nobody(bench, day):
            continue
        if net.state[0].open == 0:
            break
        while point < grid.size and grid[point] <= day:
            _record_hours_done(net, hours_done, point)
            point += 1
        longest = 0.0
        for k in range(net.people.size):
            longest = max(longest, bench[day, k])
        _wake(net, float(day))
        called = _helper_called(net, day)
        for k in range(net.people.size):
            person = net.people[k]
            comes = called and person.on_call and bench[day, k] <= 0.0
            arrive(person, longest if comes else bench[day, k], comes)
        _run_day(net, day, longest, rank[day])
    for p in range(point, grid.size):
        _record_hours_done(net, hours_done, p)


@inlined
def _helper_called(net, day):
    """Whether two-person work has waited long enough to call in a helper; less when it is the only work."""
    state, stages = net.state[0], net.stages.size
    if min(state.call_after_days, state.idle_call_after_days) == np.inf:
        return False
    first = first_of_queues(net.heads, stages, 2 * stages)
    if first == queues.EMPTY:
        return False
    other = first_of_queues(net.heads, 0, stages) < queues.EMPTY
    wait = state.call_after_days if other else min(state.call_after_days, state.idle_call_after_days)
    since = net.tasks[first].ready_at
    return (since if since > 0.0 else -net.details[first].waited) + wait <= day


@inlined
def _nobody(bench, day):
    """Whether nobody is at the bench on a day."""
    k = 0
    while k < bench.shape[1] and bench[day, k] <= 0.0:
        k += 1
    return k == bench.shape[1]


@inlined
def _run_day(net, day, longest, rank):
    """Simulate one day: dispatch, work until the next event, and so on until everybody has left."""
    state, people = net.state[0], net.people
    clock, now, day_per_hour = 0.0, float(day), 1.0 / longest
    stage = preferred_stage(net, rank)
    here = True
    while here:
        dispatch(net, stage, now)
        step = _next_event(net, clock, day, longest)
        _work(net, step, clock, day, day_per_hour)
        clock += step
        now = day + 1.0 if clock >= longest - queues.TINY else day + clock * day_per_hour
        if state.trace:
            _note_busy(people, now)
        for k in range(people.size):
            if people[k].left <= queues.TINY:
                _finish_task(net, people[k].task, now)
        if state.reopenings > 0:
            _reopen_what_is_due(net, now)
        if state.open == 0:
            break
        here = leave(net, clock)
        _wake(net, now)
    for k in range(people.size):
        hours = people[k].hours
        people[k].present += min(clock, hours) if state.open == 0 else hours


@inlined
def _next_event(net, clock, day, longest):
    """Clock hours until a task is finished, somebody leaves or a waiting task wakes."""
    step = np.inf
    for k in range(net.people.size):
        person = net.people[k]
        step = min(step, min(person.leaves_at - clock, max(person.left, 0.0) * person.pace))
    if net.state[0].wakes > 0 and net.wakes[0].at < day + 1.0:
        step = min(step, max((net.wakes[0].at - day) * longest - clock, 0.0))
    return step


@inlined
def _work(net, step, clock, day, day_per_hour):
    """Advance all work by `step` hours; record the moments at which 90 % of the hours are done."""
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


@inlined
def _rate_in_stage(people, stage):
    """Person-hours per hour on the tasks of a stage."""
    rate = 0.0
    for k in range(people.size):
        if people[k].stage == stage:
            rate += people[k].rate
    return rate


@inlined
def _note_busy(people, now):
    """Everybody with a task was busy until now."""
    for k in range(people.size):
        if people[k].task >= 0:
            people[k].busy_until = now


@out_of_line
def _wake(net, now):
    """Make every task eligible whose time has come."""
    while True:
        i = queues.pop_wake(net, now)
        if i < 0:
            break
        net.details[i].asleep = 0
        if net.tasks[i].open_predecessors == 0:
            queues.make_eligible(net, np.uint32(i), now)


@out_of_line
def _reopen_what_is_due(net, now):
    """Reopen every finished task whose rework has been found.

    Rework is found when so many person-hours more have been worked, and at the latest when nothing else is
    left to do: by the builder's last look over the whole. It is looked for at events, so that it may be
    found some minutes late.
    """
    state = net.state[0]
    last_look = state.open == state.reopenings
    if not last_look and state.done < state.next_reopening - queues.TINY:
        return
    due, state.next_reopening = state.next_reopening, np.inf
    for i in range(net.tasks.size):
        at = net.details[i].reopens_at
        if at == np.inf:
            continue
        if last_look or at <= max(due, state.done):
            net.details[i].reopens_at = np.inf
            state.reopenings -= 1
            _reopen(net, np.uint32(i), now)
        else:
            state.next_reopening = min(state.next_reopening, at)


@inlined
def _reopen(net, i, now):
    """Reopen task i for rework: successors that have not begun wait until it is finished again."""
    task, detail = net.tasks[i], net.details[i]
    task.left, task.ready_at = detail.reopening_hours, now
    detail.cause, detail.cause_of = records.CAUSE_AFTER, i
    queues.push(net, i)
    for p in range(task.successors_begin, task.successors_end):
        j = net.lists[p]
        if net.tasks[j].begun == 0:
            net.tasks[j].open_predecessors += 1
            if queues.is_queued(net, j):
                queues.remove(net, j)


@inlined
def _finish_task(net, i, now):
    """Finish task i: free its people, its limits and its successors."""
    state, detail = net.state[0], net.details[i]
    free_people(net, i, now)
    detail.finish = now
    if not detail.reopened:
        state.expected_left -= detail.expected
        queues.release_limits(net, i, now)
    _release_successors(net, i, now)
    if detail.reopening_hours > 0.0 and not detail.reopened:
        detail.reopened = 1
        detail.reopens_at = state.done + detail.reopening_after_hours
        state.reopenings += 1
        state.next_reopening = min(state.next_reopening, detail.reopens_at)
        return
    detail.reopening_hours = 0.0
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


@inlined
def _release_successors(net, i, now):
    """The successors of task i wait for one task less; after rework only those that had not begun do."""
    task, reopened = net.tasks[i], net.details[i].reopened
    at = now + task.hold
    for p in range(task.successors_begin, task.successors_end):
        j = net.lists[p]
        follower = net.tasks[j]
        if reopened and follower.begun:
            continue
        if at >= follower.ready_at:
            follower.ready_at = at
            net.details[j].cause = records.CAUSE_HOLD if task.hold > 0.0 else records.CAUSE_AFTER
            net.details[j].cause_of = i
        follower.open_predecessors -= 1
        if follower.open_predecessors == 0:
            queues.make_eligible(net, j, now)


@inlined
def _record_hours_done(net, hours_done, point):
    """Record the hours done so far."""
    for s in range(net.stages.size):
        hours_done[s, point] = net.stages[s].done


@out_of_line
def _store_run(net, results, run):
    """Write the results of a run."""
    state, details = net.state[0], net.details
    for i in range(results.finish.shape[1]):
        results.start[run, i] = details[i].start
        results.finish[run, i] = np.inf if details[i].reopening_hours > 0.0 else details[i].finish
    for s in range(net.stages.size):
        results.stage_finish[run, s] = net.stages[s].finish
        results.stage_first_90[run, s] = net.stages[s].first_90
    results.build_finish[run] = state.finish
    results.build_first_90[run] = state.first_90
    for k in range(net.people.size):
        results.worked_hours[run, k] = net.people[k].worked
        results.present_hours[run, k] = net.people[k].present
    results.lacks[run], results.stuck_on[run] = _what_is_lacking(net)
    if state.trace:
        for i in range(net.tasks.size):
            results.cause[run, i] = details[i].start_cause
            results.cause_of[run, i] = details[i].start_cause_of
        if state.open == 0 and state.last_task >= 0:
            _follow_chain(net, results, run)


@out_of_line
def _follow_chain(net, results, run):
    """Trace the critical chain back from the last finish over what each of its tasks waited for."""
    until = net.state[0].finish
    s = net.details[net.state[0].last_task].stint
    while s >= 0:
        stint = net.stints[s]
        results.chain[run, stint.task] = stint.cause
        results.chain_days[run, stint.task] += until - stint.at
        until, s = stint.at, stint.previous


@inlined
def _what_is_lacking(net):
    """What an unfinished run would need to continue, and the first task that needs it."""
    state, stages = net.state[0], net.stages.size
    if state.open == 0:
        return records.LACKS_NOTHING, records.NOBODY
    first = first_of_queues(net.heads, 0, stages)
    if first < queues.EMPTY:
        return records.LACKS_DAYS, first
    if state.wakes > 0 and net.wakes[0].at < np.inf:
        return records.LACKS_DAYS, np.int64(net.wakes[0].task)
    first = first_of_queues(net.heads, stages, 2 * stages)
    if first < queues.EMPTY:
        return records.LACKS_TWO, first
    if state.wakes > 0:
        return records.LACKS_DELIVERY, np.int64(net.wakes[0].task)
    for b in range(state.blocked):
        first = min(first, np.int64(net.blocked[b]))
    return records.LACKS_LIMIT, first


def _build_kernel(digest):
    """The kernel, cached under the text of this file and of the inlined ones."""

    @compile_cached
    def simulate_runs(
        net, hours, bench, rank, release, calls, reopening_hours, reopening_after_hours, grid, results
    ):
        digest  # noqa: B018  numba's cache sees what a function closes over, not the files it inlines
        for run in range(hours.shape[0]):
            net.state[0].call_after_days, net.state[0].idle_call_after_days = calls[run, 0], calls[run, 1]
            _reset(net, hours[run], release[run], reopening_hours[run], reopening_after_hours[run])
            _run_days(net, bench[run], rank[run], grid, results.hours_done[run])
            _store_run(net, results, run)

    return simulate_runs


def _digest(*names):
    """A number that changes with the text of the named files."""
    text = b"".join(Path(__file__).with_name(name).read_bytes() for name in names)
    return int.from_bytes(hashlib.sha256(text).digest()[:6], "big")


# hours (run, task), bench (run, day, person), rank (run, day), release (run, delivery), calls (run, 2) in the
# order of the call; reopening_hours and reopening_after_hours (run, task) or without columns.
simulate_runs = _build_kernel(_digest(*_INLINED_FILES))
