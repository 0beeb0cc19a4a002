"""A build that no number of days would finish says so, and why."""

from dataclasses import replace

import numpy as np
import pytest

from forecast.files.plan import Limit, Use
from forecast.simulate.finish import simulate_build
from forecast.simulate.what_if import WhatIf
from tests.small_builds import QUICK, fitted_build, plan_of
from tests.test_orders import kit_of

DONE = [{}] * 8


def test_work_that_waits_for_a_limit_that_is_never_free_is_named():
    rows = [{"uses": (Use(limit="jig", amount=1, until="T9"),)}, {"uses": (Use(limit="jig", amount=1),)}]
    fitted = fitted_build(plan_of(*DONE, *rows), limits=[Limit(id="jig", amount=1)])
    # In two or three runs of a thousand the days run out before that; of 300 runs it may be 1 %.
    outlook = simulate_build(fitted, replace(QUICK, runs=3000))
    assert outlook.never == {("limit", "T9"): pytest.approx(1.0, abs=0.01)}
    assert outlook.notes[0].startswith("In 100 % of the runs the build cannot be finished: T9 needs more")


def test_a_kit_that_never_comes_is_named():
    fitted = fitted_build(plan_of(*DONE, {"delivery": "K"}), deliveries=[kit_of()])
    outlook = simulate_build(fitted, QUICK, what_if=WhatIf(arrivals={"K": np.inf}))
    assert outlook.never == {("delivery", "T8"): 1.0}


def test_a_build_that_can_be_finished_says_nothing():
    assert simulate_build(fitted_build(plan_of(*DONE, {})), QUICK).never == {}
