"""Without a log, the habit of picking stages is the Beta and Dirichlet beliefs that it starts from."""

from datetime import date

import numpy as np
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time.priors import RANK_SHARE
from forecast.learn.bench_time.stage_rank import FIRST, STAY, fit_stage_ranks, sample_ranks
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame


@pytest.fixture(scope="module")
def habit():
    plan = Plan(tasks=(Task(task="T1", stage="tail", title="T1"),))
    return fit_stage_ranks(read_progress(plan, sessions_frame([]), date(2026, 6, 28)), plan)


def test_the_grid_holds_the_whole_belief_on_the_first_rank(habit):
    """Three quarters as if six sessions had chosen: Beta(4.5, 1.5)."""
    weight = habit.weight.sum(axis=1)
    mean = weight @ FIRST
    assert mean == pytest.approx(0.75, abs=1e-3)
    assert weight @ (FIRST - mean) ** 2 == pytest.approx(0.75 * 0.25 / 7, rel=0.01)


def test_the_grid_holds_the_whole_belief_on_staying(habit):
    """Four fifths as if ten days had been seen: Beta(8, 2)."""
    weight = habit.weight.sum(axis=0)
    mean = weight @ STAY
    assert mean == pytest.approx(0.8, abs=1e-3)
    assert weight @ (STAY - mean) ** 2 == pytest.approx(0.8 * 0.2 / 11, rel=0.02)


def test_drawn_shares_of_the_ranks_have_the_mean_of_the_belief_and_add_up_to_one(habit):
    drawn = sample_ranks(habit, 40_000, np.random.default_rng(1))
    shares = np.diff(drawn.cumulative, axis=1, prepend=0.0)
    assert shares.mean(axis=0) == pytest.approx(RANK_SHARE, abs=5e-3)
    assert drawn.cumulative[:, -1] == pytest.approx(np.ones(40_000), abs=1e-5)
    assert drawn.stay.mean() == pytest.approx(0.8, abs=5e-3)
