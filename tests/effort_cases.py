"""Small builds for the tests of effort: plans of equal tasks, logs of finished ones."""

from datetime import date

import numpy as np

from forecast.files.plan import Plan, Task
from forecast.learn.effort import EffortModel
from forecast.learn.progress import Progress, read_progress
from tests.conftest import sessions_frame

AS_OF = date(2026, 12, 31)


def plan_of(count: int, **common) -> Plan:
    """Tasks T000, T001, ... of four planned hours each; `common` may give one value or a list."""
    tasks = []
    for i in range(count):
        own = {k: v[i] if isinstance(v, list) else v for k, v in common.items()}
        own = {"type": "drill", "planned_hours": 4.0, "stage": "tail", "title": ""} | own
        tasks.append(Task(task=f"T{i:03d}", **own))
    return Plan(tasks=tuple(tasks))


def day(i: int) -> str:
    """The i-th day of a year of 28-day months."""
    return f"2026-{1 + i // 28:02d}-{1 + i % 28:02d}"


def finished(hours, **more) -> list[dict]:
    """One session per task, one task per day, each done."""
    return [
        {"date": day(i), "hours": float(h), "task": f"T{i:03d}", "done": True} | more
        for i, h in enumerate(hours)
    ]


def noise(count: int, sd: float, seed: int = 0) -> np.ndarray:
    """(count,) lognormal factors with median 1."""
    return np.exp(np.random.default_rng(seed).normal(0.0, sd, size=count))


def progress_of(plan: Plan, rows: list[dict], as_of: date = AS_OF) -> Progress:
    """Plan and log at the end of the year."""
    return read_progress(plan, sessions_frame(rows), as_of)


def fit(plan: Plan, rows: list[dict], seed: int = 1, **settings) -> EffortModel:
    """The model fitted to plan and log."""
    return EffortModel(**settings).fit(progress_of(plan, rows), np.random.default_rng(seed))


def work(model: EffortModel, draws: int = 2000, seed: int = 2):
    """Remaining work."""
    return model.sample_remaining(draws, np.random.default_rng(seed))


def planned_left(plan: Plan, rows: list[dict], **settings) -> np.ndarray:
    """(run,) first-time hours still to do on the planned tasks."""
    return work(fit(plan, rows, **settings)).parts["planned"]


def width(draws: np.ndarray) -> float:
    """P90 over P10."""
    low, high = np.quantile(draws, [0.1, 0.9])
    return float(high / low)
