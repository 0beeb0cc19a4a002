"""The desk of one run: which tasks are ready, which wake later, what is held.

Compiled code. Ready tasks stand in two queues a stage, its work for one and its work for two, as bits in
row order: the first of a queue, and the first of all, are found without a search.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import numpy as np
from numba import njit
from numba.core.options import DefaultOptions

from forecast.simulate.network.records import BITS, CAUSE_LIMIT, NOBODY

TINY = 1e-9
EMPTY = 1 << 30

# The place of the lowest of 32 bits, by multiplication with a de Bruijn sequence.
_DE_BRUIJN = 0x077CB531
_BIT_OF = np.zeros(BITS, dtype=np.uint32)
for _i in range(BITS):
    _BIT_OF[((_DE_BRUIJN << _i) & 0xFFFFFFFF) >> 27] = _i


def compiled(function):
    """Compile a part of the kernel into the whole.

    The parts are handed arrays that the caller owns, and make none, so counting references to them only
    costs: four fifths of the time, when it was measured. Where numba no longer has the option to leave
    that out, the code runs all the same, more slowly.
    """
    if hasattr(DefaultOptions, "_nrt"):
        return njit(_nrt=False, forceinline=True, no_cpython_wrapper=True, no_cfunc_wrapper=True)(function)
    return njit(forceinline=True)(function)


def apart(function):
    """Compile a part that is seldom called by itself, not into each place that calls it."""
    if hasattr(DefaultOptions, "_nrt"):
        return njit(_nrt=False, no_cpython_wrapper=True, no_cfunc_wrapper=True)(function)
    return njit(function)


@compiled
def put(net, i):
    """Task i is ready to be picked up."""
    task = net.tasks[i]
    queue = net.queues[task.queue]
    net.words[task.word] |= 1 << task.bit
    queue.low = min(queue.low, task.word)
    net.tops[task.queue] = min(net.tops[task.queue], i)


@compiled
def take(net, i):
    """Take task i, the first of its queue, out of it."""
    task = net.tasks[i]
    queue = net.queues[task.queue]
    w = task.word
    word = net.words[w] ^ (1 << task.bit)
    net.words[w] = word
    while word == 0 and w + 1 < queue.end:
        w += 1
        word = net.words[w]
    queue.low = w
    if word == 0:
        net.tops[task.queue] = EMPTY
    else:
        lowest = (((word & -word) * _DE_BRUIJN) & 0xFFFFFFFF) >> 27
        net.tops[task.queue] = net.task_at[w * BITS + _BIT_OF[lowest]]


@apart
def drop(net, i):
    """Take task i out of its queue, wherever it stands there."""
    task = net.tasks[i]
    if net.tops[task.queue] == i:
        take(net, i)
    else:
        net.words[task.word] &= ~(1 << task.bit)


@compiled
def stands_ready(net, i):
    """Whether task i is in its queue."""
    task = net.tasks[i]
    return (net.words[task.word] >> task.bit) & 1 == 1


@apart
def let_go(net, i, now):
    """Nothing that comes before task i is open any more: it is ready now, or wakes later."""
    at, detail = net.tasks[i].ready_at, net.details[i]
    if detail.asleep or detail.barred:
        return
    if at <= now + TINY:
        put(net, i)
        return
    detail.asleep = 1
    set_alarm(net, i, at)


@compiled
def set_alarm(net, i, at):
    """Task i is looked at again at that time."""
    state, alarms = net.state[0], net.alarms
    place = state.alarms
    state.alarms += 1
    while place > 0:
        parent = (place - 1) >> 1
        if alarms[parent].at <= at:
            break
        alarms[place].at = alarms[parent].at
        alarms[place].task = alarms[parent].task
        place = parent
    alarms[place].at = at
    alarms[place].task = i


@compiled
def next_awake(net, now):
    """The next task whose time has come, taken off the alarms; -1 for none."""
    state, alarms = net.state[0], net.alarms
    if state.alarms > 0 and alarms[0].at <= now + TINY:
        i = np.int64(alarms[0].task)
        state.alarms -= 1
        last = alarms[state.alarms]
        place, child = 0, 1
        while child < state.alarms:
            if child + 1 < state.alarms and alarms[child + 1].at < alarms[child].at:
                child += 1
            if last.at <= alarms[child].at:
                break
            alarms[place].at = alarms[child].at
            alarms[place].task = alarms[child].task
            place, child = child, 2 * child + 1
        alarms[place].at = last.at
        alarms[place].task = last.task
        return i
    return -1


@apart
def take_limits(net, i):
    """Take what task i needs of each limit, if all of it is there; else it waits until one is freed."""
    if _hold(net, i, 1.0):
        return True
    _hold(net, i, -1.0)
    net.details[i].barred = 1
    net.blocked[net.state[0].blocked] = i
    net.state[0].blocked += 1
    return False


@compiled
def _hold(net, i, share):
    """Add to what is held what task i needs; is it there?"""
    detail, enough = net.details[i], True
    for p in range(detail.use_at, detail.use_end):
        use = net.uses[net.lists[p]]
        if use.task == i:
            limit = net.limits[use.limit]
            limit.held += share * use.amount
            enough &= limit.held <= limit.amount * (1 + TINY)
    return enough


@apart
def give_back(net, i, now):
    """Free the limits that end with task i, and let everything look again that waited for one."""
    detail = net.details[i]
    if detail.use_at == detail.use_end:
        return
    for p in range(detail.use_at, detail.use_end):
        use = net.uses[net.lists[p]]
        first = use.task == NOBODY or net.details[use.task].finish < np.inf
        if first and net.details[use.until].finish < np.inf:
            net.limits[use.limit].held -= use.amount
    for b in range(net.state[0].blocked):
        j = net.blocked[b]
        task, other = net.tasks[j], net.details[j]
        other.barred, other.cause, other.cause_of = 0, CAUSE_LIMIT, i
        task.ready_at = max(task.ready_at, now)
        if task.waits == 0:
            let_go(net, j, now)
    net.state[0].blocked = 0


@compiled
def empty_queues(net):
    """Nothing is ready."""
    for w in range(net.words.size):
        net.words[w] = 0
    for q in range(net.queues.size):
        net.queues[q].low = net.queues[q].end
        net.tops[q] = EMPTY
