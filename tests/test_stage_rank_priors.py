"""Without a log, the shares of the stage ranks are those of the Dirichlet prior."""

from datetime import date

import numpy as np
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time.priors import RANK_SHARE
from forecast.learn.bench_time.stage_rank import fit_stage_ranks, sample_ranks
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame


@pytest.fixture(scope="module")
def habit():
    plan = Plan(tasks=(Task(task="T1", stage="tail", title="T1"),))
    return fit_stage_ranks(read_progress(plan, sessions_frame([]), date(2026, 6, 28)), plan)


def test_the_belief_weighs_eight_days(habit):
    assert habit.weight == pytest.approx(8 * RANK_SHARE)


def test_drawn_shares_of_the_ranks_have_the_mean_and_spread_of_the_belief_and_add_up_to_one(habit):
    """Dirichlet of total 8: each share has mean m and variance m (1 - m) / 9."""
    shares = np.diff(sample_ranks(habit, 40_000, np.random.default_rng(1)), axis=1, prepend=0.0)
    assert shares.mean(axis=0) == pytest.approx(RANK_SHARE, abs=5e-3)
    assert shares.var(axis=0) == pytest.approx(RANK_SHARE * (1 - RANK_SHARE) / 9, rel=0.05)
    assert shares.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
