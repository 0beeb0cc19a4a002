"""How long two-person work waits until somebody is asked, learned from the days on which it waited."""

from datetime import timedelta

import numpy as np
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import BenchTime, priors
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame
from tests.test_bench_time import MONDAY, A, B

PLAN = Plan(
    tasks=(
        Task(task="W1", stage="wing", title="", type="rivet", crew="two", planned_hours=40),
        Task(task="W2", stage="wing", title="", type="drill", planned_hours=400),
    )
)
AS_OF = MONDAY + timedelta(days=7 * 40 - 1)


def learned(visited, *, days=40, builders=(A,), plan=PLAN):
    """What is learned from a session a week, with a visitor where `visited` says so of the week's number."""
    rows = [
        {"date": MONDAY + timedelta(days=7 * week), "task": "W2", "hours": 2.0, "helpers": int(visited(week))}
        for week in range(days)
    ]
    progress = read_progress(plan, sessions_frame(rows), AS_OF)
    return BenchTime().fit(progress, builders, plan=plan).learned_


def test_work_that_waits_for_months_without_a_visitor_teaches_patience():
    found = learned(lambda week: False).calling_in
    assert found.observed == 40
    assert found.days[0] > 3 * priors.CALL_DAYS


def test_a_visitor_on_every_day_from_the_fourth_week_on_was_asked():
    low, middle, high = learned(lambda week: week >= 4).calling_in.days
    assert low > 14
    assert 19 < middle < 30
    assert high < 40


def test_visits_that_were_asked_for_do_not_count_as_chance():
    found = learned(lambda week: week >= 4)
    days, chance = found.calling_in.sample(4000, found.company.visits, np.random.default_rng(1))
    assert np.median(days) == pytest.approx(24, abs=5)
    assert np.median(chance) < 0.15


@pytest.mark.parametrize(
    ("builders", "plan"),
    [((A, B), PLAN), ((A,), Plan(tasks=PLAN.tasks[1:]))],
    ids=["a pair", "nothing needs two"],
)
def test_without_such_days_it_is_what_is_believed(builders, plan):
    found = learned(lambda week: False, builders=builders, plan=plan).calling_in
    low, middle, high = found.days
    assert found.observed == 0
    assert middle == pytest.approx(priors.CALL_DAYS, rel=0.2)
    assert (low, high) == pytest.approx(
        (
            priors.CALL_DAYS * np.exp(-1.2816 * priors.CALL_LOG_SD),
            priors.CALL_DAYS * np.exp(1.2816 * priors.CALL_LOG_SD),
        ),
        rel=0.25,
    )


def test_days_with_nothing_else_to_do_say_nothing():
    waits_for_two = Plan(tasks=PLAN.tasks[:1])
    rows = [{"date": MONDAY, "task": "W1", "hours": 2.0}]
    progress = read_progress(waits_for_two, sessions_frame(rows), AS_OF)
    assert BenchTime().fit(progress, (A,), plan=waits_for_two).learned_.calling_in.observed == 0
