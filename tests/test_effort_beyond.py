"""Rework, work outside the plan and a plan that grows."""

from datetime import date

import numpy as np
import pytest

from forecast.learn.effort.remaining import range_shares
from tests.effort_cases import day, finished, fit, noise, plan_of, work


def _parts(rows, *, tasks=120, **plan):
    return work(fit(plan_of(tasks, **plan), rows)).parts


def test_a_log_without_rework_foretells_next_to_none():
    parts = _parts(finished(4 * noise(80, 0.3)))
    assert parts["rework"].mean() < 0.01 * parts["planned"].mean()


def test_a_log_with_rework_foretells_its_share():
    rows = finished(4 * noise(80, 0.3))
    again = [r | {"hours": 0.5 * r["hours"], "rework": True} for r in rows[::5]]
    parts = _parts(rows + again)
    assert parts["rework"].mean() / parts["planned"].mean() == pytest.approx(0.1, rel=0.35)


def test_rework_comes_in_chunks_on_few_tasks():
    rows = finished(4 * noise(80, 0.3))
    again = [r | {"hours": r["hours"], "rework": True} for r in rows[::10]]
    model = fit(plan_of(120), rows + again)
    rework = model.rework_and_growth_.draw_rework(
        np.full((500, 40), 4.0), np.zeros(40, dtype=int), np.arange(500) % 400, np.random.default_rng(0)
    )
    assert 0.03 < np.mean(rework > 0) < 0.25
    assert rework.max() > 3


def test_a_type_that_is_often_redone_has_more_rework_than_the_rest():
    kinds = ["drill", "seal"] * 40
    rows = finished(4 * noise(80, 0.3))
    again = [r | {"hours": 2.0, "rework": True} for r in rows[1:40:2]]
    model = fit(plan_of(80, type=kinds), rows + again)
    share = np.median(model.rework_and_growth_.rework_share, axis=0)
    assert share[1] > 3 * share[0]


def test_work_outside_the_plan_goes_on_at_its_rate():
    rows = finished(4 * noise(80, 0.3))
    outside = [{"date": day(4 * i), "hours": 2.0, "type": "shop"} for i in range(20)]
    parts = _parts(rows + outside)
    worked = sum(r["hours"] for r in rows)
    ahead = parts["planned"].mean()
    assert parts["outside"].mean() / ahead == pytest.approx(40 / worked, rel=0.3)
    assert parts["outside"].std() > 0.2 * parts["outside"].mean()


def test_a_plan_that_grew_grows_on():
    rows = finished(4 * noise(60, 0.3))
    added = [None] * 110 + [date(2026, 1 + i % 3, 20) for i in range(10)]
    still, growing = (_parts(rows, added=a) for a in ([None] * 120, added))
    assert growing["growth"].mean() > 3 * still["growth"].mean()


def test_tasks_there_from_the_start_are_no_growth():
    rows = finished(4 * noise(60, 0.3))
    assert len(fit(plan_of(120, added=date(2025, 12, 1)), rows).rework_and_growth_.growth_hours) == 0


def test_what_is_beyond_the_plan_is_spread_over_the_open_tasks():
    rows = finished(4 * noise(60, 0.3))
    outside = [{"date": day(2 * i), "hours": 4.0, "type": "shop"} for i in range(30)]
    out = work(fit(plan_of(100), rows + outside))
    assert out.hours.shape == (2000, 40)
    np.testing.assert_allclose(out.hours.sum(axis=1), sum(out.parts.values()))
    assert (out.hours > 0).all()


def test_a_short_log_leaves_the_shares_uncertain():
    few, many = (
        fit(plan_of(200), finished(4 * noise(n, 0.3))).rework_and_growth_.outside_share for n in (3, 150)
    )
    assert np.std(few) > 3 * np.std(many)


def _found_after(days: int):
    """160 tasks finished one per day in 4 hours, every sixteenth redone so many days later."""
    rows = finished(np.full(160, 4.0))
    again = [r | {"date": day(16 * i + days), "hours": 1.0, "rework": True} for i, r in enumerate(rows[::16])]
    return fit(plan_of(200), rows + again)


def test_rework_that_was_found_later_opens_tasks_again_as_late():
    model = _found_after(5)
    left = work(model)
    later = left.reopening_hours > 0
    assert np.median(model.rework_and_growth_.later_chance) > 0.8
    # Four days of four hours lay between; hours of work not planned yet come on top of all hours alike.
    scale = left.hours.sum(axis=1) / (left.parts["planned"] + left.parts["rework"])
    after = left.reopening_after_hours / scale[:, None]
    assert np.mean(np.isclose(after[later], 16.0)) > 0.5
    assert (left.reopening_hours <= left.hours).all()
    assert (left.reopening_hours.sum(axis=1) <= 1.5 * left.parts["rework"]).all()


def test_rework_that_was_done_at_once_opens_few_tasks_again():
    model = _found_after(0)
    assert np.median(model.rework_and_growth_.later_chance) < 0.2
    assert (work(model).reopening_hours > 0).mean() < 0.03


def test_what_is_open_again_already_is_not_opened_once_more():
    rows = finished(4 * noise(80, 0.3))
    redone = {"date": day(100), "hours": 1.0, "task": "T000", "rework": True}
    left = work(fit(plan_of(120), [*rows, redone]))
    assert left.tasks[0] == "T000"
    assert not left.reopening_hours[:, 0].any()
    assert left.reopening_hours[:, 1:].any()


def test_the_parts_of_the_range_add_up_and_the_planned_tasks_lead():
    shares = range_shares(work(fit(plan_of(60), finished(4 * noise(20, 0.5)))).parts)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert max(shares, key=shares.get) == "planned"


def test_much_rework_takes_a_larger_part_of_the_range():
    rows = finished(4 * noise(30, 0.3))
    again = [r | {"hours": 6.0, "rework": True} for r in rows[::3]]
    plain, redone = (range_shares(work(fit(plan_of(60), log)).parts) for log in (rows, rows + again))
    assert redone["rework"] > plain["rework"] + 0.1
