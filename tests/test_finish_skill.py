"""The study of finish dates: its naive ways by pencil, and a small corner of it played."""

from datetime import date

import pandas as pd
import pytest

from benchmarks.finish_skill import TARGETS, WAYS, Study, coverage, naive_days, report, run_study
from forecast.plan import Plan, Task
from forecast.progress import read_progress
from tests.conftest import sessions_frame


def task(name, stage, hours):
    return Task(task=name, stage=stage, title=name, planned_hours=hours)


@pytest.fixture
def progress():
    """Ten days, ten hours: A took 8 of its 4 planned, 2 hours into B; 5 and 10 are planned for B and C."""
    plan = Plan(tasks=(task("A", "tail", 4.0), task("B", "tail", 5.0), task("C", "wing", 10.0)))
    rows = [
        {"date": "2026-03-01", "hours": 8.0, "task": "A", "stage": "tail", "done": True},
        {"date": "2026-03-10", "hours": 2.0, "task": "B", "stage": "tail"},
    ]
    return read_progress(plan, sessions_frame(rows), date(2026, 3, 10))


def test_average_pace_doubles_what_is_planned_when_the_first_task_took_double(progress):
    assert naive_days(progress, "tail")["average pace"] == 5 * 2 - 2
    assert naive_days(progress, None)["average pace"] == 5 * 2 - 2 + 10 * 2


def test_the_plan_alone_takes_the_hours_as_they_stand(progress):
    assert naive_days(progress, None)["plan alone"] == 5 - 2 + 10


def test_the_recent_pace_is_that_of_the_last_13_weeks_or_of_all_when_there_are_fewer(progress):
    ways = naive_days(progress, None)
    assert ways["recent pace"] == ways["average pace"]


def test_coverage_counts_what_lies_within_the_central_range():
    assert coverage(pd.Series([0.05, 0.11, 0.5, 0.89, 0.97]), 0.8) == pytest.approx(0.6)


def test_a_small_corner_of_the_study_scores_every_way_on_every_target():
    study = Study(builds=1, runs=60, plays=6, seed=5, efforts=("as assumed",), habits=("daily",))
    found = run_study(study)
    assert len(found) == 3 * len(TARGETS) * len(WAYS)
    assert found["crps"].between(0.0, study.longest_days).all()
    assert found.loc[found["way"] == "program", "position"].between(0.0, 1.0).all()
    assert "| build | 0.5 | 1 |" in report(found, study)
