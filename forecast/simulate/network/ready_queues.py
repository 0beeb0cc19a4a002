"""Ready queues, wake-up times and limits of one run (compiled code).

Each stage has two queues of ready tasks: work for one person and work for two. A queue is a bit set in row
order, so its first task is found without a search.
"""

# mypy: allow-untyped-defs, allow-untyped-calls
from __future__ import annotations

import numpy as np
from numba import njit
from numba.core.options import DefaultOptions

from forecast.simulate.network.records import BITS, CAUSE_LIMIT, NOBODY

# Clock comparisons: sums of float64 hours over a build are exact to about 1e-11.
TINY = 1e-9
# Larger than any task position: the head of an empty queue.
EMPTY = 1 << 30

# Multiplying by a de Bruijn sequence gives the index of the lowest set bit: numba has no such intrinsic.
_DE_BRUIJN = 0x077CB531
_BIT_OF = np.zeros(BITS, dtype=np.uint32)
for _i in range(BITS):
    _BIT_OF[((_DE_BRUIJN << _i) & 0xFFFFFFFF) >> 27] = _i


def inlined(function):
    """Inline a function into the kernel."""
    # The functions allocate no arrays, so counting references only costs: 80 % of the run time when measured.
    # A numba without this private option still runs them, more slowly.
    if hasattr(DefaultOptions, "_nrt"):
        return njit(_nrt=False, forceinline=True, no_cpython_wrapper=True, no_cfunc_wrapper=True)(function)
    return njit(forceinline=True)(function)


def out_of_line(function):
    """Compile a rarely called function once instead of inlining it at every call."""
    if hasattr(DefaultOptions, "_nrt"):
        return njit(_nrt=False, no_cpython_wrapper=True, no_cfunc_wrapper=True)(function)
    return njit(function)


@inlined
def push(net, i):
    """Add task i to its ready queue."""
    task = net.tasks[i]
    queue = net.queues[task.queue]
    net.words[task.word] |= 1 << task.bit
    queue.low = min(queue.low, task.word)
    net.heads[task.queue] = min(net.heads[task.queue], i)


@inlined
def pop(net, i):
    """Remove task i, the head of its queue, and find the new head."""
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
        net.heads[task.queue] = EMPTY
    else:
        lowest = (((word & -word) * _DE_BRUIJN) & 0xFFFFFFFF) >> 27
        net.heads[task.queue] = net.task_at[w * BITS + _BIT_OF[lowest]]


@out_of_line
def remove(net, i):
    """Remove task i from its queue, wherever it is in it."""
    task = net.tasks[i]
    if net.heads[task.queue] == i:
        pop(net, i)
    else:
        net.words[task.word] &= ~(1 << task.bit)


@inlined
def is_queued(net, i):
    """Whether task i is in its ready queue."""
    task = net.tasks[i]
    return (net.words[task.word] >> task.bit) & 1 == 1


@out_of_line
def make_eligible(net, i, now):
    """Task i has no open predecessor: queue it now, or wake it when its hold or delivery is over."""
    at, detail = net.tasks[i].ready_at, net.details[i]
    if detail.asleep or detail.blocked:
        return
    if at <= now + TINY:
        push(net, i)
        return
    detail.asleep = 1
    schedule_wake(net, i, at)


@inlined
def schedule_wake(net, i, at):
    """Push task i on the heap of wake-up times."""
    state, wakes = net.state[0], net.wakes
    place = state.wakes
    state.wakes += 1
    while place > 0:
        parent = (place - 1) >> 1
        if wakes[parent].at <= at:
            break
        wakes[place].at = wakes[parent].at
        wakes[place].task = wakes[parent].task
        place = parent
    wakes[place].at = at
    wakes[place].task = i


@inlined
def pop_wake(net, now):
    """Pop the next task whose wake-up time has come; -1 for none."""
    state, wakes = net.state[0], net.wakes
    if state.wakes > 0 and wakes[0].at <= now + TINY:
        i = np.int64(wakes[0].task)
        state.wakes -= 1
        last = wakes[state.wakes]
        place, child = 0, 1
        while child < state.wakes:
            if child + 1 < state.wakes and wakes[child + 1].at < wakes[child].at:
                child += 1
            if last.at <= wakes[child].at:
                break
            wakes[place].at = wakes[child].at
            wakes[place].task = wakes[child].task
            place, child = child, 2 * child + 1
        wakes[place].at = last.at
        wakes[place].task = last.task
        return i
    return -1


@out_of_line
def seize_limits(net, i):
    """Seize what task i needs of every limit; if any is short, seize nothing and block the task."""
    if _add_use(net, i, 1.0):
        return True
    _add_use(net, i, -1.0)
    net.details[i].blocked = 1
    net.blocked[net.state[0].blocked] = i
    net.state[0].blocked += 1
    return False


@inlined
def _add_use(net, i, share):
    """Add `share` of what task i needs to the use of each limit; whether every limit suffices."""
    detail, enough = net.details[i], True
    for p in range(detail.uses_begin, detail.uses_end):
        use = net.uses[net.lists[p]]
        if use.task == i:
            limit = net.limits[use.limit]
            limit.used += share * use.amount
            enough &= limit.used <= limit.amount * (1 + TINY)
    return enough


@out_of_line
def release_limits(net, i, now):
    """Release the limits whose use ends with task i and make every blocked task eligible again."""
    detail = net.details[i]
    if detail.uses_begin == detail.uses_end:
        return
    for p in range(detail.uses_begin, detail.uses_end):
        use = net.uses[net.lists[p]]
        begun = use.task == NOBODY or net.details[use.task].finish < np.inf
        if begun and net.details[use.until].finish < np.inf:
            net.limits[use.limit].used -= use.amount
    for b in range(net.state[0].blocked):
        j = net.blocked[b]
        task, other = net.tasks[j], net.details[j]
        other.blocked, other.cause, other.cause_of = 0, CAUSE_LIMIT, i
        task.ready_at = max(task.ready_at, now)
        if task.open_predecessors == 0:
            make_eligible(net, j, now)
    net.state[0].blocked = 0


@inlined
def clear_queues(net):
    """Empty every ready queue."""
    for w in range(net.words.size):
        net.words[w] = 0
    for q in range(net.queues.size):
        net.queues[q].low = net.queues[q].end
        net.heads[q] = EMPTY
