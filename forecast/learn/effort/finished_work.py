"""Finished tasks that rework may reopen, and the hours worked since."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.learn.progress import Progress


@dataclass(frozen=True, kw_only=True)
class FinishedWork:
    """Tasks that are done and were never reopened.

    Attributes
    ----------
    hours : (f,) first-time person-hours
    since : (f,) person-hours of all work since each was called done
    type_of, stage_of : (f,) index of the type and of the stage
    stages : number of stages
    """

    hours: np.ndarray
    since: np.ndarray
    type_of: np.ndarray
    stage_of: np.ndarray
    stages: int


def finished_work(progress: Progress, type_of: np.ndarray) -> FinishedWork:
    """The tasks that may be reopened.

    Parameters
    ----------
    progress : sessions and plan as known on one day
    type_of : (task,) index of the type
    """
    tasks, rows = progress.tasks, progress.sessions
    stage_of, stages = pd.factorize(tasks["stage"])
    mine = (tasks["done"] & (tasks["hours_first"] > 0) & (tasks["hours_rework"] <= 0)).to_numpy(dtype=bool)
    worked = worked_until(rows)
    total = float(rows["person_hours"].sum())
    return FinishedWork(
        hours=tasks["hours_first"].to_numpy(dtype=float)[mine],
        since=total - worked(tasks["finished"].to_numpy()[mine]),
        type_of=type_of[mine],
        stage_of=stage_of[mine],
        stages=len(stages),
    )


def worked_until(rows: pd.DataFrame) -> Callable[[np.ndarray], np.ndarray]:
    """Person-hours logged up to the end of a day."""
    ordered = rows.sort_values("until", kind="stable")
    days, hours = ordered["until"].to_numpy(), np.cumsum(ordered["person_hours"].to_numpy(dtype=float))
    hours = np.concatenate([[0.0], hours])
    return lambda wanted: hours[np.searchsorted(days, wanted, side="right")]
