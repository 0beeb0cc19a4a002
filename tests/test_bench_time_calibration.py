"""A small edition of benchmarks/skill/bench_time.py: ranges hold, and better than the naive ways."""

import numpy as np
import pytest

from benchmarks.habit_filter import chance_of_entry, told_the_habit
from benchmarks.invented.habits import HABITS, MOST_ENTRY, begin, go_on, invent
from benchmarks.skill.bench_time import coverage, study

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


@pytest.mark.parametrize("hours", [0.6, 2.5, 9.0])
def test_what_a_session_is_written_down_as_is_something(hours):
    entries = np.arange(0.25, MOST_ENTRY + 0.1, 0.25)
    chances = [chance_of_entry(float(entry), np.array([hours]))[0] for entry in entries]
    assert sum(chances) == pytest.approx(1.0)
    assert chance_of_entry(2.1, np.array([hours]))[0] == 0


def test_who_is_told_the_habit_finds_out_where_the_builder_stands():
    rng = np.random.default_rng(3)
    traits = invent(HABITS[1], rng)
    traits.level, traits.level_sd, traits.level_weeks = "steps", 0.9, 1e6
    low, high = (begin(traits, rng) for _ in range(2))
    low.level[:], high.level[:] = -1.5, 1.5
    coming = [
        told_the_habit(traits, go_on(traits, state, 7 * 30, rng)[0], 7 * 13, 200, rng).sum(axis=1)
        for state in (low, high)
    ]
    assert np.quantile(coming[0], 0.9) < np.quantile(coming[1], 0.1)


def test_a_log_that_nobody_with_the_habit_could_have_written_is_refused():
    rng = np.random.default_rng(4)
    with pytest.raises(RuntimeError, match="No copy of the builder"):
        told_the_habit(invent(HABITS[0], rng), np.array([0.0, 2.1]), 7, 10, rng)
