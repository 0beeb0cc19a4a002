"""The study of finish dates: its naive ways by hand, and a small part of it computed again."""

import itertools
from datetime import date

import numpy as np
import pandas as pd
import pytest

from benchmarks.skill.finish import (
    CORNER,
    TARGETS,
    WAYS,
    Study,
    build_cases,
    coverage,
    naive_days,
    report,
)
from forecast.files.plan import Plan, Task
from forecast.learn.progress import read_progress
from forecast.questions.track_record import TASKS, WINDOW
from tests.conftest import sessions_frame


def task(name, stage, hours):
    return Task(task=name, stage=stage, title=name, planned_hours=hours)


@pytest.fixture
def progress():
    """Ten days, ten hours: A took 8 hours instead of 4, B has 2 so far; 5 and 10 are planned for B and C."""
    plan = Plan(tasks=(task("A", "tail", 4.0), task("B", "tail", 5.0), task("C", "wing", 10.0)))
    rows = [
        {"date": "2026-03-01", "hours": 8.0, "task": "A", "stage": "tail", "done": True},
        {"date": "2026-03-10", "hours": 2.0, "task": "B", "stage": "tail"},
    ]
    return read_progress(plan, sessions_frame(rows), date(2026, 3, 10))


def test_average_pace_doubles_what_is_planned_when_the_first_task_took_double(progress):
    assert naive_days(progress, "tail")["average pace"] == 5 * 2 - 2
    assert naive_days(progress, None)["average pace"] == 5 * 2 - 2 + 10 * 2


def test_the_plan_alone_takes_the_planned_hours(progress):
    assert naive_days(progress, None)["plan alone"] == 5 - 2 + 10


def test_the_recent_pace_is_that_of_the_last_13_weeks_or_of_all_when_there_are_fewer(progress):
    ways = naive_days(progress, None)
    assert ways["recent pace"] == ways["average pace"]


def test_coverage_counts_what_lies_inside_the_central_range():
    assert coverage(pd.Series([0.05, 0.11, 0.5, 0.89, 0.97]), 0.8) == pytest.approx(0.6)


@pytest.fixture(scope="module")
def committed():
    """The cases of the first build behind the committed table, at the middle cut."""
    corner = pd.read_csv(CORNER)
    return corner.loc[corner["at"] == 0.5]


@pytest.fixture(scope="module")
def study(committed):
    row = committed.iloc[0]
    runs, plays, seed = int(row["runs"]), int(row["plays"]), int(row["seed"])
    return Study(builds=1, runs=runs, plays=plays, seed=seed, fractions=(0.5,))


@pytest.fixture(scope="module")
def recomputed(study):
    return pd.DataFrame(build_cases(study, *study.parts[0]))


def test_the_committed_table_was_made_with_the_seed_and_runs_of_its_cases(study):
    page = CORNER.with_name("finish.md").read_text(encoding="utf-8")
    assert f"--runs {study.runs} --plays {study.plays} --seed {study.seed}`" in page


@pytest.mark.parametrize("way", WAYS)
def test_a_part_of_the_committed_table_is_reproduced(committed, recomputed, study, way):
    """The middle and the score within five Monte-Carlo standard errors of a median; naive ways exactly."""
    keys = ["build", "target"]
    old, new = (f.loc[f["way"] == way].set_index(keys).sort_index() for f in (committed, recomputed))
    assert list(new.index) == list(old.index)
    np.testing.assert_array_equal(new["actual"], old["actual"])
    draws = {"program": study.runs, "oracle": study.plays}.get(way, 1)
    sd = new["spread"] / (2 * 1.2816)  # from the 10 % to the 90 % point of a normal
    allowed = 5 * np.sqrt(2) * 1.2533 * sd / np.sqrt(draws) + 1e-9
    for column in ("middle", "crps"):
        assert ((new[column] - old[column]).abs() <= allowed).all(), new[column] - old[column]


def test_every_way_that_has_an_answer_is_scored_on_every_target(recomputed, study):
    pairs = set(itertools.product(TARGETS, WAYS))
    # The plan alone gives no hours for the next weeks, and no pace gives the hours of tasks.
    pairs -= {(WINDOW, "plan alone"), (TASKS, "recent pace")}
    assert sorted(zip(recomputed["target"], recomputed["way"], strict=True)) == sorted(pairs)
    assert recomputed["crps"].between(0.0, study.longest_days).all()
    assert recomputed.loc[recomputed["way"] == "program", "position"].between(0.0, 1.0).all()
    page = "\n".join(report(recomputed, study, "python -m study"))
    assert "| build | 0.5 | 1 |" in page
    assert "| next 20 tasks | as assumed, weekend | 0.5 | 1 |" in page
