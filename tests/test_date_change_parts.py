"""The parts of a change of date, each by pencil: two outlooks written by hand, 30 days apart.

The earlier one expected to finish after 100 days, with 140 hours left, 40 of them in the 30 days that have
passed since: 70 days for the other 100 hours, so an hour is worth 0.7 days.
"""

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from forecast.questions import date_change
from forecast.simulate.fitted import Fitted
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

THEN, NOW = date(2026, 5, 29), date(2026, 6, 28)
RUNS = 5
PER_HOUR = 0.7


def outlook(as_of, finish, hours_left, *, sessions=(), added=(), hours_open=(1.0, 8.0)) -> Outlook:
    """Four of five runs finish by one day, half have no more hours left; 20 are done by day 20, 60 by day 40.

    The plan has a finished task and two open ones, of which `hours_open` are left; 2, 3 and 4 hours of
    first-time work and one of rework are spent on each. `added` are the days on which they were added.
    """
    log = pd.DataFrame(list(sessions) or [("2026-01-01", 0.0)], columns=["until", "person_hours"])
    tasks = pd.DataFrame({
        "stage": "hull", "done": [True, False, False], "hours_first": [2.0, 3.0, 4.0], "hours_rework": 1.0,
        "added": pd.to_datetime(pd.Series(list(added) or [None] * 3)),
    })  # fmt: skip
    progress = SimpleNamespace(
        sessions=log.assign(until=pd.to_datetime(log["until"])), tasks=tasks, started=date(2026, 1, 1),
        open_tasks=tasks.loc[~tasks["done"]], as_of=as_of,
    )  # fmt: skip
    hours = np.tile(hours_open, (400, 1))
    effort = SimpleNamespace(sample_remaining=lambda draws, rng: SimpleNamespace(hours=hours))
    days = finish + np.array([0.0, -20.0, 30.0, -5.0, -10.0])
    left = hours_left + np.array([10.0, -40.0, 90.0, 0.0, -10.0])
    done = np.tile([0.0, 20.0, 60.0], (RUNS, 1, 1))
    return Outlook(
        fitted=Fitted(build=None, progress=progress, effort=effort, bench=as_of, network=None),
        settings=Settings(runs=RUNS), stages=("hull",), finish_days=days[:, None],
        first_90_days=days[:, None], build_finish_days=days, build_first_90_days=days,
        hours_left=left[:, None],
        burn_grid_days=np.array([0.0, 20.0, 40.0]), burn_hours_done=done, hours_parts={},
    )  # fmt: skip


@pytest.fixture
def explain(monkeypatch):
    """Explain a change to an outlook of today; by default nothing happened but what was expected."""

    def explained(
        *, finish=70.0, hours_left=100.0, worked=40.0, old_pace=None, started=None, nothing_open=False, **more
    ):
        sessions = more.pop("sessions", [("2026-06-10", worked)])
        now = outlook(NOW, finish, hours_left, sessions=sessions, **more)
        now.fitted.progress.started = started or now.fitted.progress.started
        before = outlook(THEN, 100.0, 140.0)
        if nothing_open:
            before.fitted.progress.open_tasks = before.fitted.progress.tasks.iloc[:0]
        at_old_pace = outlook(NOW, finish if old_pace is None else old_pace, hours_left)
        # (day of the progress, day of the bench time) of what is simulated
        answers = {(THEN, THEN): before, (NOW, THEN): at_old_pace}
        monkeypatch.setattr(date_change, "fit_build", lambda build, day, settings: {THEN: before.fitted}[day])
        monkeypatch.setattr(
            date_change, "simulate_build", lambda fitted, settings: answers[fitted.as_of, fitted.bench]
        )
        return date_change.explain_date_change(None, now, days=30, runs=RUNS)

    return explained


def parts(**days):
    return pytest.approx(dict.fromkeys(date_change.CAUSES, 0.0) | days)


def test_nothing_moves_the_date_when_all_goes_as_expected(explain):
    found = explain()
    assert found.days == parts()
    assert (found.days_later, found.hours_expected, found.hours_worked) == (0.0, 40.0, 40.0)


def test_ten_hours_more_than_expected_move_it_a_week_earlier(explain):
    found = explain(worked=50.0, hours_left=90.0, finish=63.0)
    assert found.days == parts(worked=-10 * PER_HOUR)
    assert found.days_later == pytest.approx(-7.0)


def test_ten_hours_fewer_than_expected_move_it_a_week_later(explain):
    assert explain(worked=30.0, hours_left=110.0, finish=77.0).days == parts(worked=10 * PER_HOUR)


def test_tasks_that_take_twenty_hours_more_than_thought_move_it_a_fortnight_later(explain):
    found = explain(hours_left=120.0, finish=84.0)
    assert found.days == parts(over=20 * PER_HOUR)
    assert found.hours_over == pytest.approx(20.0)


def test_tasks_that_take_less_than_thought_move_it_earlier(explain):
    assert explain(hours_left=80.0, finish=56.0).days == parts(over=-20 * PER_HOUR)


def test_an_added_task_moves_it_later_by_its_hours_spent_and_left(explain):
    """Five hours are spent on the third task and eight are left: 13 hours more than the plan had."""
    found = explain(added=[None, None, "2026-06-01"], hours_left=113.0, finish=70.0 + 13 * PER_HOUR)
    assert found.hours_grown == pytest.approx(13.0)
    assert found.days == parts(grown=13 * PER_HOUR)


def test_of_an_added_task_that_is_finished_the_hours_spent_count(explain):
    found = explain(added=["2026-06-01", None, None], hours_left=103.0, finish=70.0 + 3 * PER_HOUR)
    assert found.days == parts(grown=3 * PER_HOUR)


@pytest.mark.parametrize(("day", "hours"), [(THEN, 0.0), (THEN + timedelta(days=1), 13.0), (NOW, 13.0)])
def test_a_task_added_on_the_earlier_day_was_known_then(explain, day, hours):
    assert explain(added=[None, None, day]).hours_grown == pytest.approx(hours)


def test_a_slower_pace_moves_it_later(explain):
    assert explain(finish=75.0, old_pace=70.0).days == parts(pace=5.0)


def test_what_no_hour_explains_is_the_order_of_the_work(explain):
    assert explain(finish=73.0).days == parts(order=3.0)


def test_all_parts_at_once_add_up_to_the_move_of_the_date(explain):
    found = explain(
        finish=80.0, old_pace=75.0, worked=50.0, hours_left=123.0, added=[None, None, "2026-06-01"]
    )
    assert found.days == parts(worked=-7.0, over=14.0, grown=9.1, pace=5.0, order=10.0 - 21.1)
    assert found.days_later == pytest.approx(80 + 30 - 100)


def test_sessions_count_from_the_day_after_the_earlier_forecast_to_today(explain):
    log = [(THEN, 1.0), (THEN + timedelta(days=1), 2.0), (NOW, 4.0)]
    assert explain(sessions=log).hours_worked == 6.0


@pytest.mark.parametrize(("started", "compared"), [(THEN, False), (THEN - timedelta(days=1), True)])
def test_a_log_must_be_longer_than_the_look_back(explain, started, compared):
    assert (explain(started=started) is not None) == compared


def test_a_finish_past_the_horizon_cannot_be_compared(explain):
    assert explain(finish=np.inf) is None


def test_a_plan_without_open_tasks_on_the_earlier_day_cannot_be_compared(explain):
    assert explain(nothing_open=True) is None
