"""Plan and log together, as they stood on one day."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame

LOG = [
    {"date": "2026-03-02", "hours": 2, "task": "D1", "quantity": 3, "percent": 40},
    {"date": "2026-03-04", "hours": 1.5, "task": "D1", "quantity": 3, "done": True},
    {"date": "2026-03-04", "hours": 1, "builders": "A+B", "task": "D2", "quantity": 2},
    {"date": "2026-03-07", "hours": 3, "task": "", "stage": "shop", "type": "clean"},
    {"date": "2026-03-08", "hours": 1, "task": "D2", "rework": True},
]
SUNDAY = date(2026, 3, 8)


def _row(progress, task):
    return progress.tasks.set_index("task").loc[task]


def test_a_task_is_done_when_its_last_day_says_so(five_tasks):
    progress = read_progress(five_tasks, sessions_frame(LOG), SUNDAY)
    assert _row(progress, "D1")["done"]
    assert _row(progress, "D1")["finished"] == pd.Timestamp("2026-03-04")
    assert not _row(progress, "D2")["done"]


def test_a_session_after_done_opens_the_task_again(five_tasks):
    later = [*LOG, {"date": "2026-03-08", "hours": 0.5, "task": "D1", "rework": True}]
    progress = read_progress(five_tasks, sessions_frame(later), SUNDAY)
    assert not _row(progress, "D1")["done"]
    assert pd.isna(_row(progress, "D1")["finished"])


def test_person_hours_count_everybody_and_rework_stands_apart(five_tasks):
    row = _row(read_progress(five_tasks, sessions_frame(LOG), SUNDAY), "D2")
    assert row["hours_first"] == 2.0
    assert row["hours_rework"] == 1.0
    assert row["shared_fraction"] == 1.0


def test_all_hours_of_the_log_are_somewhere(five_tasks):
    progress = read_progress(five_tasks, sessions_frame(LOG), SUNDAY)
    placed = progress.tasks[["hours_first", "hours_rework"]].to_numpy().sum()
    assert placed + progress.outside["person_hours"].sum() == progress.sessions["person_hours"].sum()


def test_nothing_dated_later_is_seen(five_tasks):
    early = read_progress(five_tasks, sessions_frame(LOG), date(2026, 3, 3))
    cut = read_progress(five_tasks, sessions_frame(LOG[:1]), date(2026, 3, 3))
    pd.testing.assert_frame_equal(early.tasks, cut.tasks)
    pd.testing.assert_frame_equal(early.reports, cut.reports)


def test_an_entry_over_several_days_is_not_known_before_its_last_day(five_tasks):
    log = sessions_frame([{"date": "2026-03-02", "until": "2026-03-09", "hours": 20, "task": "D1"}])
    assert read_progress(five_tasks, log, SUNDAY).started is None
    assert read_progress(five_tasks, log, date(2026, 3, 9)).started == date(2026, 3, 2)


def test_the_order_of_the_rows_does_not_matter(five_tasks):
    rng = np.random.default_rng(5)
    log = sessions_frame(LOG)
    expected = read_progress(five_tasks, log, SUNDAY)
    mixed = log.iloc[rng.permutation(len(log))].reset_index(drop=True)
    mixed = mixed.assign(line=np.arange(2, len(mixed) + 2))
    pd.testing.assert_frame_equal(read_progress(five_tasks, mixed, SUNDAY).tasks, expected.tasks)


def test_pieces_before_counts_the_same_type_in_working_order(five_tasks):
    progress = read_progress(five_tasks, sessions_frame(LOG), SUNDAY)
    assert _row(progress, "D1")["pieces_before"] == 0
    assert _row(progress, "D2")["pieces_before"] == 6
    assert _row(progress, "R1")["pieces_before"] == 0


def test_finished_tasks_come_first_in_position_then_those_under_way(five_tasks):
    log = sessions_frame(
        [
            {"date": "2026-03-02", "hours": 2, "task": "P1"},
            {"date": "2026-03-03", "hours": 2, "task": "D2", "done": True},
        ]
    )
    position = read_progress(five_tasks, log, SUNDAY).tasks.set_index("task")["position"]
    assert list(position.sort_values().index) == ["D2", "P1", "D1", "R1", "W1"]


def test_reports_carry_the_hours_spent_by_then(five_tasks):
    reports = read_progress(five_tasks, sessions_frame(LOG), SUNDAY).reports
    said = reports[(reports["task"] == "D1") & (reports["kind"] == "percent")].iloc[0]
    assert (said["fraction"], said["hours_so_far"], said["total_hours"]) == (0.4, 2.0, 3.5)
    counted = reports[(reports["task"] == "D2")].iloc[0]
    assert counted["fraction"] == pytest.approx(2 / 6)
    assert np.isnan(counted["total_hours"])


def test_idle_days_count_from_the_last_session_on_the_same_type(five_tasks):
    progress = read_progress(five_tasks, sessions_frame(LOG), SUNDAY)
    assert _row(progress, "D2")["idle_days"] == 2.0
    assert np.isnan(_row(progress, "D1")["idle_days"])


def test_a_task_added_later_is_not_in_the_plan_yet():
    plan = Plan(
        tasks=(
            Task(task="X", stage="s", title="X", after=("Y",)),
            Task(task="Y", stage="s", title="Y", added=date(2026, 5, 1)),
        )
    )
    log = sessions_frame([{"date": "2026-03-02", "hours": 1, "task": "Y"}])
    progress = read_progress(plan, log, date(2026, 4, 1))
    assert list(progress.tasks["task"]) == ["X"]
    assert progress.outside["person_hours"].sum() == 1.0


def test_an_empty_log_leaves_every_task_untouched(five_tasks):
    progress = read_progress(five_tasks, sessions_frame([]), SUNDAY)
    assert progress.started is None
    assert progress.finished_tasks == 0
    assert len(progress.open_tasks) == 5
