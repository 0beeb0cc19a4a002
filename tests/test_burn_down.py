"""Hours left, behind and ahead, by pencil."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.progress import read_progress
from forecast.questions.burn_down import burn_down
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings
from tests.conftest import sessions_frame

AS_OF = date(2026, 3, 31)


class Effort:
    """Four hours are left on every open task."""

    def sample_remaining(self, draws, rng):
        return SimpleNamespace(hours=np.full((draws, 2), 4.0))


def outlook_of(plan, rows, *, left, done, grid=(0, 14, 28)):
    progress = read_progress(plan, sessions_frame(rows), AS_OF)
    return Outlook(
        fitted=SimpleNamespace(progress=progress, effort=Effort(), as_of=AS_OF),
        settings=Settings(runs=len(left)),
        stages=plan.stages,
        finish_days=np.zeros((len(left), 2)),
        first_90_days=np.zeros((len(left), 2)),
        build_finish_days=np.zeros(len(left)),
        build_first_90_days=np.zeros(len(left)),
        hours_left=np.array(left, dtype=float),
        burn_grid_days=np.array(grid),
        burn_hours_done=np.array(done, dtype=float),
        hours_parts={},
    )


@pytest.fixture
def outlook():
    """Two stages of one open task each; A worked 3 and 2 hours on the tail, with B once."""
    plan = Plan(
        tasks=(
            Task(task="T", stage="tail", title="T"),
            Task(task="W", stage="wing", title="W", added=date(2026, 3, 20)),
        )
    )
    rows = [
        {"date": "2026-03-16", "hours": 3, "task": "T", "stage": "tail"},
        {"date": "2026-03-24", "hours": 2, "task": "T", "stage": "tail", "builders": "A+B"},
    ]
    one = [[6.0, 4.0], [8.0, 4.0], [7.0, 4.0]]
    done = [[[0, 3, 6], [0, 0, 4]], [[0, 0, 0], [0, 0, 0]], [[0, 7, 7], [0, 4, 4]]]
    return outlook_of(plan, rows, left=one, done=done)


def test_looking_back_hours_spent_later_were_left_then(outlook):
    logged = burn_down(outlook, "tail").logged
    assert logged["day"].dt.date.to_list() == [
        date(2026, 3, 15), date(2026, 3, 22), date(2026, 3, 29), AS_OF,
    ]  # fmt: skip
    assert logged["hours_left"].to_list() == [7.0 + 7.0, 7.0 + 4.0, 7.0, 7.0]


def test_a_task_that_came_into_the_plan_lifts_the_line_on_that_day(outlook):
    burned = burn_down(outlook)
    assert burned.scope[["tasks", "hours"]].values.tolist() == [[1, 4.0]]
    assert burned.scope["day"].dt.date.to_list() == [date(2026, 3, 20)]
    assert burned.logged["hours_left"].to_list() == [11 + 7 - 4, 11 + 4, 11, 11]


def test_a_stage_has_only_its_own_scope(outlook):
    assert burn_down(outlook, "tail").scope.empty


def test_the_line_back_meets_the_middle_of_the_runs_today(outlook):
    burned = burn_down(outlook)
    assert burned.logged["hours_left"].iloc[-1] == burned.forecast["p50"].iloc[0] == 11.0


def test_ahead_the_runs_have_left_what_they_have_not_done(outlook):
    ahead = burn_down(outlook).forecast
    assert ahead["p50"].to_list() == [11.0, 7.0, 0.0]
    assert ahead["p98"].to_list() == [12.0, 12.0, 12.0]
    assert ahead["day"].dt.date.to_list() == [AS_OF, date(2026, 4, 14), date(2026, 4, 28)]


def test_the_picture_ends_when_nine_in_ten_runs_have_nothing_left():
    plan = Plan(tasks=(Task(task="T", stage="tail", title="T"), Task(task="W", stage="wing", title="W")))
    left = [[2.0, 0.0]] * 20
    done = [[[0, 2, 2, 2, 2], [0] * 5]] * 19 + [[[0, 0, 0, 0, 2], [0] * 5]]
    outlook = outlook_of(plan, [], left=left, done=done, grid=(0, 14, 28, 42, 56))
    assert burn_down(outlook).forecast["p90"].to_list() == [2.0, 0.0]


def test_without_a_session_the_line_is_one_point(outlook):
    plan = Plan(tasks=(Task(task="T", stage="tail", title="T"), Task(task="W", stage="wing", title="W")))
    outlook = outlook_of(plan, [], left=[[2.0, 1.0]], done=[[[0, 2, 2], [0, 1, 1]]])
    assert burn_down(outlook).logged.equals(
        pd.DataFrame({"day": pd.Series([pd.Timestamp(AS_OF)]).astype("datetime64[us]"), "hours_left": [3.0]})
    )
