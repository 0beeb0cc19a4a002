"""What holds the date, of a whole build."""

import json

import pytest

from forecast.questions.drivers import date_drivers
from tests.small_builds import QUICK, fitted_build, plan_of

DONE = [{}] * 8


@pytest.fixture(scope="module")
def lane():
    rows = [{"after": (f"T{i + 7}",) if i else ()} for i in range(6)]
    return fitted_build(plan_of(*DONE, *rows))


def test_one_lane_is_said_to_be_one(lane):
    holders = date_drivers(lane, QUICK)
    # all but the few runs in which the last thing done is to do a task again
    assert (holders.tasks.index > 0.95).all()
    assert "One lane" in holders.findings[1]
    assert "work that must come first" in holders.findings[0]


def test_a_stage_that_always_holds_the_date_has_index_one(lane):
    stages = date_drivers(lane, QUICK).stages
    assert dict(zip(stages.names, stages.index, strict=True)) == {"hull": 1.0}


def test_a_build_that_is_done_is_held_by_nothing():
    assert date_drivers(fitted_build(plan_of(*DONE)), QUICK).findings == ("Everything in the plan is done.",)


def test_the_same_seed_says_the_same(lane):
    first, second = (json.dumps(date_drivers(lane, QUICK).to_dict()) for _ in range(2))
    assert first == second
