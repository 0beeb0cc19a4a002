"""What finished tasks say about the open ones."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.learn.effort import EffortModel
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame
from tests.effort_cases import AS_OF, finished, fit, noise, plan_of, planned_left, progress_of, width, work


def test_without_a_log_the_plan_speaks_and_widely(five_tasks):
    progress = read_progress(five_tasks, sessions_frame([]), date(2026, 3, 1))
    model = EffortModel().fit(progress, np.random.default_rng(1))
    hours = work(model).parts["planned"]
    assert set(model.types_["basis"]) == {"prior"}
    assert np.quantile(hours, 0.1) < 20 < np.quantile(hours, 0.9)
    assert "No task is finished yet" in model.notes_[0]


def test_tasks_that_took_twice_their_plan_foretell_twice_the_plan():
    left = planned_left(plan_of(50), finished(8 * noise(40, 0.1)))
    assert np.median(left) == pytest.approx(80, rel=0.1)


def test_the_range_narrows_as_tasks_are_finished():
    few, some, many = (planned_left(plan_of(60), finished(4 * noise(n, 0.4))) for n in (2, 10, 40))
    per_task = [width(few), width(some), width(many)]
    assert per_task[0] > per_task[1] > per_task[2] > 1.0


def test_types_that_go_apart_are_told_apart():
    kinds = ["drill", "rivet"] * 30
    hours = np.where(np.arange(40) % 2 == 0, 2.0, 8.0) * noise(40, 0.2)
    left = work(fit(plan_of(60, type=kinds), finished(hours))).hours
    assert np.median(left[:, 1::2]) > 2.5 * np.median(left[:, 0::2])


def test_a_type_with_two_slow_tasks_neither_fails_nor_shouts():
    kinds = ["drill"] * 30 + ["paint"] * 12
    rows = finished(4 * noise(32, 0.3) * np.repeat([1.0, 3.0], [30, 2]))
    left = work(fit(plan_of(42, type=kinds), rows)).hours
    paint = np.median(left) / 4.0
    assert 1.15 < paint < 2.9


def test_learning_makes_later_pieces_cheaper():
    pieces = 10
    each = pieces * (np.arange(20) * pieces + 5.0) ** -0.3
    rows = finished(each / each.mean() * 4 * noise(20, 0.1))
    left = work(fit(plan_of(60, quantity=float(pieces)), rows)).hours
    assert np.median(left[:, -1]) < 0.85 * rows[-1]["hours"]


def test_without_learning_in_the_log_none_is_forecast():
    left = planned_left(plan_of(160, quantity=10.0), finished(4 * noise(80, 0.15)))
    assert np.median(left) == pytest.approx(320, rel=0.12)


def test_the_first_of_a_pair_speaks_for_its_repeat_beyond_the_type():
    # every tenth task is slow, and so is its repeat
    repeats = [None] * 20 + [f"T{i:03d}" for i in range(20)]
    slow = np.where(np.arange(20) % 5 == 0, 3.0, 1.0)
    rows = finished(np.concatenate([4 * slow * noise(20, 0.1), 4 * slow[:10] * noise(10, 0.1, 5)]))
    left = np.median(work(fit(plan_of(40, repeat_of=repeats), rows)).hours, axis=0)
    assert left[0] > 1.5 * np.delete(left, [0, 5]).mean()


def test_two_people_on_one_task_cost_more_person_hours_until_the_log_says_otherwise():
    assert fit(plan_of(5), []).shared_work_penalty_ == pytest.approx(1.14, abs=0.02)
    shared = np.arange(40) % 2 == 1
    rows = finished(np.where(shared, 2.0, 4.0) * noise(40, 0.1))
    for row in np.array(rows)[shared]:
        row["builders"] = "A+B"
    assert fit(plan_of(60), rows).shared_work_penalty_ < 1.08


def test_small_tasks_over_and_big_ones_under_bend_the_slope():
    planned = [float(h) for h in np.tile([1.0, 16.0], 40)]
    hours = np.tile([2.0, 12.0], 30) * noise(60, 0.2)
    left = np.median(work(fit(plan_of(80, planned_hours=planned), finished(hours))).hours, axis=0)
    assert left[0::2].mean() > 1.5
    assert left[1::2].mean() < 14


def test_a_drift_of_the_last_weeks_is_carried_on():
    slow_lately = np.where(np.arange(60) < 40, 3.0, 6.0)
    left = planned_left(plan_of(80), finished(slow_lately * noise(60, 0.15)))
    assert np.median(left) > 20 * 4.4


def test_totals_are_wider_than_independent_tasks_would_make_them():
    hours = work(fit(plan_of(90), finished(4 * noise(40, 0.4)))).hours
    rng = np.random.default_rng(0)
    apart = np.column_stack([rng.permutation(column) for column in hours.T]).sum(axis=1)
    assert np.std(hours.sum(axis=1)) > 1.3 * np.std(apart)


def test_parts_add_up_to_the_hours():
    plan = plan_of(20)
    out = work(fit(plan, finished([3.0, 5.0, 4.0])))
    assert out.tasks == tuple(f"T{i:03d}" for i in range(3, 20))
    np.testing.assert_allclose(out.hours.sum(axis=1), sum(out.parts.values()))


def test_same_seed_same_hours():
    rows = finished([3.0, 4.0, 6.0])
    first, again = (work(fit(plan_of(6), rows)).hours for _ in range(2))
    assert (first == again).all()


def test_another_seed_gives_the_same_answer_within_its_noise():
    rows = finished(4 * noise(30, 0.4))
    medians = [np.median(work(fit(plan_of(60), rows, seed=s)).parts["planned"]) for s in range(4)]
    assert max(medians) / min(medians) < 1.04


def test_the_order_of_the_rows_of_the_log_does_not_matter():
    rows = finished(4 * noise(30, 0.4))
    mixed = [rows[i] for i in np.random.default_rng(3).permutation(30)]
    assert (work(fit(plan_of(40), rows)).hours == work(fit(plan_of(40), mixed)).hours).all()


def test_nothing_changes_the_frames_it_was_given():
    progress = progress_of(plan_of(10), finished([3.0, 4.0]))
    before = progress.tasks.copy()
    EffortModel().fit(progress, np.random.default_rng(0)).sample_remaining(10, np.random.default_rng(0))
    pd.testing.assert_frame_equal(progress.tasks, before)


def test_basis_tells_own_pooled_and_prior_apart():
    kinds = ["drill"] * 20 + ["rivet"] * 20 + ["wire"] * 4 + ["paint"] * 6
    hours = np.concatenate([4 * noise(20, 0.3), 9 * noise(20, 0.3), [4.0, 5.0]])
    model = fit(plan_of(50, type=kinds), finished(hours))
    basis = model.types_.set_index("type")["basis"]
    assert basis.to_dict() == {"drill": "own", "rivet": "own", "wire": "pooled", "paint": "pooled"}
    nothing = fit(plan_of(50, type=kinds), [])
    assert set(nothing.types_["basis"]) == {"prior"}


def test_practice_fades_over_a_break_only_where_asked():
    rows = finished(4 * noise(20, 0.2))
    late = [row | {"date": f"2027-{row['date'][5:]}"} if i >= 10 else row for i, row in enumerate(rows)]
    progress = progress_of(plan_of(30, quantity=20.0), late, date(2027, 12, 31))
    plain, fading = (EffortModel(half_days=h).fit(progress, np.random.default_rng(0)) for h in (None, 35.0))
    after_break = [m.design_.log_piece[10] - m.design_.log_piece[9] for m in (plain, fading)]
    assert after_break[0] > 0 > after_break[1]
    unbroken = EffortModel(half_days=1e9).fit(progress, np.random.default_rng(0))
    np.testing.assert_allclose(unbroken.design_.log_piece, plain.design_.log_piece, atol=1e-5)


def test_two_thousand_tasks_fit_in_seconds_of_one_core():
    import time

    kinds = [f"k{i % 15}" for i in range(2000)]
    progress = progress_of(plan_of(2000, type=kinds), finished(4 * noise(330, 0.5)), AS_OF)
    begun = time.process_time()
    EffortModel().fit(progress, np.random.default_rng(0))
    assert time.process_time() - begun < 5.0


def test_alone_the_rest_takes_fewer_person_hours_than_shared_as_before():
    rows = finished(4 * noise(40, 0.2) / 2, builders="A+B")
    model = fit(plan_of(60), rows)
    rng = [np.random.default_rng(5) for _ in range(2)]
    as_before = model.sample_remaining(500, rng[0]).parts["planned"]
    alone = model.sample_remaining(500, rng[1], shared=0.0).parts["planned"]
    assert np.median(as_before / alone) == pytest.approx(1.12, abs=0.06)


def test_what_two_share_by_habit_is_not_paid_for_twice():
    rows = finished(2.0 * noise(40, 0.1), builders="A+B", people=2)
    model = fit(plan_of(60), rows)
    as_usual, alone = work(model), model.sample_remaining(2000, np.random.default_rng(2), shared=0.0)
    assert alone.shared_penalty == model.shared_work_penalty_
    assert 1.0 < as_usual.shared_penalty < 1.0 + 0.2 * (alone.shared_penalty - 1.0)
    all_shared = [w.parts["planned"].mean() * w.shared_penalty for w in (as_usual, alone)]
    assert all_shared[0] == pytest.approx(all_shared[1], rel=0.01)
