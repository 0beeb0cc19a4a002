"""What holds the date: the critical chain, its causes, and the published indices."""

import numpy as np
import pytest

from forecast.files.plan import Delivery, Plan, Task
from forecast.simulate.network import (
    CAUSES,
    criticality_of_stages,
    criticality_of_tasks,
    network_of_untouched,
    simulate_schedule,
)
from tests.schedule_cases import random_draws, random_network

LONG_DAY = 4096.0


def _plan(*rows: dict) -> Plan:
    return Plan(
        tasks=tuple(
            Task(**{"task": chr(65 + i), "stage": "tail", "title": "", **row}) for i, row in enumerate(rows)
        )
    )


def _trace(plan: Plan, hours: list[float], days: list, **options):
    deliveries = options.pop("deliveries", ())
    bench = np.array(days, dtype=float).reshape(1, len(days), -1)
    network = network_of_untouched(plan, deliveries=deliveries)
    return simulate_schedule(network, [hours], bench, trace=True, **options)


def _chain(result) -> dict[str, str]:
    """The tasks of the critical chain and what each waited for."""
    return {t: CAUSES[c] for t, c in zip(result.tasks, result.chain[0], strict=True) if c >= 0}


def _hands_for_all(plan: Plan, durations: np.ndarray):
    """Every task has a pair of hands and a day that is long enough: a textbook network."""
    bench = np.full((len(durations), 1, len(plan.tasks)), LONG_DAY)
    return simulate_schedule(network_of_untouched(plan), durations, bench, trace=True)


def test_a_task_that_waits_for_the_one_before_is_linked_to_it():
    result = _trace(_plan({"crew": "one"}, {"crew": "one", "after": ("A",)}), [2, 2], [[2, 2]] * 3)
    assert _chain(result) == {"A": "start", "B": "after"}


def test_the_shorter_of_two_side_by_side_is_not_on_the_chain():
    result = _trace(_plan({"crew": "one"}, {"crew": "one"}), [4, 2], [[2, 2]] * 3)
    assert _chain(result) == {"A": "start"}


def test_one_pair_of_hands_links_everything():
    result = _trace(_plan({}, {}, {}), [2, 2, 2], [2] * 3)
    assert _chain(result) == {"A": "start", "B": "hands", "C": "hands"}


def test_hands_that_were_elsewhere_are_found_across_a_day_on_another_stage():
    plan = _plan({"stage": "tail"}, {"stage": "wing"})
    result = _trace(plan, [4, 2], [2, 2, 2], stage_rank=[[0, 1, 0]])
    assert _chain(result) == {"A": "start", "B": "hands"}


def test_a_hold_is_named_as_the_cause():
    result = _trace(_plan({"hold_days": 3}, {"after": ("A",)}), [2, 2], [2] * 8)
    assert _chain(result) == {"A": "start", "B": "hold"}


def test_a_chain_ends_at_a_delivery_that_everything_waited_for():
    kit = Delivery(delivery="K", title="", ordered=None, lead_weeks_low=1, lead_weeks_likely=1,
                   lead_weeks_high=1)  # fmt: skip
    plan = _plan({}, {"delivery": "K"})
    result = _trace(plan, [2, 2], [2] * 12, deliveries=[kit], release=[[7.0]])
    assert _chain(result) == {"B": "delivery"}


def test_two_person_work_waits_for_two_hands():
    result = _trace(_plan({"crew": "one"}, {"crew": "two"}), [4, 2], [[2, 0], [2, 0], [2, 2]])
    assert _chain(result) == {"A": "start", "B": "two hands"}


def test_the_days_of_one_pair_of_hands_add_up_to_the_finish():
    rng = np.random.default_rng(3)
    network = network_of_untouched(_plan(*[{"stage": s} for s in ("tail", "wing") * 6]))
    draws = random_draws(network, 50, 200, 1, rng)
    result = simulate_schedule(network, **draws, trace=True)
    days = result.build_finish - result.start.min(axis=1)
    assert result.chain_days.sum(axis=1) == pytest.approx(days, abs=1e-3)


def test_no_chain_is_longer_than_the_build():
    rng = np.random.default_rng(4)
    network = random_network(30, rng, limits=False)
    result = simulate_schedule(network, **random_draws(network, 50, 300, 2, rng), trace=True)
    done = np.isfinite(result.build_finish)
    assert done.sum() > 20
    assert (result.chain_days.sum(axis=1)[done] <= result.build_finish[done] + 1e-3).all()


def test_a_chain_names_the_days_of_each_task():
    result = _trace(_plan({"hold_days": 3}, {"after": ("A",)}), [2, 2], [2] * 8)
    assert result.chain_days[0].tolist() == [4.0, 1.0]


def test_causes_are_asked_for_before_playing():
    result = simulate_schedule(network_of_untouched(_plan({})), [[1.0]], [[[1.0]]])
    with pytest.raises(ValueError, match="trace=True"):
        result.chain_causes()


def test_the_shares_of_the_causes_add_up_to_one():
    result = _trace(_plan({}, {}, {"after": ("A",)}), [2, 2, 2], [2] * 3)
    assert sum(result.chain_causes().values()) == pytest.approx(1.0)


@pytest.fixture(scope="module")
def two_normals():
    """N(10, 2) and N(9, 3) side by side."""
    rng = np.random.default_rng(11)
    durations = np.maximum([10, 9] + np.array([2, 3]) * rng.standard_normal((400_000, 2)), 0)
    plan = _plan({"crew": "one"}, {"crew": "one"})
    return criticality_of_tasks(_hands_for_all(plan, durations), durations)


def test_the_index_is_the_chance_of_being_the_later_one(two_normals):
    # P(X1 > X2) after Clark 1961, Operations Research 9.
    assert two_normals.index == pytest.approx([0.6092443525, 0.3907556475], abs=0.004)


def test_cruciality_of_two_normals_has_its_closed_form(two_normals):
    # CI x sd / sd(max), with Var(max) = 3.9735996077 after Clark 1961.
    assert two_normals.cruciality == pytest.approx([0.611265, 0.588077], abs=0.006)


def test_sensitivity_is_cruciality_for_independent_normals(two_normals):
    assert two_normals.sensitivity == pytest.approx(two_normals.cruciality, abs=0.008)


@pytest.fixture(scope="module")
def textbook():
    """The eight activities of Heizer & Render with beta-PERT durations."""
    rng = np.random.default_rng(12)
    rows = [("", 1, 2, 3), ("", 2, 3, 4), ("A", 1, 2, 3), ("AB", 2, 4, 6), ("C", 1, 4, 7), ("C", 1, 2, 9),
            ("DE", 3, 4, 11), ("FG", 1, 2, 3)]  # fmt: skip
    plan = _plan(*({"crew": "one", "after": tuple(after)} for after, *_ in rows))
    low, likely, high = np.array([r[1:] for r in rows], dtype=float).T
    a = 1 + 4 * (likely - low) / (high - low)
    durations = low + (high - low) * rng.beta(a, 6 - a, (300_000, 8))
    return criticality_of_tasks(_hands_for_all(plan, durations), durations)


def test_criticality_of_the_textbook_network(textbook):
    # Own simulation of 2,000,000 runs without this kernel, good to .003.
    expected = [0.741, 0.259, 0.739, 0.261, 0.738, 0.001, 0.999, 1.0]
    assert textbook.index == pytest.approx(expected, abs=0.006)


def test_sensitivity_and_cruciality_of_the_textbook_network(textbook):
    # Own simulation of 2,000,000 runs without this kernel, good to .003.
    at = [textbook.names.index(n) for n in "EG"]
    assert textbook.sensitivity[at] == pytest.approx([0.489, 0.763], abs=0.008)
    assert textbook.cruciality[at] == pytest.approx([0.500, 0.764], abs=0.008)


def test_the_most_crucial_come_first(textbook):
    assert textbook.most_crucial(2) == ("G", "E")


def test_a_stage_is_on_the_chain_when_one_of_its_tasks_is():
    plan = _plan({"crew": "one"}, {"crew": "one", "stage": "wing"}, {"crew": "one", "stage": "wing"})
    network = network_of_untouched(plan)
    hours = np.array([[4.0, 1.0, 2.0], [1.0, 1.0, 2.0]])
    result = simulate_schedule(network, hours, np.full((2, 3, 3), 4.0), trace=True)
    assert criticality_of_stages(network, result, hours).index.tolist() == [0.5, 0.5]


def test_runs_past_the_horizon_do_not_count():
    network = network_of_untouched(_plan({"crew": "one"}))
    hours = np.array([[1.0], [3.0], [99.0]])
    result = simulate_schedule(network, hours, np.full((3, 2, 1), 2.0), trace=True)
    assert criticality_of_tasks(result, hours).runs == 2


def test_where_nothing_varies_nothing_is_crucial():
    network = network_of_untouched(_plan({}))
    result = simulate_schedule(network, [[1.0]] * 3, np.full((3, 2, 1), 2.0), trace=True)
    assert criticality_of_tasks(result, np.ones((3, 1))).cruciality.tolist() == [0.0]
