"""The effort model: what finished tasks say about the open ones."""

from datetime import date

import numpy as np
import pytest

from forecast.effort import EffortModel
from forecast.plan import Plan, Task
from forecast.progress import read_progress
from tests.conftest import sessions_frame


def _plan(count: int, **common) -> Plan:
    return Plan(
        tasks=tuple(
            Task(task=f"T{i:03d}", stage="tail", title="", **{"type": "drill", "planned_hours": 4.0} | common)
            for i in range(count)
        )
    )


def _finished(hours: list[float]):
    return sessions_frame(
        [
            {
                "date": f"2026-{1 + i // 28:02d}-{1 + i % 28:02d}",
                "hours": h,
                "task": f"T{i:03d}",
                "done": True,
            }
            for i, h in enumerate(hours)
        ]
    )


def _planned_hours(plan, log, seed=1, draws=2000):
    progress = read_progress(plan, log, date(2026, 12, 31))
    rng = np.random.default_rng(seed)
    return EffortModel().fit(progress, rng).sample_remaining(draws, rng).parts["planned"]


def test_without_a_log_the_plan_speaks_and_widely(five_tasks):
    rng = np.random.default_rng(1)
    model = EffortModel().fit(read_progress(five_tasks, sessions_frame([]), date(2026, 3, 1)), rng)
    hours = model.sample_remaining(2000, rng).parts["planned"]
    assert set(model.types_["basis"]) == {"prior"}
    assert np.quantile(hours, 0.1) < 20 < np.quantile(hours, 0.9)
    assert "No task is finished yet" in model.notes_[0]


def test_tasks_that_took_twice_their_plan_foretell_twice_the_plan():
    rng = np.random.default_rng(2)
    hours = list(8.0 * np.exp(rng.normal(0, 0.1, size=40)))
    left = _planned_hours(_plan(50), _finished(hours))
    assert np.median(left) == pytest.approx(80, rel=0.1)


def test_same_seed_same_hours():
    log = _finished([3.0, 4.0, 6.0])
    assert (_planned_hours(_plan(6), log) == _planned_hours(_plan(6), log)).all()


def test_parts_add_up_to_the_hours():
    progress = read_progress(_plan(20), _finished([3.0, 5.0, 4.0]), date(2026, 12, 31))
    rng = np.random.default_rng(3)
    work = EffortModel().fit(progress, rng).sample_remaining(500, rng)
    assert work.tasks == tuple(f"T{i:03d}" for i in range(3, 20))
    np.testing.assert_allclose(work.hours.sum(axis=1), sum(work.parts.values()))
