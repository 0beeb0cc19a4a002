"""The learning curve of a type, its points and its words."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.effort import EffortModel
from forecast.learn.progress import read_progress
from forecast.questions.practice import practice
from tests.conftest import sessions_frame

AS_OF = date(2027, 1, 1)


def fitted(*, planned=3.0, rate=0.7):
    """Sixteen tasks of five ribs at a known rate, the last four still open."""
    tasks = tuple(
        Task(
            task=f"D{i:02d}", stage="tail", title=f"Rib {i}", type="deburr", quantity=5, planned_hours=planned
        )
        for i in range(16)
    )
    begun = pd.Timestamp("2026-01-05")
    rows = [
        {
            "date": (begun + pd.Timedelta(days=7 * i)).date().isoformat(),
            "hours": round(6 * (i + 1) ** np.log2(rate), 2), "task": f"D{i:02d}", "done": True,
        }
        for i in range(12)
    ]  # fmt: skip
    progress = read_progress(Plan(tasks=tasks), sessions_frame(rows), AS_OF)
    return progress, EffortModel().fit(progress, np.random.default_rng(1))


@pytest.fixture(scope="module")
def ribs():
    progress, model = fitted()
    return practice(progress, model, "deburr")


def test_the_points_are_the_finished_tasks_over_their_plan(ribs):
    assert ribs.measure == "times the plan"
    assert ribs.points["task"].to_list() == [f"D{i:02d}" for i in range(12)]
    assert ribs.points["value"].iloc[0] == pytest.approx(2.0)


def test_a_task_is_shown_at_a_piece_within_it(ribs):
    pieces = ribs.points["piece"].to_numpy()
    first = 1 + 5 * np.arange(12)
    assert ((pieces >= first) & (pieces <= first + 4)).all()


def test_the_curve_falls_and_passes_through_the_points(ribs):
    assert (np.diff(ribs.curve["p50"]) < 0).all()
    assert (ribs.curve["p10"] <= ribs.curve["p90"]).all()
    at_points = np.interp(ribs.points["piece"], ribs.curve["piece"], ribs.curve["p50"])
    assert np.abs(np.log(at_points / ribs.points["value"])).mean() < 0.25


def test_a_certain_curve_is_described_by_its_rate(ribs):
    assert ribs.rate["p10"] < ribs.rate["p50"] < ribs.rate["p90"] < 1
    assert ribs.sentence.startswith("Deburr: each doubling of the pieces leaves")


def test_without_planned_hours_it_is_hours_per_piece():
    progress, model = fitted(planned=None)
    found = practice(progress, model, "deburr")
    assert found.measure == "hours per piece"
    assert found.points["value"].iloc[0] == pytest.approx(6 / 5)


def test_a_type_that_nobody_began_has_a_curve_and_no_point():
    plan = Plan(tasks=(Task(task="P", stage="tail", title="P", type="prime", planned_hours=2),))
    progress = read_progress(plan, sessions_frame([]), AS_OF)
    found = practice(progress, EffortModel().fit(progress, np.random.default_rng(1)), "prime")
    assert found.points.empty
    assert len(found.curve)
