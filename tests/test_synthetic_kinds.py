"""Kinds of invented builders: their hours and habits resemble those of real logs."""

from math import log

import numpy as np
import pytest

from benchmarks.invented.workshop import make_build
from benchmarks.invented.workshop.kinds import draw_effort


def test_a_mislabelled_plan_is_wrong_in_15_percent_and_silent_in_half():
    plans = [make_build(effort="mislabelled", seed=s, tasks=200) for s in range(6)]
    tasks = [(m.truth.types[t.task], t) for m in plans for t in m.build.plan.tasks if t.added is None]
    # One replacement in twelve hits the true type.
    assert np.mean([true != t.type for true, t in tasks]) == pytest.approx(0.15 * 11 / 12, abs=0.03)
    assert np.mean([t.planned_hours is None for _, t in tasks]) == pytest.approx(0.5, abs=0.05)


def test_a_builder_who_does_not_learn_has_no_slope_and_no_easier_repeat():
    effort = draw_effort("no learning", np.random.default_rng(1))
    assert set(effort.learning_slope.values()) == {0.0}
    assert effort.repeat == 0.0


def test_hours_and_plans_differ_as_task_records_show():
    """log(actual / plan) has an sd of 0.5 to 1.1 per task in large open task-effort records."""
    spreads = []
    for seed in range(12):
        truth = make_build(effort="as assumed", seed=seed, tasks=120).truth
        spreads.append(np.std([log(truth.total_hours[t] / h) for t, h in truth.base_hours.items()]))
    assert 0.45 < np.median(spreads) < 1.1


@pytest.mark.parametrize(
    ("habit", "silent", "after_silence"),
    [
        ("weekend", (0.2, 0.4), (0.4, 0.7)),
        ("daily", (0.15, 0.38), (0.4, 0.7)),
        ("bursts", (0.38, 0.7), (0.65, 0.9)),
    ],
)
def test_silent_weeks_are_as_many_and_as_sticky_as_long_logs_show(habit, silent, after_silence):
    """21-38 % of weeks without a session and .44-.71 after one in four long build logs; bursts go further."""
    shares, sticky = [], []
    for seed in range(30):
        nothing = make_build(habit=habit, seed=seed, tasks=120).truth.weekly_hours[:-1] == 0
        shares.append(nothing.mean())
        sticky.append(nothing[1:][nothing[:-1]].mean())
    assert silent[0] < np.median(shares) < silent[1]
    assert after_silence[0] < np.nanmedian(sticky) < after_silence[1]


def test_the_slow_level_moves_as_in_long_logs():
    """CV of 13-week totals .54-.70 in four long build logs, against .30 for independent weeks."""
    spreads = []
    for seed in range(30):
        weeks = make_build(habit="weekend", seed=seed, tasks=200).truth.weekly_hours
        quarters = weeks[: len(weeks) // 13 * 13].reshape(-1, 13).sum(axis=1)
        spreads.append(quarters.std() / quarters.mean())
    assert 0.42 < np.median(spreads) < 0.75


@pytest.mark.parametrize("wrong", [{"effort": "lucky"}, {"habit": "never"}])
def test_an_unknown_kind_is_refused_by_name(wrong):
    with pytest.raises(ValueError, match="Got '(lucky|never)' instead"):
        make_build(**wrong)
