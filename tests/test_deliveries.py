"""Arrival days of kits and parts."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecast.files.plan import Delivery
from forecast.learn.deliveries import draw_arrivals, lead_days_given

WING = Delivery(
    delivery="K2", title="Wing kit", ordered=date(2026, 1, 5), lead_weeks_low=8, lead_weeks_likely=10,
    lead_weeks_high=18,
)  # fmt: skip


def _days(delivery, as_of, draws=20_000):
    return draw_arrivals([delivery], as_of, draws, np.random.default_rng(3))[:, 0]


def test_what_has_arrived_is_there():
    arrived = replace(WING, arrived=date(2026, 2, 1))
    assert np.all(_days(arrived, date(2026, 2, 1)) == 0)


def test_an_arrival_after_as_of_is_not_known_yet():
    arrived = replace(WING, arrived=date(2026, 2, 1))
    assert _days(arrived, date(2026, 1, 31)).min() > 0


def test_the_mean_lead_time_is_that_of_three_estimates():
    # (8 + 4 x 10 + 18) / 6 = 11 weeks; standard error of the mean of 20,000 draws below 0.1 day
    assert _days(WING, date(2026, 1, 5)).mean() == pytest.approx(77.0, abs=0.4)


def test_the_beta_variance_is_not_the_classic_one():
    # mean 11, so the beta variance is (11-8)(18-11)/7 = 3 weeks squared; the classic one is (10/6)^2 = 2.78
    spread = _days(WING, date(2026, 1, 5)).std() / 7
    assert spread == pytest.approx(np.sqrt(3.0), rel=0.02)


def test_waiting_without_arrival_moves_the_rest_of_the_wait():
    late = _days(WING, date(2026, 4, 13))
    assert late.min() >= 0
    assert late.max() <= 18 * 7 - 98


def test_an_overdue_kit_still_has_a_wait_ahead():
    overdue = _days(WING, date(2026, 12, 1))
    assert overdue.min() > 0
    assert overdue.mean() == pytest.approx(35.0, rel=0.05)


def test_a_kit_not_ordered_counts_as_ordered_tomorrow():
    open_order = replace(WING, ordered=None)
    assert _days(open_order, date(2026, 6, 1)).min() >= 56


def test_no_deliveries_give_an_empty_table():
    assert draw_arrivals([], date(2026, 1, 1), 7, np.random.default_rng(0)).shape == (7, 0)


def test_an_exact_lead_time_needs_no_luck():
    exact = replace(WING, lead_weeks_low=10, lead_weeks_high=10)
    assert np.all(lead_days_given(exact, 0, np.array([0.1, 0.9])) == 70)
