"""The days on which each task could be worked on, by plan and log."""

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
    """First and last day on which each task of `progress` could be worked on.

    Parameters
    ----------
    progress : plan and log as known on one day
    plan : what each task waits for; None = no task waits
    deliveries : arrival days of kits and parts

    Returns
    -------
    (task,) first days, `NEVER` while a task waits for work or parts; (task,) last days, `NEVER` while open
    """
    tasks = progress.tasks
    done = tasks["done"].to_numpy()
    finished = np.where(done, tasks["finished"].to_numpy().astype("datetime64[D]"), NEVER)
    added = tasks["added"].to_numpy().astype("datetime64[D]")
    begin = np.where(np.isnat(added), ALWAYS, added)
    if plan is None:
        return begin, finished
    known = plan.known_on(progress.as_of).by_id
    finished_on = dict(zip(tasks["task"], finished, strict=True))
    arrivals = {d.delivery: d.arrived for d in deliveries}
    for i, name in enumerate(tasks["task"]):
        task = known[name]
        for before in task.after:
            if finished_on[before] == NEVER:
                begin[i] = NEVER
            else:
                hold = timedelta(days=known[before].hold_days)
                begin[i] = max(begin[i], finished_on[before] + np.timedelta64(hold.days, "D"))
        if task.delivery is not None and task.delivery in arrivals:
            arrived = arrivals[task.delivery]
            waiting = arrived is None or arrived > progress.as_of
            begin[i] = max(begin[i], NEVER if waiting else np.datetime64(arrived, "D"))
    return begin, finished


def waited_days(progress: Progress, plan: Plan | None, deliveries: Sequence[Delivery]) -> np.ndarray:
    """(task,) days up to `as_of` for which each task could have been worked on, from the first session.

    Parameters as in `workable_since`.
    """
    begin, _ = workable_since(progress, plan, deliveries)
    if progress.started is None:
        return np.zeros(len(begin))
    since = np.maximum(begin, np.datetime64(progress.started, "D"))
    days = (np.datetime64(progress.as_of, "D") - since) / np.timedelta64(1, "D")
    return np.asarray(np.maximum(days, 0.0), dtype=float)
