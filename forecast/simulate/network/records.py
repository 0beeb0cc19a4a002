"""The network as NumPy records: one array per kind of thing that the kernel reads and writes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

ONE, EITHER, TWO = range(3)
CAUSES = ("start", "after", "hold", "delivery", "limit", "hands", "two hands")
CAUSE_START, CAUSE_AFTER, CAUSE_HOLD, CAUSE_DELIVERY, CAUSE_LIMIT, CAUSE_HANDS, CAUSE_TWO = range(7)
UNFINISHED = ("", "days", "two hands", "delivery", "limit")
LACKS_NOTHING, LACKS_DAYS, LACKS_TWO, LACKS_DELIVERY, LACKS_LIMIT = range(5)
NOBODY = -1
ROW_ORDER = 255  # a stage rank: the builder's row order over all stages
BITS = 32

# TASK holds the fields read at every event, DETAIL the others: TASK then fits in the processor's cache.
TASK = np.dtype(
    [
        ("left", "f8"), ("ready_at", "f8"), ("hold", "f8"), ("open_predecessors", "i4"), ("word", "u4"),
        ("successors_begin", "u4"), ("successors_end", "u4"), ("queue", "u2"), ("stage", "u2"), ("bit", "u1"),
        ("crew", "u1"), ("begun", "u1"), ("limited", "u1"),
    ],
    align=True,
)  # fmt: skip
DETAIL = np.dtype(
    [
        ("start", "f8"), ("finish", "f8"), ("earliest", "f8"), ("expected", "f8"), ("path", "f8"),
        ("reopening_hours", "f8"), ("reopening_after_hours", "f8"), ("reopens_at", "f8"), ("waited", "f8"),
        ("predecessors", "i4"),
        ("needs_begin", "u4"), ("needs_end", "u4"), ("uses_begin", "u4"), ("uses_end", "u4"), ("stint", "i4"),
        ("cause_of", "i4"), ("start_cause_of", "i4"), ("cause", "u1"), ("start_cause", "u1"),
        ("under_way", "u1"), ("reopened", "u1"), ("asleep", "u1"), ("blocked", "u1"),
    ],
    align=True,
)  # fmt: skip
STAGE = np.dtype(
    [
        ("done", "f8"),
        ("need", "f8"),
        ("finish", "f8"),
        ("first_90", "f8"),
        ("spent", "f8"),
        ("last_worked", "f8"),
        ("last_worked_at_start", "f8"),
        ("open", "i4"),
    ],
    align=True,
)
QUEUE = np.dtype([("low", "u4"), ("end", "u4")], align=True)
USE = np.dtype([("task", "i4"), ("until", "i4"), ("limit", "u4"), ("amount", "f8")], align=True)
LIMIT = np.dtype([("amount", "f8"), ("used", "f8"), ("used_at_start", "f8")], align=True)
WAKE = np.dtype([("at", "f8"), ("task", "u4")], align=True)
# `left`: hours left of the task that a person leads; `rate`: person-hours per hour; `pace`: its inverse.
# An idle or assisting person has infinite `left` at rate 0, so that the search for the next event skips them.
PERSON = np.dtype(
    [
        ("left", "f8"), ("rate", "f8"), ("pace", "f8"), ("leaves_at", "f8"), ("busy", "f8"),
        ("worked", "f8"), ("task", "i4"), ("stage", "u4"), ("for_two", "u1"), ("only_two", "u1"),
        ("on_call", "u1"), ("lends", "u1"), ("eager", "u1"), ("stint", "i4"), ("hours", "f8"),
        ("present", "f8"), ("busy_until", "f8"), ("path", "f8"),
    ],
    align=True,
)  # fmt: skip
STINT = np.dtype([("at", "f8"), ("task", "i4"), ("previous", "i4"), ("cause", "i4")], align=True)
STATE = np.dtype(
    [
        ("open", "i4"), ("wakes", "i4"), ("reopenings", "i4"), ("next_reopening", "f8"), ("blocked", "i4"),
        ("stints", "i4"), ("last_task", "i4"),
        ("trace", "u1"), ("sharing", "u1"), ("weighs_sharing", "u1"), ("penalty", "f8"),
        ("expected_left", "f8"), ("done", "f8"), ("need", "f8"), ("finish", "f8"), ("first_90", "f8"),
        ("spent", "f8"), ("call_after_days", "f8"), ("idle_call_after_days", "f8"),
    ],
    align=True,
)  # fmt: skip


class NetworkRecords(NamedTuple):
    """One network, with space for the state of one run."""

    tasks: np.ndarray
    details: np.ndarray
    stages: np.ndarray
    queues: np.ndarray
    heads: np.ndarray
    words: np.ndarray
    task_at: np.ndarray
    lists: np.ndarray
    uses: np.ndarray
    limits: np.ndarray
    wakes: np.ndarray
    blocked: np.ndarray
    state: np.ndarray
    people: np.ndarray
    stints: np.ndarray

    def copy_for(self, people: np.ndarray, stints: int, **settings: float) -> NetworkRecords:
        """A copy that one call of the kernel may write to, with `people` and space for `stints`."""
        copy = NetworkRecords(*(array.copy() for array in self))
        for name, value in settings.items():
            copy.state[name] = value
        return copy._replace(people=people, stints=np.zeros(stints, dtype=STINT))


class RunResults(NamedTuple):
    """Output arrays of the kernel, one row per run; `Simulation` describes them."""

    start: np.ndarray
    finish: np.ndarray
    stage_finish: np.ndarray
    stage_first_90: np.ndarray
    build_finish: np.ndarray
    build_first_90: np.ndarray
    hours_done: np.ndarray
    worked_hours: np.ndarray
    present_hours: np.ndarray
    lacks: np.ndarray
    stuck_on: np.ndarray
    cause: np.ndarray
    cause_of: np.ndarray
    chain: np.ndarray
    chain_days: np.ndarray
