"""How much wider the luck of tasks without planned hours is, found again where it was put in."""

import numpy as np
import pytest

from forecast.learn.effort.design import build_design
from forecast.learn.effort.priors import EffortPriors
from tests.effort_cases import day, fit, plan_of, progress_of

COUNT = 400
SPREAD, WIDER, BY_SIZE = 0.3, 0.5, 0.2


def worked(hours) -> list[dict]:
    """One session per task, three tasks per day, each done."""
    return [
        {"date": day(i // 3), "hours": float(h), "task": f"T{i:03d}", "done": True}
        for i, h in enumerate(hours)
    ]


@pytest.mark.parametrize("seed", [0, 1])
def test_the_spread_of_unplanned_tasks_over_that_of_planned_ones_is_found(seed):
    """Unplanned tasks are larger, and larger tasks have less luck each: two effects that pull apart.

    Of n tasks the log of the spread is known to 1 / sqrt(2 n), so the ratio to 0.05: three times that.
    """
    rng = np.random.default_rng(seed)
    small, large = np.exp(rng.uniform(-2.0, 1.0, COUNT)), np.exp(rng.uniform(0.5, 2.0, COUNT))
    plan = plan_of(
        2 * COUNT,
        quantity=[*small.tolist(), *large.tolist()],
        planned_hours=[*small.tolist(), *[None] * COUNT],
    )
    design = build_design(progress_of(plan, worked(np.ones(2 * COUNT))), EffortPriors())
    luck = rng.standard_normal(2 * COUNT) * SPREAD * np.exp(WIDER * design.unplanned - BY_SIZE * design.size)
    drawn = fit(plan, worked(np.exp(design.offset + luck))).posterior_
    larger = design.size[COUNT:].mean() - design.size[:COUNT].mean()
    assert larger > 1.0
    ratio = drawn.unplanned_spread - drawn.spread_by_size * larger
    assert ratio.mean() == pytest.approx(WIDER - BY_SIZE * larger, abs=0.15)
