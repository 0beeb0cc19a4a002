"""A small edition of benchmarks/bench_time_skill.py: ranges hold, and better than the naive ways."""

import numpy as np
import pytest

from benchmarks.bench_time_skill import coverage, study
from benchmarks.habits import HABITS


@pytest.fixture(scope="module")
def found():
    """All three habits together: positions and scores by way, in (case, horizon)."""
    parts = [study(habit, logs=9, futures=8, draws=120, seed=11) for habit in HABITS]
    return {
        way: {k: np.concatenate([p[way][k] for p in parts]) for k in ("position", "crps")} for way in parts[0]
    }


@pytest.mark.slow
@pytest.mark.parametrize("horizon", [0, 1, 2])
def test_the_80_percent_range_of_the_coming_hours_holds_about_80_percent(found, horizon):
    # 27 logs: two standard errors of a share of .8 are .15.
    assert coverage(found["model"]["position"], 0.8)[horizon] == pytest.approx(0.8, abs=0.15)


@pytest.mark.slow
@pytest.mark.parametrize("way", ["independent weeks", "13-week blocks", "average pace"])
def test_the_score_is_better_than_that_of_the_naive_ways(found, way):
    assert (found["model"]["crps"].mean(axis=0) < 0.85 * found[way]["crps"].mean(axis=0)).all()


@pytest.mark.slow
def test_independent_weeks_are_far_too_sure(found):
    # Measured on four kit-build logs: their 80 % range of 26 weeks held .19 to .23.
    assert coverage(found["independent weeks"]["position"], 0.8)[1] < 0.5
