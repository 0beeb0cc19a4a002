"""A small edition of benchmarks/skill/bench_time.py: ranges cover, and scores beat the naive ways."""

import numpy as np
import pytest

from benchmarks.invented.habits import HABITS, MOST_ENTRY, begin, draw_builder, entered_hours
from benchmarks.skill.bench_time import coverage, study
from benchmarks.yardsticks.informed_hours import chance_of_entry, informed_hours

QUICK = ("model", "independent weeks", "13-week blocks", "average pace")


@pytest.fixture(scope="module")
def found():
    """All three habits together: positions and scores by way, in (case, horizon)."""
    parts = [study(habit, logs=9, futures=8, draws=120, seed=11, ways=QUICK) for habit in HABITS]
    return {
        way: {k: np.concatenate([p[way][k] for p in parts]) for k in ("position", "crps")} for way in parts[0]
    }


@pytest.mark.slow
@pytest.mark.parametrize("horizon", [0, 1, 2])
def test_the_80_percent_range_of_the_coming_hours_covers_about_80_percent(found, horizon):
    # 27 logs: two standard errors of a share of 0.8 are 0.15.
    assert coverage(found["model"]["position"], 0.8)[horizon] == pytest.approx(0.8, abs=0.15)


@pytest.mark.slow
@pytest.mark.parametrize("way", ["independent weeks", "13-week blocks", "average pace"])
def test_the_score_is_better_than_that_of_the_naive_ways(found, way):
    assert (found["model"]["crps"].mean(axis=0) < 0.85 * found[way]["crps"].mean(axis=0)).all()


@pytest.mark.slow
def test_independent_weeks_are_far_too_sure(found):
    # Measured on four kit-build logs: their 80 % range of 26 weeks covered 0.19 to 0.23.
    assert coverage(found["independent weeks"]["position"], 0.8)[1] < 0.5


@pytest.mark.parametrize("hours", [0.6, 2.5, 9.0])
def test_the_chances_of_all_entries_add_up_to_1(hours):
    entries = np.arange(0.25, MOST_ENTRY + 0.1, 0.25)
    chances = [chance_of_entry(float(entry), np.array([hours]))[0] for entry in entries]
    assert sum(chances) == pytest.approx(1.0)
    assert chance_of_entry(2.1, np.array([hours]))[0] == 0


def test_a_forecaster_that_knows_the_habit_infers_the_present_level():
    rng = np.random.default_rng(3)
    traits = draw_builder(HABITS[1], rng)
    traits.level, traits.level_sd, traits.level_weeks = "steps", 0.9, 1e6
    low, high = (begin(traits, rng) for _ in range(2))
    low.level[:], high.level[:] = -1.5, 1.5
    coming = [
        informed_hours(traits, entered_hours(traits, state, 7 * 30, rng)[0], 7 * 13, 200, rng).sum(axis=1)
        for state in (low, high)
    ]
    assert np.quantile(coming[0], 0.9) < np.quantile(coming[1], 0.1)


def test_a_log_that_is_impossible_with_the_habit_is_refused():
    rng = np.random.default_rng(4)
    with pytest.raises(RuntimeError, match="No particle could have produced this log"):
        informed_hours(draw_builder(HABITS[0], rng), np.array([0.0, 2.1]), 7, 10, rng)
