"""By when to order: in time, or at the least expected cost."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri

from forecast.files.plan import Delivery
from forecast.present.orders import late_sentence
from forecast.questions.orders import Need, cheapest_day, day_in_time, order_of, orders_of
from tests.small_builds import AS_OF, QUICK, fitted_build, plan_of


def kit_of(**more) -> Delivery:
    """A kit of four weeks' lead time."""
    blank = {"delivery": "K", "title": "Kit", "ordered": None, "lead_weeks_low": 4, "lead_weeks_likely": 4,
             "lead_weeks_high": 4}  # fmt: skip
    return Delivery(**{**blank, **more})


def _need(needed, lead=28.0, idle=None) -> Need:
    needed = np.asarray(needed, dtype=float)
    idle = needed if idle is None else np.asarray(idle, dtype=float)
    return Need(
        needed_days=needed, idle_days=idle, lead_days=np.broadcast_to(lead, needed.shape).astype(float)
    )


def expected_cost(need: Need, day: float, late_cost_per_week: float, early_cost_per_week: float) -> float:
    """Mean cost of idle time and of storage when it is ordered on that day."""
    arrival = day + need.lead_days
    idle = np.maximum(arrival - need.idle_days, 0.0)
    stored = np.maximum(need.needed_days - arrival, 0.0)
    return float(np.mean(late_cost_per_week * idle + early_cost_per_week * stored)) / 7


def test_a_sure_need_is_ordered_its_lead_time_before():
    assert day_in_time(_need([100.0] * 9), 0.8) == 72


def test_four_of_five_arrive_in_time():
    need = _need(np.linspace(50, 149, 100))
    day = day_in_time(need, 0.8)
    assert np.mean(day + need.lead_days <= need.needed_days) >= 0.8
    assert np.mean(day + 1 + need.lead_days <= need.needed_days) < 0.8


def test_what_should_have_been_ordered_is_ordered_at_once():
    assert day_in_time(_need([10.0] * 5), 0.8) == 0


def test_what_is_not_needed_has_no_day():
    need = _need([np.inf] * 5)
    assert day_in_time(need, 0.8) is None
    assert cheapest_day(need, 50, 10, 1000) is None


def test_the_cheapest_day_is_the_newsvendors_quantile():
    # Order at the quantile early / (early + late) of need less lead time (the newsvendor, from memory).
    need = _need(200 + 30 * ndtri((np.arange(20_000) + 0.5) / 20_000), lead=50.0)
    day = cheapest_day(need, 60, 12, 1000)
    assert day == pytest.approx(150 + 30 * ndtri(12 / 72), abs=1)


@given(seed=st.integers(0, 10**6), late=st.floats(1, 100), early=st.floats(1, 100))
@settings(deadline=None, max_examples=40)
def test_no_other_day_is_cheaper(seed, late, early):
    rng = np.random.default_rng(seed)
    needed = rng.gamma(4.0, 30.0, 200)
    need = _need(needed, lead=rng.gamma(9.0, 7.0, 200), idle=needed + rng.gamma(1.0, 20.0, 200))
    best = cheapest_day(need, late, early, 600)
    costs = [expected_cost(need, day, late, early) for day in range(601)]
    assert expected_cost(need, best, late, early) <= min(costs) * (1 + 1e-3) + 1e-6


def test_dear_waiting_orders_earlier():
    need = _need(np.linspace(100, 300, 50))
    assert cheapest_day(need, 100, 10, 1000) < cheapest_day(need, 10, 100, 1000)


def test_other_work_lets_the_order_wait():
    needed = np.linspace(100, 300, 50)
    without, with_other = _need(needed), _need(needed, idle=needed + 60)
    assert cheapest_day(with_other, 60, 12, 1000) > cheapest_day(without, 60, 12, 1000)


def test_without_costs_the_order_is_in_time_in_eight_of_ten():
    order = order_of(kit_of(), AS_OF, _need(np.linspace(50, 149, 100)), 1000)
    assert order.rule == "80 % in time"
    assert order.probability_late == pytest.approx(0.2, abs=0.01)


def test_with_one_cost_only_the_order_is_in_time_in_eight_of_ten():
    order = order_of(kit_of(late_cost_per_week=60.0), AS_OF, _need([100.0] * 5), 1000)
    assert order.rule == "80 % in time"


def test_what_is_on_order_has_no_day_but_its_chances():
    ordered = AS_OF - timedelta(days=7)
    order = order_of(kit_of(ordered=ordered), AS_OF, _need([20.0] * 4), 1000)
    assert order.order_by is None
    assert order.probability_late == 1.0
    assert order.expected_wait_days == 1.0


def test_an_order_after_as_of_is_not_known_yet():
    order = order_of(kit_of(ordered=AS_OF + timedelta(days=1)), AS_OF, _need([100.0] * 4), 1000)
    assert order.order_by == AS_OF + timedelta(days=72)


def test_the_answer_has_the_keys_of_the_contract():
    answer = order_of(kit_of(), AS_OF, _need([100.0] * 4), 1000).to_dict()
    assert set(answer) == {
        "delivery", "needed", "order_by", "probability_late_if_ordered_then", "expected_idle_days",
        "expected_wait_days",
    }  # fmt: skip
    assert answer["needed"]["p50"] == (AS_OF + timedelta(days=101)).isoformat()


@pytest.fixture(scope="module")
def engine_last():
    """Eight tasks done, eight open, and the engine that the last two need."""
    rows = [{}] * 6 + [{"delivery": "engine"}] * 2
    kits = [kit_of(delivery="engine"), kit_of(delivery="there", arrived=date(2026, 1, 5))]
    return fitted_build(plan_of(*[{}] * 8, *rows), deliveries=kits)


def test_only_what_is_still_to_come_is_listed(engine_last):
    assert [o.delivery for o in orders_of(engine_last, QUICK).orders] == ["engine"]


def test_idle_time_begins_when_the_other_work_is_done(engine_last):
    (order,) = orders_of(engine_last, QUICK).orders
    # the six tasks before it in row order are what can be done without it
    np.testing.assert_allclose(order.need.idle_days, order.need.needed_days, atol=14.0)
    assert (order.need.idle_days <= order.need.needed_days + 1e-6).all()


def test_the_same_seed_gives_the_same_orders(engine_last):
    assert orders_of(engine_last, QUICK).to_dict() == orders_of(engine_last, QUICK).to_dict()


def test_without_deliveries_there_is_nothing_to_order():
    assert orders_of(fitted_build(plan_of(*[{}] * 10)), QUICK).orders == ()


def test_late_on_purpose_is_explained_by_its_costs():
    # Needed between days 60 and 140, with other work for 90 days more: nothing is lost by waiting.
    kit = kit_of(late_cost_per_week=60, early_cost_per_week=20)
    needed = np.linspace(60.5, 140.5, 81)
    order = order_of(kit, AS_OF, _need(needed, idle=needed + 90), 1000)
    assert order.late_on_purpose
    # In store in no run: ordered for the latest need.
    assert order.order_by_days == 113
    assert order.expected_idle_days == 0 < order.expected_wait_days
    assert late_sentence(replace(order, expected_idle_days=1.2, expected_wait_days=1.4)) == (
        "By your costs, late is cheaper than early: storage costs 20 per week, a week without any work 60, "
        "and other work fills 0 of the 1 day of waiting on average."
    )


def test_nothing_is_late_on_purpose_in_time_or_when_overdue():
    costs = {"late_cost_per_week": 60, "early_cost_per_week": 20}
    assert not order_of(kit_of(**costs), AS_OF, _need([100.0] * 10), 1000).late_on_purpose
    assert not order_of(kit_of(**costs), AS_OF, _need([10.0] * 10), 1000).late_on_purpose
    assert order_of(kit_of(), AS_OF, _need([100.0] * 10), 1000).late_cost_per_week is None
