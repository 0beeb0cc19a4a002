"""What drives the finish date of a whole build."""

import json

import pytest

from forecast.questions.drivers import date_drivers
from tests.small_builds import QUICK, fitted_build, plan_of

DONE = [{}] * 8


@pytest.fixture(scope="module")
def lane():
    rows = [{"after": (f"T{i + 7}",) if i else ()} for i in range(6)]
    return fitted_build(plan_of(*DONE, *rows))


def test_one_lane_is_named_as_one(lane):
    drivers = date_drivers(lane, QUICK)
    # all but the few runs in which the last work is reopened work
    assert (drivers.tasks.index > 0.95).all()
    assert "One lane" in drivers.findings[1]
    assert "work that must come first" in drivers.findings[0]


def test_a_stage_that_is_always_critical_has_index_one(lane):
    stages = date_drivers(lane, QUICK).stages
    assert dict(zip(stages.names, stages.index, strict=True)) == {"hull": 1.0}


def test_a_finished_build_has_no_drivers():
    assert date_drivers(fitted_build(plan_of(*DONE)), QUICK).findings == ("Everything in the plan is done.",)


def test_the_same_seed_gives_the_same_answer(lane):
    first, second = (json.dumps(date_drivers(lane, QUICK).to_dict()) for _ in range(2))
    assert first == second
