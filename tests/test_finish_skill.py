"""The study of finish dates: its naive ways by pencil, and a small corner of it played."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from benchmarks.skill import finish
from benchmarks.skill.finish import (
    COLUMNS,
    CORNER,
    ROWS_A_CUT,
    TARGETS,
    WAYS,
    Study,
    build_cases,
    coverage,
    naive_days,
    report,
    run_study,
)
from forecast.files.plan import Plan, Task
from forecast.learn.progress import read_progress
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


@pytest.fixture(scope="module")
def committed():
    """The cases of the first build behind the committed table, cut in the middle."""
    kept = pd.read_csv(CORNER)
    return kept.loc[kept["at"] == 0.5]


@pytest.fixture(scope="module")
def study(committed):
    said = committed.iloc[0]
    runs, plays, seed = int(said["runs"]), int(said["plays"]), int(said["seed"])
    return Study(builds=1, runs=runs, plays=plays, seed=seed, fractions=(0.5,))


@pytest.fixture(scope="module")
def again(study):
    return pd.DataFrame(build_cases(study, *study.jobs[0]))


def test_the_committed_table_was_made_with_the_seed_and_runs_of_its_cases(study):
    page = CORNER.with_name("finish.md").read_text(encoding="utf-8")
    assert f"--runs {study.runs} --plays {study.plays} --seed {study.seed}`" in page


@pytest.mark.parametrize("way", WAYS)
def test_a_corner_of_the_committed_table_comes_out_again(committed, again, study, way):
    """The middle and the score within five Monte-Carlo standard errors of a median; naive ways exactly."""
    keys = ["build", "target"]
    old, new = (f.loc[f["way"] == way].set_index(keys).sort_index() for f in (committed, again))
    assert list(new.index) == list(old.index)
    np.testing.assert_array_equal(new["actual"], old["actual"])
    draws = {"program": study.runs, "oracle": study.plays}.get(way, 1)
    sd = new["spread"] / (2 * 1.2816)  # from the 10 % to the 90 % point of a normal
    allowed = 5 * np.sqrt(2) * 1.2533 * sd / np.sqrt(draws) + 1e-9
    for column in ("middle", "crps"):
        assert ((new[column] - old[column]).abs() <= allowed).all(), new[column] - old[column]


def test_a_small_corner_of_the_study_scores_every_way_that_has_an_answer_on_every_target(again, study):
    assert len(again) == ROWS_A_CUT
    assert set(again["target"]) == set(TARGETS)
    assert again["crps"].between(0.0, study.longest_days).all()
    assert again.loc[again["way"] == "program", "position"].between(0.0, 1.0).all()
    page = report(again, study)
    assert "| build | 0.5 | 1 |" in page
    assert "| next 20 tasks | as assumed, weekend | 0.5 | 1 |" in page


def test_a_study_that_is_resumed_does_no_build_twice_and_redoes_one_that_was_cut_short(tmp_path, monkeypatch):
    study = Study(builds=1, runs=9, plays=3, seed=5, habits=("daily",), fractions=(0.5,))
    rows = [dict.fromkeys(COLUMNS, 0) | {"way": n} for n in range(ROWS_A_CUT)]
    done = []

    def invented(study, number, effort, habit, seed):
        done.append(effort)
        return [r | {"build": seed} for r in rows]

    monkeypatch.setattr(finish, "build_cases", invented)
    kept = study.kept_in(tmp_path / "cases.csv")
    run_study(study, kept, part=(1, 2))
    assert len(done) == 2
    text = kept.path.read_text().splitlines(keepends=True)
    kept.path.write_text("".join(text[:-3]))
    run_study(study, kept)
    assert sorted(done) == sorted([*study.efforts, done[1]])
    assert kept.read().groupby("build").size().tolist() == [ROWS_A_CUT] * 4
    with pytest.raises(SystemExit, match="was made with runs 9, and 10 is asked for"):
        replace(study, runs=10).kept_in(kept.path).read()
