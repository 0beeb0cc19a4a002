"""Dispatching people to tasks: who arrives, who works on what, who leaves (compiled code)."""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import numpy as np

from forecast.simulate.network.ready_queues import EMPTY, TINY, inlined, out_of_line, pop, push, seize_limits
from forecast.simulate.network.records import (
    CAUSE_DELIVERY,
    CAUSE_HANDS,
    CAUSE_TWO,
    EITHER,
    NOBODY,
    ROW_ORDER,
    TWO,
)

IDLE, ABSENT = -1, -2


@inlined
def arrive(person, hours, called):
    """Start a person's day without a task; a person who was called in does two-person work only."""
    _set_idle(person)
    person.eager = person.only_two or called
    person.for_two = person.eager or person.lends
    person.hours = hours
    person.leaves_at = hours if hours > 0.0 else np.inf
    person.task = IDLE if hours > 0.0 else ABSENT


@inlined
def _set_idle(person):
    """The person has no task."""
    person.task, person.left, person.rate, person.pace, person.busy = IDLE, np.inf, 0.0, 1.0, 0.0


@inlined
def _assist(person, i):
    """The person assists with task i, which another person leads."""
    person.task, person.left, person.rate, person.pace, person.busy = i, np.inf, 0.0, 1.0, 1.0


@inlined
def _lead(net, person, i, rate):
    """The person leads task i at `rate` person-hours per hour."""
    task = net.tasks[i]
    person.task, person.left, person.stage = i, task.left, task.stage
    person.rate, person.pace, person.busy = rate, 1.0 / rate, 1.0


@out_of_line
def preferred_stage(net, rank):
    """The stage with ready work of rank `rank`: 0 = the one worked on last, then the one before, and so on.

    Stages not begun follow in the order of their first task. With fewer stages than that it is the first.
    -1 = plain row order, for a rank of ROW_ORDER.
    """
    if rank == ROW_ORDER:
        return -1
    present = 0
    for k in range(net.people.size):
        present += net.people[k].task == IDLE
    two = present > 1
    top = _next_stage(net, two, np.inf, -1)
    found = top
    for _ in range(rank):
        if found < 0:
            break
        found = _next_stage(net, two, net.stages[found].last_worked, _first_of_stage(net, found, two))
    return found if found >= 0 else top


@out_of_line
def _next_stage(net, two, last_worked, first_task):
    """The stage with ready work that follows (last_worked, first_task) by recency; -1 for none."""
    best, best_worked, best_first = -1, -np.inf, EMPTY
    for s in range(net.stages.size):
        first, worked = _first_of_stage(net, s, two), net.stages[s].last_worked
        if first == EMPTY or worked > last_worked or (worked == last_worked and first <= first_task):
            continue
        if best < 0 or worked > best_worked or (worked == best_worked and first < best_first):
            best, best_worked, best_first = s, worked, first
    return best


@inlined
def _first_of_stage(net, stage, two):
    """The first ready task of a stage; EMPTY for none."""
    first = net.heads[stage]
    return min(first, net.heads[stage + net.stages.size]) if two else first


@inlined
def dispatch(net, stage, now):
    """Dispatch rule: give every idle person the first ready task in the builder's order of preference."""
    people = net.people
    idle, helpers = _release_sharers(net)
    while idle > 0:
        first = _next_task(net, stage, idle, helpers)
        if first == EMPTY:
            break
        i = np.uint32(first)
        task = net.tasks[i]
        lead = _pays_to_share(net, i) if net.state[0].weighs_sharing and task.crew != TWO else -1
        if lead >= 0:
            _share(net, lead, _first_idle(people, 0))
            idle -= 1
            continue
        pop(net, i)
        if task.limited and not task.begun and not seize_limits(net, i):
            continue
        task.begun = 1
        k = _first_idle(people, 0)
        idle -= 1
        if task.crew == TWO:
            _lead(net, people[k], i, 2.0)
            other = _first_idle(people, helpers > 0)
            _assist(people[other], i)
            idle, helpers = (idle, helpers - 1) if helpers > 0 else (idle - 1, helpers)
            if people[other].busy_until > people[k].busy_until:
                k = other
        else:
            _lead(net, people[k], i, 1.0)
            people[k].path = net.details[i].path
        if net.state[0].trace:
            _note_stint(net, i, k, now)
        net.details[i].start = min(net.details[i].start, now)
        net.stages[task.stage].last_worked = now
    while idle > 0:
        lead = _first_to_share(net)
        if lead < 0:
            break
        _share(net, lead, _first_idle(people, 0))
        idle -= 1
    if helpers > 0:
        _put_visitors_to_work(net)


@out_of_line
def _put_visitors_to_work(net):
    """Let idle visitors share a task that somebody works on alone."""
    for k in range(net.people.size):
        if net.people[k].task == IDLE and net.people[k].lends:
            lead = _first_to_share(net)
            if lead < 0:
                break
            _share(net, lead, k)


@inlined
def _share(net, lead, k):
    """Let person k share the task of person `lead`."""
    person, second = net.people[lead], net.people[k]
    _assist(second, person.task)
    second.stint = person.stint
    person.rate, person.pace = 2.0 / net.state[0].penalty, 0.5 * net.state[0].penalty
    net.state[0].sharing = 1


@out_of_line
def _pays_to_share(net, i):
    """The person whose task is better shared than task i begun; -1 for none.

    Sharing pays when the longest path from that task on, and not the number of people, sets the date: the
    path is longer than all open work (penalty included) takes with everybody at it, and the path from task i
    is no longer than what follows the shared task.
    """
    best, longest, state = -1, 0.0, net.state[0]
    for k in range(net.people.size):
        person = net.people[k]
        if person.rate == 1.0 and person.path > longest and net.tasks[person.task].crew == EITHER:
            best, longest = k, person.path
    if best < 0 or longest * net.people.size <= state.expected_left:
        return -1
    expected = net.details[net.people[best].task].expected
    if net.details[i].path > longest - expected:
        return -1
    most, together = 0.0, 0.0
    for k in range(net.people.size):
        person = net.people[k]
        if not person.only_two and not person.lends:
            presence = person.present + person.hours
            together += presence
            most = max(most, presence)
    with_penalty = state.expected_left + (state.penalty - 1.0) * expected
    return best if longest * together > with_penalty * most else -1


@inlined
def _release_sharers(net):
    """End all sharing, then count the idle people and the idle helpers for two-person work."""
    state = net.state[0]
    if state.sharing:
        for k in range(net.people.size):
            person = net.people[k]
            if person.task >= 0 and net.tasks[person.task].crew != TWO:
                if person.rate > 0.0:
                    person.rate, person.pace = 1.0, 1.0
                else:
                    _set_idle(person)
        state.sharing = 0
    idle, helpers = 0, 0
    for k in range(net.people.size):
        person = net.people[k]
        idle += person.task == IDLE and not person.for_two
        helpers += person.task == IDLE and person.for_two
    return idle, helpers


@inlined
def _next_task(net, stage, idle, helpers):
    """The next task to start; EMPTY for none. People called in for two-person work get that first."""
    stages = net.stages.size
    if helpers > 0 and _eager_idle(net.people):
        best = net.heads[stages + stage] if stage >= 0 else EMPTY
        if best == EMPTY:
            best = first_of_queues(net.heads, stages, 2 * stages)
        if best < EMPTY:
            return best
    two = idle + helpers > 1
    if stage >= 0:
        best = _first_of_stage(net, stage, two)
        if best < EMPTY:
            return best
        other = _next_stage(net, two, np.inf, -1)
        return _first_of_stage(net, other, two) if other >= 0 else EMPTY
    return first_of_queues(net.heads, 0, 2 * stages if two else stages)


@inlined
def first_of_queues(heads, begin, end):
    """The first task of a range of queues; EMPTY for none."""
    best = EMPTY
    for q in range(begin, end):
        best = min(best, heads[q])
    return best


@inlined
def _first_idle(people, for_two):
    """The first idle person, of those for two-person work or of the others; -1 for none."""
    for k in range(people.size):
        if people[k].task == IDLE and people[k].for_two == for_two:
            return k
    return -1


@inlined
def _eager_idle(people):
    """Whether somebody who was called in for two-person work is idle."""
    idle = False
    for k in range(people.size):
        idle |= people[k].task == IDLE and people[k].eager == 1
    return idle


@inlined
def _first_to_share(net):
    """The person alone on the first task in row order that two may share; -1 for none."""
    best, people = -1, net.people
    for k in range(people.size):
        alone = people[k].rate == 1.0 and net.tasks[people[k].task].crew == EITHER
        if alone and (best < 0 or people[k].task < people[best].task):
            best = k
    return best


@out_of_line
def _note_stint(net, i, k, now):
    """Trace why task i starts now: what it waited for last, its own readiness or person k."""
    detail, person, state = net.details[i], net.people[k], net.state[0]
    cause = CAUSE_TWO if net.tasks[i].crew == TWO else CAUSE_HANDS
    cause_of, previous = NOBODY, person.stint
    if net.tasks[i].ready_at >= person.busy_until - TINY:
        cause, cause_of, previous = detail.cause, detail.cause_of, NOBODY
        if cause != CAUSE_DELIVERY and cause_of >= 0:
            previous = net.details[cause_of].stint
    elif previous >= 0:
        cause_of = net.stints[previous].task
    if detail.start == np.inf:
        detail.start_cause, detail.start_cause_of = cause, cause_of
    if previous < 0 or net.stints[previous].task != i:
        stint = net.stints[state.stints]
        stint.at, stint.task, stint.previous, stint.cause = now, i, previous, cause
        previous = state.stints
        state.stints += 1
    detail.stint = previous
    for other in range(net.people.size):
        if net.people[other].task == i:
            net.people[other].stint = previous


@inlined
def leave(net, clock):
    """Send home everybody whose hours are over; whether anybody is left.

    Their tasks return to the ready queues unless somebody who shared one continues it.
    """
    here = False
    for k in range(net.people.size):
        person = net.people[k]
        if person.leaves_at - clock <= TINY:
            i = person.task
            if person.rate > 0.0:
                net.tasks[i].left = person.left
            _set_idle(person)
            person.task, person.leaves_at = ABSENT, np.inf
            if i >= 0 and not _handed_over(net, i):
                push(net, np.uint32(i))
        here |= person.task != ABSENT
    return here


@inlined
def _handed_over(net, i):
    """Whether somebody who shared task i continues it; a task for two, or left to a visitor, stops."""
    for k in range(net.people.size):
        person = net.people[k]
        if person.task == i:
            if person.rate > 0.0:
                net.tasks[i].left = person.left
            if net.tasks[i].crew == TWO or person.lends:
                _set_idle(person)
                return False
            _lead(net, person, i, 1.0)
            person.path = net.details[i].path
            return True
    return False


@inlined
def free_people(net, i, now):
    """Free the people on task i, which is finished."""
    for k in range(net.people.size):
        if net.people[k].task == i:
            _set_idle(net.people[k])
            net.people[k].busy_until = now
