"""Odd data falls back in words: never a traceback, never a zero variance, never absurd hours."""

import numpy as np
import pytest

from forecast.learn.effort.priors import EffortPriors
from tests.effort_cases import finished, fit, noise, plan_of, work

LOGS = {
    "no log": (plan_of(20), []),
    "one task": (plan_of(1), []),
    "one task, finished": (plan_of(1), finished([3.0])),
    "one finished of many": (plan_of(20), finished([8.0])),
    "all equal": (plan_of(40), finished([4.0] * 20)),
    "a huge outlier": (plan_of(40), finished([4.0, 3.5, 4.5] * 5 + [24.0, 3.0, 5.0])),
    "catch-up entry": (
        plan_of(20),
        [
            {"date": "2026-01-01", "until": "2026-01-08", "hours": 40, "task": "T000", "done": True},
            *finished([4.0, 3.0, 5.0, 4.0, 6.0])[1:],
        ],
    ),
    "nothing planned": (plan_of(20, planned_hours=None), finished([3.0, 2.0, 4.0, 8.0, 1.0, 2.0])),
    "nothing planned, nothing logged": (plan_of(20, planned_hours=None), []),
    "planned a hundredth": (plan_of(20, planned_hours=0.01), finished([3.0, 2.0, 4.0])),
    "planned five thousand": (plan_of(20, planned_hours=5000.0), finished([3.0, 2.0, 4.0])),
    "planned all over": (
        plan_of(30, planned_hours=[0.01, 4.0, 5000.0] * 10), finished([3.0, 2.0, 4.0] * 4)
    ),
    "half a piece": (plan_of(5, quantity=0.5, planned_hours=None), finished([20.0])),
    "a lot of 5000": (plan_of(5, quantity=5000.0, planned_hours=None), finished([20.0])),
    "every task its own type": (
        plan_of(60, type=[f"k{i}" for i in range(60)]), finished(4 * noise(30, 0.5))
    ),
    "a quarter of an hour each": (plan_of(40), finished([0.25] * 20)),
    "only rework": (
        plan_of(3), [{"date": "2026-01-01", "hours": 3, "task": "T000", "rework": True, "done": True}]
    ),
    "ten under way, none finished": (
        plan_of(10), [{"date": "2026-01-01", "hours": 2, "task": f"T{i:03d}"} for i in range(10)]
    ),
}  # fmt: skip


@pytest.fixture(scope="module", params=LOGS, ids=list(LOGS))
def case(request):
    plan, rows = LOGS[request.param]
    model = fit(plan, rows)
    return request.param, model, work(model)


def test_hours_are_finite_and_above_nothing(case):
    hours = case[2].hours
    assert np.isfinite(hours).all()
    assert (hours > 0).all()


def test_no_open_task_is_certain(case):
    hours = case[2].hours
    assert (hours.std(axis=0) > 0.01 * hours.mean(axis=0)).all()


def test_no_task_is_forecast_to_take_a_lifetime(case):
    name, _, out = case
    if out.hours.shape[1]:
        per_task = np.quantile(out.hours, 0.95) if name != "planned all over" else 0.0
        assert per_task < 600


def _notes(name):
    plan, rows = LOGS[name]
    return " ".join(fit(plan, rows).notes_)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("no log", "No task is finished yet"),
        ("one finished of many", "Only 1 task is finished"),
        ("all equal", "All finished tasks took the same share"),
        (
            "a huge outlier",
            "The hours of T015 are far from what the other tasks suggest and get less",
        ),
        ("catch-up entry", "T000 took 8 times what the other tasks suggest, with an entry of 40 hours"),
        ("nothing planned", "No task has planned hours"),
        ("planned a hundredth", "Finished tasks took about 300 times their planned hours"),
        ("planned five thousand", "check the unit of planned_hours."),
        ("only rework", "1 task is marked done but has no first-time hours in the log"),
    ],
)
def test_odd_data_gets_a_note(name, words):
    assert words in _notes(name)


def test_a_tidy_log_needs_no_note():
    assert fit(plan_of(60), finished(4 * noise(40, 0.3))).notes_ == ()


def test_half_a_plan_without_hours_gets_a_note():
    planned = [4.0, None] * 20
    assert fit(plan_of(40, planned_hours=planned), finished(4 * noise(20, 0.3))).notes_ == (
        "20 of 40 tasks have no planned hours: they are estimated from their type and number of pieces.",
    )


def test_a_huge_outlier_hardly_moves_the_rest():
    plain, odd = (
        np.median(work(fit(plan_of(60), finished(4 * noise(30, 0.3) * times))).hours)
        for times in (np.ones(30), np.where(np.arange(30) == 10, 5.9, 1.0))
    )
    assert odd == pytest.approx(plain, rel=0.1)


def test_a_plan_that_doubled_in_a_day_gets_a_note():
    from datetime import date

    added = [None] * 20 + [date(2026, 1, 10)] * 20
    notes = fit(plan_of(40, added=added), finished(4 * noise(12, 0.3))).notes_
    assert any("The plan grew by about" in note for note in notes)


def test_dear_first_pieces_are_no_plan_in_another_unit():
    lots = plan_of(60, quantity=50.0)
    dear = fit(lots, finished(4.0 * 4.3 * noise(3, 0.1))).design_
    assert dear.fixed_priors[0].sd == EffortPriors().level.sd
    wrong_unit = fit(plan_of(60), finished(4.0 * 60 * noise(3, 0.1))).design_
    assert wrong_unit.fixed_priors[0].sd > 1.0


def test_lots_far_from_usual_stand_in_for_hours_only_as_far_as_planned_ones_do():
    few, many = [5.0] * 40, [500.0] * 6
    kind = ["fit"] * 46
    slips = plan_of(46, type=kind, quantity=few + many, planned_hours=[4.0] * 43 + [None] * 3)
    big_lots = plan_of(
        46, type=kind, quantity=few + many, planned_hours=[4.0] * 40 + [200.0] * 3 + [None] * 3
    )
    unknown = plan_of(46, type=kind, quantity=few + many, planned_hours=[4.0] * 40 + [None] * 6)
    slip, big, asked = (
        float(np.exp(fit(plan, []).design_.offset[-1])) for plan in (slips, big_lots, unknown)
    )
    assert slip < 12.0 < 120.0 < big < 300.0
    assert asked == pytest.approx(4.0 * 100**0.85, rel=0.1)
