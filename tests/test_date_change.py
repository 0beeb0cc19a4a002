"""Why the finish date changed: the parts add up, and each is what its name says."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from forecast.files.folder import read_build
from forecast.files.plan import Plan
from forecast.quantiles import sample_quantile
from forecast.questions.date_change import CAUSES, explain_date_change
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.dashboard_build import AS_OF, write_kit

RUNS = 300


@pytest.fixture(scope="module")
def build(tmp_path_factory):
    return read_build(write_kit(tmp_path_factory.mktemp("kit")))


@pytest.fixture(scope="module")
def change(build):
    return explain_date_change(build, forecast_finish(build, AS_OF, Settings(runs=RUNS)), days=30, runs=RUNS)


def test_the_parts_add_up_to_the_move_of_the_date(change):
    now = sample_quantile(change.now.days(None), 0.8)
    then = sample_quantile(change.before.days(None), 0.8)
    assert tuple(change.days) == CAUSES
    assert change.days_later == pytest.approx(now + 30 - then)


def test_the_hours_worked_are_those_of_the_log(change, build):
    sessions = build.sessions
    month = sessions.loc[sessions["date"].dt.date > AS_OF - timedelta(days=30)]
    assert change.hours_worked == pytest.approx(month["person_hours"].sum())


def test_fewer_hours_than_expected_move_the_date_later(change):
    assert (change.days["worked"] > 0) == (change.hours_expected > change.hours_worked)


def test_tasks_added_to_the_plan_move_it_later(change):
    assert change.hours_grown > 0
    assert change.days["grown"] > 0


def test_without_them_nothing_grew(build):
    early = Plan(tasks=tuple(replace(t, added=None) for t in build.plan.tasks))
    same = replace(build, plan=early)
    found = explain_date_change(same, forecast_finish(same, AS_OF, Settings(runs=RUNS)), days=30, runs=RUNS)
    assert found.days["grown"] == found.hours_grown == 0


def test_a_log_shorter_than_the_look_back_has_nothing_to_compare(build):
    early = date(2025, 11, 20)
    assert (
        explain_date_change(build, forecast_finish(build, early, Settings(runs=100)), days=30, runs=100)
        is None
    )
