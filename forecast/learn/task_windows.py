"""From when to when each task could be picked up, as plan and log tell it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from forecast.files.plan import Delivery, Plan
from forecast.learn.progress import Progress

ALWAYS, NEVER = np.datetime64("1900-01-01", "D"), np.datetime64("9999-12-31", "D")


def workable_since(
    progress: Progress, plan: Plan | None, deliveries: Sequence[Delivery]
) -> tuple[np.ndarray, np.ndarray]:
    """(task,) first and last day on which each task of `progress` could be picked up.

    The first is `NEVER` while it waits for work or parts, the last while it is open. Without a plan
    nothing waits.
    """
    tasks = progress.tasks
    done = tasks["done"].to_numpy()
    finished = np.where(done, tasks["finished"].to_numpy().astype("datetime64[D]"), NEVER)
    added = tasks["added"].to_numpy().astype("datetime64[D]")
    begin = np.where(np.isnat(added), ALWAYS, added)
    if plan is None:
        return begin, finished
    known = plan.known_on(progress.as_of).by_id
    free = dict(zip(tasks["task"], finished, strict=True))
    there = {d.delivery: d.arrived for d in deliveries}
    for i, name in enumerate(tasks["task"]):
        task = known[name]
        for before in task.after:
            if free[before] == NEVER:
                begin[i] = NEVER
            else:
                hold = timedelta(days=known[before].hold_days)
                begin[i] = max(begin[i], free[before] + np.timedelta64(hold.days, "D"))
        if task.delivery is not None and task.delivery in there:
            arrived = there[task.delivery]
            late = arrived is None or arrived > progress.as_of
            begin[i] = max(begin[i], NEVER if late else np.datetime64(arrived, "D"))
    return begin, finished


def waited_days(progress: Progress, plan: Plan | None, deliveries: Sequence[Delivery]) -> np.ndarray:
    """(task,) days before the end of `as_of` for which each task could have been picked up.

    None of them lies before the first session.
    """
    begin, _ = workable_since(progress, plan, deliveries)
    if progress.started is None:
        return np.zeros(len(begin))
    since = np.maximum(begin, np.datetime64(progress.started, "D"))
    days = (np.datetime64(progress.as_of, "D") - since) / np.timedelta64(1, "D")
    return np.asarray(np.maximum(days, 0.0), dtype=float)
