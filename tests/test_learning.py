"""Learning curves: toys by pencil first, then what must hold for every lot, slope and theory."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.learn.learning_curve import (
    lot_coefficient,
    lot_hours,
    lot_midpoint,
    pieces_remembered,
    rate_of_slope,
    slope_of_rate,
)
from tests.learning_cases import average_hours, total_hours, unit_hours

THEORIES = ["unit", "cumulative average"]
SLOPES = st.floats(-0.9, 0.5)
PIECES = st.integers(1, 400)


@pytest.fixture
def rng():
    return np.random.default_rng(20260930)


def summed(first: int, last: int, slope: float) -> float:
    return math.fsum(k**slope for k in range(first, last + 1))


def test_at_eighty_percent_the_second_piece_takes_eighty_hours_of_a_hundred():
    assert unit_hours(100, 2, slope_of_rate(0.8), theory="unit") == pytest.approx(80)


def test_at_eighty_percent_of_the_average_the_second_piece_takes_only_sixty():
    assert unit_hours(100, 2, slope_of_rate(0.8), theory="cumulative average") == pytest.approx(60)


@pytest.mark.parametrize("theory", THEORIES)
def test_without_learning_every_piece_takes_as_long_as_the_first(theory):
    np.testing.assert_allclose(unit_hours(3.0, np.arange(1, 30), 0.0, theory=theory), 3.0)


def test_a_rate_and_its_slope_are_two_names_for_one_thing():
    rates = np.linspace(0.5, 1.5, 11)
    np.testing.assert_allclose(rate_of_slope(slope_of_rate(rates)), rates, rtol=1e-15)


@pytest.mark.parametrize("rate", [0.0, -0.8, math.nan])
def test_a_rate_of_nothing_or_less_is_refused_with_the_value(rate):
    with pytest.raises(ValueError, match="must be above 0. Got"):
        slope_of_rate(rate)


@pytest.mark.parametrize("theory", THEORIES)
def test_the_total_is_what_the_pieces_add_up_to(theory):
    slope = slope_of_rate(0.87)
    pieces = unit_hours(10, np.arange(1, 41), slope, theory=theory)
    assert total_hours(10, 40, slope, theory=theory) == pytest.approx(pieces.sum(), rel=1e-12)


@pytest.mark.parametrize("theory", THEORIES)
def test_the_average_is_the_total_over_the_pieces(theory):
    total = total_hours(10, 8, -0.3, theory=theory)
    assert average_hours(10, 8, -0.3, theory=theory) == pytest.approx(total / 8, rel=1e-14)


def test_under_the_average_theory_the_average_falls_on_the_curve():
    assert average_hours(10, 8, slope_of_rate(0.9), theory="cumulative average") == pytest.approx(7.29)


@pytest.mark.parametrize(("first", "last"), [(1, 1), (1, 8), (8, 9), (9, 9), (3, 20), (40, 41), (1, 3000)])
@pytest.mark.parametrize("slope", [-1.5, -1.0, -0.3, -1e-4, 0.0, 0.4, 3.0])
def test_the_lot_coefficient_is_the_sum_of_its_terms(first, last, slope):
    assert lot_coefficient(first, last, slope) == pytest.approx(summed(first, last, slope), rel=1e-11)


@pytest.mark.parametrize("slope", [-1.0, -0.32, 0.2])
def test_a_lot_of_a_million_pieces_is_summed_as_exactly_as_a_small_one(slope):
    exact = summed(1, 1_000_000, slope)
    assert lot_coefficient(1, 1_000_000, slope) == pytest.approx(exact, rel=1e-11)


@given(first=PIECES, more=st.integers(0, 300), slope=SLOPES)
@settings(deadline=None)
def test_the_midpoint_piece_takes_the_average_time_of_its_lot(first, more, slope):
    last = first + more
    average = summed(first, last, slope) / (more + 1)
    assert lot_midpoint(first, last, slope) ** slope == pytest.approx(average, rel=1e-11)


@given(first=PIECES, more=st.integers(1, 300), slope=SLOPES)
@settings(deadline=None)
def test_the_midpoint_lies_inside_the_lot_and_before_the_arithmetic_middle(first, more, slope):
    midpoint = lot_midpoint(first, first + more, slope)
    assert first < midpoint < first + more / 2


@pytest.mark.parametrize("slope", [0.0, 1e-12, -1e-9, 1e-5, -1.9e-4, 2.1e-4])
def test_close_to_no_learning_the_midpoint_goes_to_the_geometric_mean_without_losing_digits(slope):
    logs = np.log(np.arange(20, 401, dtype=np.longdouble))
    series = logs.mean() + slope * logs.var() / 2 + slope**2 * ((logs - logs.mean()) ** 3).mean() / 6
    assert lot_midpoint(20, 400, slope) == pytest.approx(float(np.exp(series)), rel=1e-11)


def test_a_single_piece_is_its_own_midpoint_to_the_last_digit():
    pieces = np.array([1.0, 2.0, 7.0, 1234.0])
    np.testing.assert_array_equal(lot_midpoint(pieces, pieces, -0.2345), pieces)


def test_midpoints_for_many_draws_of_slopes_are_those_of_each_draw_alone(rng):
    first = rng.integers(1, 50, 300).astype(float)
    last = first + rng.integers(0, 50, 300)
    slopes = rng.normal(-0.2, 0.1, (400, 1))
    together = lot_midpoint(first, last, slopes)
    alone = np.stack([lot_midpoint(first, last, slope[0]) for slope in slopes])
    np.testing.assert_array_equal(together, alone)


def test_every_task_may_have_a_slope_of_its_own(rng):
    first = np.arange(1.0, 201.0)
    slopes = rng.normal(-0.2, 0.1, (500, 200))
    together = lot_midpoint(first, first + 6, slopes)
    assert together[321, 57] == pytest.approx(lot_midpoint(58, 64, slopes[321, 57]), rel=1e-12)


@given(
    before=st.floats(0, 50), one=st.floats(0.01, 30), other=st.floats(0.01, 30), slope=st.floats(-0.9, 0.9)
)
@settings(deadline=None)
def test_lots_that_are_not_whole_still_add_up(before, one, other, slope):
    parts = lot_coefficient(before + 1, before + one, slope)
    parts += lot_coefficient(before + one + 1, before + one + other, slope)
    assert lot_coefficient(before + 1, before + one + other, slope) == pytest.approx(parts, rel=1e-9)


@given(before=st.floats(0, 100), quantity=st.floats(0.01, 100), slope=st.floats(-0.9, 0.0))
@settings(deadline=None)
def test_a_larger_part_of_a_piece_takes_longer(before, quantity, slope):
    part = lot_coefficient(before + 1, before + quantity, slope)
    assert 0 < part < lot_coefficient(before + 1, before + quantity + 0.01, slope)


def test_half_a_piece_at_the_start_takes_what_the_digamma_function_says():
    # sum of 1/k over "half a piece" is psi(1.5) - psi(1) = 2 - 2 ln 2 (Abramowitz & Stegun 6.3.3-6.3.5).
    assert lot_coefficient(1, 0.5, -1.0) == pytest.approx(2 - 2 * math.log(2), rel=1e-12)


def test_a_late_small_lot_under_the_average_theory_keeps_its_digits():
    hours = lot_hours(1.0, 1e9, 1e9, slope_of_rate(0.8), theory="cumulative average")
    slope = math.log2(0.8)
    assert hours == pytest.approx((1 + slope) * (1e9 - 0.5) ** slope, rel=1e-12)


def test_a_piece_number_below_one_is_refused_with_the_value():
    with pytest.raises(ValueError, match="must be 1 or more. Got .*0.5"):
        lot_midpoint([0.5, 2], [3, 4], -0.3)


def test_an_empty_lot_is_refused_with_its_size():
    with pytest.raises(ValueError, match="more than 0 pieces. Got .*0.0.* pieces"):
        lot_midpoint(3, 2, -0.3)


def test_a_slope_that_is_not_a_number_is_refused():
    with pytest.raises(ValueError, match="finite"):
        lot_coefficient(1, 2, math.nan)


def test_a_theory_nobody_holds_is_refused():
    with pytest.raises(ValueError, match="must be one of .*'wright'"):
        unit_hours(1, 1, -0.3, theory="wright")


def test_an_average_that_falls_so_fast_that_the_total_falls_is_refused():
    with pytest.raises(ValueError, match="above -1"):
        total_hours(1, 4, -1.0, theory="cumulative average")


def hours_after_break(pieces, days):
    return unit_hours(10.0, 1 + pieces_remembered(pieces, days, half_days=35), -0.3, theory="unit")


def test_no_break_forgets_nothing():
    np.testing.assert_array_equal(pieces_remembered([0, 3, 40], 0, half_days=35), [0, 3, 40])


def test_a_longer_break_makes_a_slower_restart():
    assert np.all(np.diff(hours_after_break(40, np.array([0, 1, 10, 82, 400, 4000]))) > 0)


def test_a_restart_is_never_slower_than_the_first_piece_nor_faster_than_without_a_break():
    pieces, days = np.meshgrid([0, 1, 5, 100], [0, 1, 30, 1e4])
    restart = hours_after_break(pieces, days)
    assert np.all((restart <= 10.0) & (restart >= hours_after_break(pieces, 0)))


def test_who_has_made_more_pieces_loses_a_smaller_share_of_the_hours_saved():
    pieces = np.array([1, 5, 25, 125, 625])
    fresh = hours_after_break(pieces, 0)
    lost = (hours_after_break(pieces, 60) - fresh) / (10.0 - fresh)
    assert np.all(np.diff(lost) < 0)


@pytest.mark.parametrize(("pieces", "days", "half"), [(-1, 0, 35), (1, -1, 35), (1, 1, 0)])
def test_a_break_of_negative_length_or_practice_is_refused(pieces, days, half):
    with pytest.raises(ValueError, match="0 or more"):
        pieces_remembered(pieces, days, half_days=half)
