"""What the finished tasks of one build say of its level, against the closed form of the t distribution."""

from dataclasses import replace

import numpy as np
import pytest

from forecast.learn.effort.evidence import evidence_of
from tests.effort_cases import finished, fit, noise, plan_of

TASKS = 60


@pytest.fixture(scope="module")
def model():
    return fit(plan_of(TASKS), finished(4.0 * noise(TASKS, 0.3)))


@pytest.mark.parametrize("spread", [0.2, 0.5])
@pytest.mark.parametrize("degrees", [3.0, 10.0])
def test_the_precision_of_the_level_is_that_of_as_many_tasks_of_known_luck(model, spread, degrees):
    """A t variable is a normal one of random precision, whose mean is 1: n tasks are worth n / spread^2.

    Nothing but the level moves here: the luck is drawn afresh, and drift, pairs and rates are held at 0.
    """
    posterior, rng = model.posterior_, np.random.default_rng(1)
    draws = posterior.count
    held = {name: np.full(draws, 1e-6) for name in posterior.scales}
    known = replace(
        posterior, spread=np.full_like(posterior.spread, spread), spread_by_size=np.zeros(draws),
        unplanned_spread=np.zeros(draws), tail=np.full(draws, degrees), scales=held,
        drift_scale=np.full(draws, 1e-6), residual=rng.standard_t(degrees, posterior.residual.shape),
    )  # fmt: skip
    said = evidence_of(model.design_, known)
    level = said.effects.index(("level", ""))
    assert said.precision[level, level] == pytest.approx(TASKS / spread**2, rel=0.02)


def test_the_pull_over_the_precision_is_the_mean_of_the_finished_tasks(model):
    """With one weight for all tasks, each of typical size, it is the plain mean of log(actual / planned)."""
    posterior = model.posterior_
    draws = posterior.count
    known = replace(
        posterior, spread=np.ones_like(posterior.spread), spread_by_size=np.zeros(draws),
        unplanned_spread=np.zeros(draws), tail=np.full(draws, 1e9), drift_scale=np.full(draws, 1e-6),
        scales={name: np.full(draws, 1e-6) for name in posterior.scales},
    )  # fmt: skip
    said = evidence_of(model.design_, known)
    level = said.effects.index(("level", ""))
    mean = np.log(noise(TASKS, 0.3)).mean()
    assert said.pull[level] / said.precision[level, level] == pytest.approx(mean, abs=1e-3)
