"""Open tasks: never missing data, and sharpened by what the builder says of them."""

import numpy as np
import pytest

from forecast.learn.effort.reports import REPORT_PRIORS, fit_report_model
from tests.effort_cases import finished, fit, noise, plan_of, progress_of, width, work


def _coarse(rows: list[dict]):
    """One row a stage, as a coarse plan has it."""
    kinds = ["hull", "spars", "rig", "paint", "trim"]
    plan = plan_of(5, type=kinds, stage=kinds, planned_hours=[120.0, 80.0, 60.0, 40.0, 50.0])
    return work(fit(plan, rows))


def _begun(task: int, hours: float, **more) -> dict:
    return {"date": "2026-11-20", "hours": hours, "task": f"T{task:03d}"} | more


def test_a_task_takes_more_than_was_spent_on_it():
    rows = [*finished(4 * noise(20, 0.3)), _begun(20, 12.0)]
    hours = work(fit(plan_of(21), rows)).hours
    assert (hours > 0).all()
    assert np.median(hours) < 12


def test_hours_already_spent_leave_less_to_do():
    rows = finished(4 * noise(20, 0.3))
    untouched = work(fit(plan_of(21), rows)).hours
    begun = work(fit(plan_of(21), [*rows, _begun(20, 2.0)])).hours
    assert np.median(begun) < np.median(untouched) - 0.8


def test_dropping_the_open_tasks_would_say_too_little():
    # ten tasks still open after 6 hours each: the type is slower than its ten finished ones show
    rows = finished(4 * noise(10, 0.3))
    open_rows = [_begun(i, 6.0) for i in range(10, 20)]
    without, with_open = (
        np.median(work(fit(plan_of(60), r)).hours[:, -40:]) for r in (rows, rows + open_rows)
    )
    assert with_open > 1.15 * without


def test_nine_tenths_done_leaves_less_than_one_tenth_done():
    said = [np.median(_coarse([_begun(0, 24.0, percent=p)]).hours[:, 0]) for p in (10, 50, 90)]
    assert said[0] > said[1] > said[2]


def test_a_report_narrows_the_range():
    silent, told = (_coarse([_begun(0, 24.0, percent=p)]).hours[:, 0] for p in (None, 30))
    assert width(told + 24.0) < width(silent + 24.0)


def test_counted_pieces_say_more_than_a_judged_percent():
    plan = plan_of(1, quantity=100.0, planned_hours=30.0)
    judged = work(fit(plan, [_begun(0, 20.0, percent=50)])).hours
    counted = work(fit(plan, [_begun(0, 20.0, quantity=50)])).hours
    assert width(counted) < width(judged)


def _history(said_at_half: float, tasks: int = 12) -> list[dict]:
    """Finished tasks of six hours on which the builder said something at half of the hours."""
    rows = []
    for i in range(tasks):
        one = {"task": f"T{i:03d}", "hours": 3.0}
        rows += [
            one | {"date": f"2026-{1 + i:02d}-01", "percent": said_at_half},
            one | {"date": f"2026-{1 + i:02d}-02", "done": True},
        ]
    return rows


def test_a_builder_whose_half_was_always_called_ninety_is_believed_less():
    plan = plan_of(13, planned_hours=6.0)
    open_task = _begun(12, 3.0, percent=90, date="2026-12-20")
    honest, boaster = (work(fit(plan, [*_history(p), open_task])).hours for p in (50, 90))
    assert np.median(boaster) > 2 * np.median(honest)


def test_reports_are_calibrated_on_finished_tasks_and_start_at_the_prior():
    none = fit_report_model(progress_of(plan_of(3), []).reports, "percent")
    prior = REPORT_PRIORS["percent"]
    assert (none.bias, none.slope, none.noise) == pytest.approx((prior.bias, prior.slope, prior.noise))
    learned = fit_report_model(progress_of(plan_of(13), _history(90)).reports, "percent")
    assert learned.tasks == 12
    assert learned.bias > 1.5


def test_many_reports_on_one_task_count_as_one():
    rows = [
        {"date": f"2026-01-{d:02d}", "hours": 1.0, "task": "T000", "percent": min(99, 20 * d)}
        for d in range(1, 11)
    ]
    rows[-1] |= {"done": True}
    learned = fit_report_model(progress_of(plan_of(1), rows).reports, "percent")
    assert learned.tasks == 1
    assert abs(learned.bias - REPORT_PRIORS["percent"].bias) < 1.0


def test_a_coarse_plan_gets_wide_and_sensible_ranges():
    rows = [
        {"date": f"2026-{1 + i // 28:02d}-{1 + i % 28:02d}", "hours": 3.0, "task": "T000"} for i in range(45)
    ]
    rows[-1] |= {"done": True}
    hours = _coarse([*rows, _begun(1, 20.0, percent=30)]).hours
    total = hours.sum(axis=1)
    assert 1.5 < width(total) < 6
    assert 120 < np.median(total) < 380


def test_a_task_far_over_its_plan_does_not_go_on_for_years():
    rows = [*finished([4.0] * 5), _begun(5, 20.0), _begun(5, 20.0, date="2026-11-21")]
    left = work(fit(plan_of(6), rows)).hours[:, 0]
    assert np.quantile(left, 0.95) < 160


def test_a_reopened_task_has_only_rework_left():
    rows = finished([4.0, 40.0 / 2])
    again = {"date": "2026-11-20", "hours": 1.0, "task": "T001", "rework": True}
    out = work(fit(plan_of(2), [*rows, again]))
    assert out.tasks == ("T001",)
    assert out.parts["rework"].mean() > 10 * out.parts["planned"].mean()


def test_all_done_leaves_nothing():
    out = work(fit(plan_of(2), finished([3.0, 4.0])))
    assert out.hours.shape == (2000, 0)
    assert out.parts["planned"].sum() == 0
