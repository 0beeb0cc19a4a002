"""The hands at the bench: who comes, who picks up what, who leaves.

Compiled code.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import numpy as np

from forecast.simulate.network.ready_queues import EMPTY, TINY, apart, compiled, put, take, take_limits
from forecast.simulate.network.records import CAUSE_DELIVERY, CAUSE_HANDS, CAUSE_TWO, EITHER, NOBODY, TWO

IDLE, ABSENT = -1, -2


@compiled
def arrive(person, hours, asked):
    """A person's day begins, without work yet; who was asked in comes for two-person work."""
    _rest(person)
    person.eager = person.only_two or asked
    person.for_two = person.eager or person.lends
    person.hours = hours
    person.leaves_at = hours if hours > 0.0 else np.inf
    person.on = IDLE if hours > 0.0 else ABSENT


@compiled
def _rest(person):
    """A person without work."""
    person.on, person.left, person.rate, person.pace, person.busy = IDLE, np.inf, 0.0, 1.0, 0.0


@compiled
def _lend(person, i):
    """A person lends a hand with task i, which another carries."""
    person.on, person.left, person.rate, person.pace, person.busy = i, np.inf, 0.0, 1.0, 1.0


@compiled
def _carry(net, person, i, rate):
    """A person carries task i on, at so many person-hours an hour."""
    task = net.tasks[i]
    person.on, person.left, person.stage = i, task.left, task.stage
    person.rate, person.pace, person.busy = rate, 1.0 / rate, 1.0


@apart
def preferred_stage(net, rank):
    """The rank-th of the stages with work to pick up, by their first task; -1 for plain row order."""
    if rank == 0:
        return -1
    present = 0
    for k in range(net.people.size):
        present += net.people[k].on == IDLE
    last, found = -1, -1
    for _ in range(rank + 1):
        best = EMPTY
        for s in range(net.stages.size):
            first = _first_of_stage(net, s, present > 1)
            if last < first < best:
                best = first
        if best == EMPTY:
            break
        last = best
        found = net.tasks[best].stage
    return found


@compiled
def _first_of_stage(net, stage, two):
    """The first task to pick up in a stage, if any."""
    first = net.tops[stage]
    return min(first, net.tops[stage + net.stages.size]) if two else first


@compiled
def pick(net, stage, now):
    """Give work to everybody who has none, in the builder's order of preference."""
    people = net.people
    hands, helpers = _put_sharing_aside(net)
    while hands > 0:
        first = _choose(net, stage, hands, helpers)
        if first == EMPTY:
            break
        i = np.uint32(first)
        task = net.tasks[i]
        lead = _pays_to_share(net, i) if net.state[0].weighs and task.crew != TWO else -1
        if lead >= 0:
            _share(net, lead, _first_free(people, 0))
            hands -= 1
            continue
        take(net, i)
        if task.limited and not task.begun and not take_limits(net, i):
            continue
        task.begun = 1
        k = _first_free(people, 0)
        hands -= 1
        if task.crew == TWO:
            _carry(net, people[k], i, 2.0)
            other = _first_free(people, helpers > 0)
            _lend(people[other], i)
            hands, helpers = (hands, helpers - 1) if helpers > 0 else (hands - 1, helpers)
            if people[other].busy_until > people[k].busy_until:
                k = other
        else:
            _carry(net, people[k], i, 1.0)
            people[k].path = net.details[i].path
        if net.state[0].trace:
            _note_stint(net, i, k, now)
        net.details[i].start = min(net.details[i].start, now)
    while hands > 0:
        lead = _first_to_share(net)
        if lead < 0:
            break
        _share(net, lead, _first_free(people, 0))
        hands -= 1
    if helpers > 0:
        _lend_hands(net)


@apart
def _lend_hands(net):
    """A visitor who has no two-person task shares one that somebody is alone on."""
    for k in range(net.people.size):
        if net.people[k].on == IDLE and net.people[k].lends:
            lead = _first_to_share(net)
            if lead < 0:
                break
            _share(net, lead, k)


@compiled
def _share(net, lead, k):
    """Person k shares the task of person `lead`."""
    person, second = net.people[lead], net.people[k]
    _lend(second, person.on)
    second.stint = person.stint
    person.rate, person.pace = 2.0 / net.state[0].penalty, 0.5 * net.state[0].penalty
    net.state[0].sharing = 1


@apart
def _pays_to_share(net, i):
    """Whose task is rather shared than task i begun; -1 for nobody's.

    It pays where the date hangs on the path from that task on, not on the hands: the path is longer than
    all open work, the penalty added, takes with all hands; and where task i can wait, for its own path is
    no longer than what follows.
    """
    best, longest, state = -1, 0.0, net.state[0]
    for k in range(net.people.size):
        person = net.people[k]
        if person.rate == 1.0 and person.path > longest and net.tasks[person.on].crew == EITHER:
            best, longest = k, person.path
    if best < 0 or longest * net.people.size <= state.ahead:
        return -1
    expected = net.details[net.people[best].on].expected
    if net.details[i].path > longest - expected:
        return -1
    most, together = 0.0, 0.0
    for k in range(net.people.size):
        person = net.people[k]
        if not person.only_two and not person.lends:
            came = person.present + person.hours
            together += came
            most = max(most, came)
    ahead = state.ahead + (state.penalty - 1.0) * expected
    return best if longest * together > ahead * most else -1


@compiled
def _put_sharing_aside(net):
    """Whoever only shares a task may be given another; how many hands and helpers have no work?"""
    state = net.state[0]
    if state.sharing:
        for k in range(net.people.size):
            person = net.people[k]
            if person.on >= 0 and net.tasks[person.on].crew != TWO:
                if person.rate > 0.0:
                    person.rate, person.pace = 1.0, 1.0
                else:
                    _rest(person)
        state.sharing = 0
    hands, helpers = 0, 0
    for k in range(net.people.size):
        idle = net.people[k].on == IDLE
        hands += idle and not net.people[k].for_two
        helpers += idle and net.people[k].for_two
    return hands, helpers


@compiled
def _choose(net, stage, hands, helpers):
    """The task to pick up next, if any. Who came for two-person work has that done first."""
    stages = net.stages.size
    if helpers > 0 and _eager_free(net.people):
        best = net.tops[stages + stage] if stage >= 0 else EMPTY
        if best == EMPTY:
            best = smallest(net.tops, stages, 2 * stages)
        if best < EMPTY:
            return best
    two = hands + helpers > 1
    if stage >= 0:
        best = _first_of_stage(net, stage, two)
        if best < EMPTY:
            return best
    return smallest(net.tops, 0, 2 * stages if two else stages)


@compiled
def smallest(tops, begin, end):
    """The first task of some of the queues, if any."""
    best = EMPTY
    for q in range(begin, end):
        best = min(best, tops[q])
    return best


@compiled
def _first_free(people, for_two):
    """The first person who is there without work."""
    for k in range(people.size):
        if people[k].on == IDLE and people[k].for_two == for_two:
            return k
    return -1


@compiled
def _eager_free(people):
    """Whether somebody who came for two-person work has none."""
    free = False
    for k in range(people.size):
        free |= people[k].on == IDLE and people[k].eager == 1
    return free


@compiled
def _first_to_share(net):
    """Who is alone on the first task in row order that two may share; -1 for nobody."""
    best, people = -1, net.people
    for k in range(people.size):
        alone = people[k].rate == 1.0 and net.tasks[people[k].on].crew == EITHER
        if alone and (best < 0 or people[k].on < people[best].on):
            best = k
    return best


@apart
def _note_stint(net, i, k, now):
    """Task i is taken up: note what it waited for last, its own readiness or the hands of person k."""
    detail, person, state = net.details[i], net.people[k], net.state[0]
    cause = CAUSE_TWO if net.tasks[i].crew == TWO else CAUSE_HANDS
    cause_of, before = NOBODY, person.stint
    if net.tasks[i].ready_at >= person.busy_until - TINY:
        cause, cause_of, before = detail.cause, detail.cause_of, NOBODY
        if cause != CAUSE_DELIVERY and cause_of >= 0:
            before = net.details[cause_of].stint
    elif before >= 0:
        cause_of = net.stints[before].task
    if detail.start == np.inf:
        detail.start_cause, detail.start_cause_of = cause, cause_of
    if before < 0 or net.stints[before].task != i:
        stint = net.stints[state.stints]
        stint.at, stint.task, stint.before, stint.cause = now, i, before, cause
        before = state.stints
        state.stints += 1
    detail.stint = before
    for other in range(net.people.size):
        if net.people[other].on == i:
            net.people[other].stint = before


@compiled
def leave(net, clock):
    """Who has been there long enough goes home; is anybody left?

    What they were alone on, or two were needed for, stays as it is.
    """
    here = False
    for k in range(net.people.size):
        person = net.people[k]
        if person.leaves_at - clock <= TINY:
            i = person.on
            if person.rate > 0.0:
                net.tasks[i].left = person.left
            _rest(person)
            person.on, person.leaves_at = ABSENT, np.inf
            if i >= 0 and not _carried_on(net, i):
                put(net, np.uint32(i))
        here |= person.on != ABSENT
    return here


@compiled
def _carried_on(net, i):
    """Whether somebody who shared task i goes on with it; a task for two, or left to a visitor, stops."""
    for k in range(net.people.size):
        person = net.people[k]
        if person.on == i:
            if person.rate > 0.0:
                net.tasks[i].left = person.left
            if net.tasks[i].crew == TWO or person.lends:
                _rest(person)
                return False
            _carry(net, person, i, 1.0)
            person.path = net.details[i].path
            return True
    return False


@compiled
def finish_work(net, i, now):
    """Task i is finished and its people are free."""
    for k in range(net.people.size):
        if net.people[k].on == i:
            _rest(net.people[k])
            net.people[k].busy_until = now
