"""The desk of one run: which tasks are ready, which wake later, what is held.

Compiled code. Ready tasks stand in queues, one for a stage's work for one person and one for its work for
two, as bits of words in row order, so that the first of a queue is found without looking at the others.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

ONE, EITHER, TWO = 0, 1, 2
_BITS = 32
IDLE, ABSENT = -1, -2
TINY_HOURS = 1e-9
TINY_DAYS = 1e-9
OPEN, WAKES, BLOCKED = 0, 1, 2

# The place of the lowest bit set, by multiplication with a de Bruijn sequence of 32 bits.
_DE_BRUIJN = 0x077CB531
_BIT_OF = np.array([0] * 32, dtype=np.int64)
for _i in range(32):
    _BIT_OF[((_DE_BRUIJN << _i) & 0xFFFFFFFF) >> 27] = _i


class Desk(NamedTuple):
    """Scratch arrays of one call, used again for every run."""

    counts: np.ndarray
    left: np.ndarray
    waits: np.ndarray
    ready_at: np.ndarray
    begun: np.ndarray
    words: np.ndarray
    low: np.ndarray
    top: np.ndarray
    wake_at: np.ndarray
    wake_task: np.ndarray
    blocked: np.ndarray
    held: np.ndarray
    stage_open: np.ndarray
    stage_done: np.ndarray
    stage_need: np.ndarray
    on: np.ndarray
    rate: np.ndarray


class Out(NamedTuple):
    """What is kept of each run."""

    start: np.ndarray
    finish: np.ndarray
    stage_finish: np.ndarray
    build_finish: np.ndarray
    stage_first_90: np.ndarray
    build_first_90: np.ndarray
    hours_done: np.ndarray
    worked: np.ndarray
    present: np.ndarray


@njit
def new_desk(net, people):
    """Scratch arrays for one call."""
    tasks, stages = net.stage.size, net.spent.size
    return Desk(
        counts=np.zeros(3, np.int64),
        left=np.zeros(tasks),
        waits=np.zeros(tasks, np.int64),
        ready_at=np.zeros(tasks),
        begun=np.zeros(tasks, np.bool_),
        words=np.zeros(net.task_at.size // _BITS, np.int64),
        low=np.zeros(2 * stages, np.int64),
        top=np.zeros(2 * stages, np.int64),
        wake_at=np.zeros(tasks),
        wake_task=np.zeros(tasks, np.int64),
        blocked=np.zeros(tasks, np.int64),
        held=np.zeros(net.limit_amount.size),
        stage_open=np.zeros(stages, np.int64),
        stage_done=np.zeros(stages + 1),
        stage_need=np.zeros(stages + 1),
        on=np.zeros(people, np.int64),
        rate=np.zeros(people),
    )


@njit
def take_limits(net, desk, i):
    """Take what task i needs of each limit, if all of it is there."""
    for take in range(2):
        for p in range(net.use_at[i], net.use_at[i + 1]):
            u = net.use[p]
            if net.use_task[u] != i:
                continue
            limit = net.use_limit[u]
            if take:
                desk.held[limit] += net.use_amount[u]
            elif desk.held[limit] + net.use_amount[u] > net.limit_amount[limit] * (1 + 1e-12):
                return False
    return True


@njit
def give_back(net, desk, i, out, run):
    """Free the limits that end with task i, and look again at what they kept waiting."""
    for p in range(net.use_at[i], net.use_at[i + 1]):
        u = net.use[p]
        first, last = net.use_task[u], net.use_until[u]
        if (first < 0 or out.finish[run, first] < np.inf) and out.finish[run, last] < np.inf:
            desk.held[net.use_limit[u]] -= net.use_amount[u]
    if net.use_at[i] < net.use_at[i + 1]:
        for b in range(desk.counts[BLOCKED]):
            put(net, desk, desk.blocked[b])
        desk.counts[BLOCKED] = 0


@njit
def let_go(net, desk, i, now):
    """Nothing that comes before task i is open any more: it is ready now, or wakes later."""
    if desk.ready_at[i] <= now + TINY_DAYS:
        put(net, desk, i)
    else:
        _set_alarm(desk, desk.ready_at[i], i)


@njit
def put(net, desk, i):
    """Task i is ready to be picked up."""
    q, w = net.queue[i], net.word[i]
    desk.words[w] |= 1 << net.bit[i]
    desk.low[q] = min(desk.low[q], w)
    desk.top[q] = min(desk.top[q], i)


@njit
def take(net, desk, i):
    """Take task i, the first of its queue, out of it."""
    q, w = net.queue[i], net.word[i]
    desk.words[w] ^= 1 << net.bit[i]
    last = net.queue_at[q + 1]
    while w < last and desk.words[w] == 0:
        w += 1
    desk.low[q] = w
    if w == last:
        desk.top[q] = net.stage.size
    else:
        word = desk.words[w]
        lowest = ((word & -word) * _DE_BRUIJN & 0xFFFFFFFF) >> 27
        desk.top[q] = net.task_at[w * _BITS + _BIT_OF[lowest]]


@njit
def _set_alarm(desk, at, i):
    """Put task i into the heap of what wakes later, the soonest first."""
    place = desk.counts[WAKES]
    desk.counts[WAKES] += 1
    while place > 0:
        parent = (place - 1) >> 1
        if desk.wake_at[parent] <= at:
            break
        desk.wake_at[place] = desk.wake_at[parent]
        desk.wake_task[place] = desk.wake_task[parent]
        place = parent
    desk.wake_at[place] = at
    desk.wake_task[place] = i


@njit
def wake(net, desk, now):
    """Everything whose time has come is ready."""
    while desk.counts[WAKES] > 0 and desk.wake_at[0] <= now + TINY_DAYS:
        put(net, desk, desk.wake_task[0])
        desk.counts[WAKES] -= 1
        size = desk.counts[WAKES]
        at, i = desk.wake_at[size], desk.wake_task[size]
        place = 0
        while 2 * place + 1 < size:
            child = 2 * place + 1
            if child + 1 < size and desk.wake_at[child + 1] < desk.wake_at[child]:
                child += 1
            if at <= desk.wake_at[child]:
                break
            desk.wake_at[place] = desk.wake_at[child]
            desk.wake_task[place] = desk.wake_task[child]
            place = child
        desk.wake_at[place] = at
        desk.wake_task[place] = i


@njit
def count_free(desk, only_two):
    """How many people are there without work: all-round hands, and those for two-person work only."""
    hands, helpers = 0, 0
    for k in range(desk.on.size):
        if desk.on[k] == IDLE:
            if only_two[k]:
                helpers += 1
            else:
                hands += 1
    return hands, helpers


@njit
def first_free(desk, only_two, helper):
    """The first person there without work; -1 for nobody."""
    for k in range(desk.on.size):
        if desk.on[k] == IDLE and only_two[k] == helper:
            return k
    return -1


@njit
def begin(net, desk, hours, release, out, run):
    """Set the desk to the end of `as_of`."""
    tasks, stages = net.stage.size, net.spent.size
    desk.counts[:] = 0
    desk.counts[OPEN] = tasks
    desk.words[:] = 0
    desk.top[:] = tasks
    desk.low[:] = net.queue_at[: 2 * stages]
    desk.held[:] = net.limit_held
    desk.stage_open[:] = 0
    desk.stage_done[:] = 0.0
    desk.stage_need[:] = 0.0
    for i in range(tasks):
        desk.left[i] = hours[i]
        desk.begun[i] = net.under_way[i]
        desk.stage_open[net.stage[i]] += 1
        desk.stage_need[net.stage[i]] += hours[i]
        desk.stage_need[stages] += hours[i]
        desk.waits[i] = net.before[i]
        at = net.earliest[i]
        for p in range(net.delivery_at[i], net.delivery_at[i + 1]):
            at = max(at, release[net.delivery[p]])
        desk.ready_at[i] = at
        if net.before[i] == 0:
            let_go(net, desk, i, 0.0)
    spent = net.spent.sum()
    for s in range(stages):
        desk.stage_need[s] = 0.9 * (net.spent[s] + desk.stage_need[s]) - net.spent[s]
        open_work = desk.stage_open[s] > 0
        out.stage_finish[run, s] = np.inf if open_work else 0.0
        out.stage_first_90[run, s] = np.inf if open_work and desk.stage_need[s] > 0 else 0.0
    spent += net.spent_elsewhere
    desk.stage_need[stages] = 0.9 * (spent + desk.stage_need[stages]) - spent
    out.build_finish[run] = np.inf if tasks > 0 else 0.0
    out.build_first_90[run] = np.inf if tasks > 0 and desk.stage_need[stages] > 0 else 0.0
