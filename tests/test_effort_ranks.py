"""Simulation-based calibration on a small scale: true parameters rank uniformly among their draws.

The large study is `python -m benchmarks.skill.effort_ranks`.
"""

import numpy as np
import pandas as pd
import pytest

from benchmarks.skill.effort_ranks import ranks_of_build, uniform_p

BUILDS = 40


@pytest.fixture(scope="module")
def ranks():
    children = np.random.default_rng(20261125).spawn(BUILDS)
    return pd.DataFrame([ranks_of_build(rng, 40, 3, 39, 4) for rng in children])


def test_no_parameter_has_non_uniform_ranks(ranks):
    p = ranks.apply(lambda column: uniform_p(column.to_numpy()))
    assert p.min() > 0.05 / len(p)


def test_the_ranks_together_are_uniform(ranks):
    everything = ranks.to_numpy().ravel()
    assert everything.mean() == pytest.approx(0.5, abs=0.02)
    assert np.mean((everything < 0.1) | (everything > 0.9)) == pytest.approx(0.2, abs=0.03)


def test_ranks_among_draws_that_are_too_narrow_are_detected():
    rng = np.random.default_rng(1)
    true = rng.normal(size=(400, 1))
    narrow = (rng.normal(true * 0.0, 0.5, size=(400, 60)) < true).mean(axis=1)
    assert uniform_p(narrow) < 1e-6
