"""Learning curves against textbooks and handbooks, misprints and mixed-up theories included.

Sources in short: "Table E.3" is the coefficient table of an operations-management textbook's module on
learning curves; "Krajewski" is Krajewski et al., Operations Management, 12th edition, supplement I;
"Taylor" is Taylor's management-science text, worked solutions 13.1; "Exhibit 4A" is the learning-curve
appendix of an operations-management course book; "AFIT" is the manual of the Air Force Institute of
Technology's learning-curve package; "own fixture" is exact by construction and not published.
"""

import math

import numpy as np
import pytest

from forecast.learn.learning_curve import (
    lot_hours,
    lot_midpoint,
    rate_of_slope,
    slope_of_rate,
)
from tests.learning_cases import average_hours, total_hours, unit_hours
from tests.published import published_table

UNIT, AVERAGE = "unit", "cumulative average"
THIRD_DECIMAL = 0.0005 + 1e-9
TABLE_E3 = published_table("textbook_table_e3")


@pytest.mark.parametrize(
    ("rate", "slope"),
    [(0.70, -0.514573173), (0.75, -0.415037499), (0.80, -0.321928095), (0.85, -0.234465254),
     (0.90, -0.152003093), (0.95, -0.074000581)],
)  # fmt: skip
def test_slopes_of_the_usual_rates(rate, slope):
    # AFIT manual, natural slope, seven digits; further digits computed.
    assert slope_of_rate(rate) == pytest.approx(slope, abs=5e-10)


@pytest.mark.parametrize("percent", [70, 75, 80, 85, 90])
def test_every_unit_coefficient_of_the_textbook_table(percent):
    ours = unit_hours(1.0, TABLE_E3["n"], slope_of_rate(percent / 100), theory=UNIT)
    np.testing.assert_allclose(ours, TABLE_E3[f"unit_{percent}"], rtol=0, atol=THIRD_DECIMAL)


@pytest.mark.parametrize("percent", [70, 75, 80, 85, 90])
def test_every_total_coefficient_of_the_textbook_table(percent):
    ours = total_hours(1.0, TABLE_E3["n"], slope_of_rate(percent / 100), theory=UNIT)
    np.testing.assert_allclose(ours, TABLE_E3[f"total_{percent}"], rtol=0, atol=THIRD_DECIMAL)


def test_the_textbook_table_has_all_its_entries():
    assert TABLE_E3.drop(columns=["n", "source"]).shape == (19, 10)


def test_the_eighty_percent_curve_of_a_hundred_thousand_hours():
    # Exhibit 4A.2, printed to the hour.
    pieces = np.array([2, 4, 8, 16, 32, 64, 128, 256])
    units = [80000, 64000, 51200, 40960, 32768, 26214, 20972, 16777]
    totals = [180000, 314210, 534591, 892014, 1467862, 2392447, 3874384, 6247572]
    averages = [90000, 78553, 66824, 55751, 45871, 37382, 30269, 24405]
    slope = slope_of_rate(0.8)
    np.testing.assert_allclose(unit_hours(1e5, pieces, slope, theory=UNIT), units, rtol=0, atol=1)
    np.testing.assert_allclose(total_hours(1e5, pieces, slope, theory=UNIT), totals, rtol=0, atol=1)
    np.testing.assert_allclose(average_hours(1e5, pieces, slope, theory=UNIT), averages, rtol=0, atol=1)


def test_the_eighty_percent_curve_of_ten_hours():
    # Exhibit 4A.3, four decimals.
    pieces, slope = np.array([10, 20, 50, 100, 1000]), slope_of_rate(0.8)
    units, totals = unit_hours(10, pieces, slope, theory=UNIT), total_hours(10, pieces, slope, theory=UNIT)
    np.testing.assert_allclose(units, [4.7651, 3.8121, 2.8383, 2.2706, 1.0820], rtol=0, atol=6e-5)
    np.testing.assert_allclose(totals, [63.1537, 104.8494, 201.2171, 326.5081, 1586.7092], rtol=0, atol=6e-5)


def test_the_thirty_eighth_piece_of_the_textbook():
    # Krajewski: 310 hours of a first 1000; 0.310044 exactly.
    assert unit_hours(1000, 38, slope_of_rate(0.8), theory=UNIT) == pytest.approx(310.044, abs=5e-4)


@pytest.mark.parametrize(("pieces", "printed"), [(3, 0.83403), (10, 0.63154)])
def test_running_averages_of_the_textbook(pieces, printed):
    # Krajewski, table of cumulative averages under unit theory.
    assert average_hours(1, pieces, slope_of_rate(0.8), theory=UNIT) == pytest.approx(printed, abs=6e-6)


def test_the_worked_solution_of_three_hundred_hours():
    # Taylor 13.1 prints 178.7, 1121.4 and 2914.8, the totals from rounded coefficients.
    slope = slope_of_rate(0.8)
    assert unit_hours(300, 5, slope, theory=UNIT) == pytest.approx(178.7, abs=0.05)
    np.testing.assert_allclose(total_hours(300, [5, 18], slope, theory=UNIT), [1121.322, 2914.854], atol=1e-3)
    np.testing.assert_allclose(total_hours(300, [5, 18], slope, theory=UNIT), [1121.4, 2914.8], rtol=1e-4)


@pytest.mark.parametrize(
    ("rate", "printed"), [(0.80, 21.13225), (0.85, 32.23647), (0.90, 48.00243), (0.95, 69.95640)]
)
def test_the_hundred_and_twenty_fifth_piece(rate, printed):
    # AFIT manual, unit curve, T1 = 100.
    assert unit_hours(100, 125, slope_of_rate(rate), theory=UNIT) == pytest.approx(printed, abs=6e-6)


def test_a_curve_may_start_from_any_piece():
    # AFIT manual, unit curve: piece 100 took 100 hours, so piece 125 takes 94.90257 at 85 %.
    slope = slope_of_rate(0.85)
    first = 100 / unit_hours(1, 100, slope, theory=UNIT)
    assert unit_hours(first, 125, slope, theory=UNIT) == pytest.approx(94.90257, abs=6e-6)


def test_the_exact_total_of_a_hundred_and_twenty_five_pieces():
    # AFIT manual, exact cumulative: 5201.085.
    assert total_hours(100, 125, slope_of_rate(0.85), theory=UNIT) == pytest.approx(5201.085, abs=5e-4)


def test_a_comment_in_a_source_misprints_the_integral_approximation():
    # AFIT manual, approximate cumulative: 5202.988 on its page; a comment in its source says 5202.998.
    slope = slope_of_rate(0.85)
    integral = 100 / (1 + slope) * (125.5 ** (1 + slope) - 0.5 ** (1 + slope))
    assert integral == pytest.approx(5202.988, abs=5e-4)
    assert integral != pytest.approx(5202.998, abs=5e-3)
    assert total_hours(100, 125, slope, theory=UNIT) == pytest.approx(integral, rel=4e-4)


def test_a_late_piece_under_wright():
    # AFIT manual, cumulative-average unit: 23.34001.
    slope = slope_of_rate(0.885)
    assert unit_hours(110, 2200, slope, theory=AVERAGE) == pytest.approx(23.34001, abs=6e-6)


def test_a_block_of_fifty_pieces_under_wright():
    # AFIT manual, cumulative-average block: 806.772.
    assert lot_hours(75, 201, 250, slope_of_rate(0.85), theory=AVERAGE) == pytest.approx(806.772, abs=6e-4)


def test_the_midpoint_of_three_hundred_pieces():
    # AFIT manual, block summary: 334.6103 from the integral; 334.61047 by exact summation.
    midpoint = lot_midpoint(201, 500, slope_of_rate(0.75))
    assert midpoint == pytest.approx(334.61047, abs=6e-6)
    assert midpoint == pytest.approx(334.6103, abs=3e-4)


def test_the_hours_of_three_hundred_pieces():
    # AFIT manual, block summary: 30350.48 from the integral; 30350.4707 by exact summation.
    slope = slope_of_rate(0.75)
    first = 125 / unit_hours(1, 201, slope, theory=UNIT)
    hours = lot_hours(first, 201, 500, slope, theory=UNIT)
    assert hours == pytest.approx(30350.4707, abs=6e-5)
    assert hours / 300 == pytest.approx(101.16824, abs=6e-6)
    assert hours == pytest.approx(30350.48, abs=0.02)


def test_the_two_theories_drift_apart():
    # AFIT manual, delta: unit minus cumulative-average hours, T1 = 50, 88.5 %.
    pieces, slope = np.array([1, 2, 3, 4, 25]), slope_of_rate(0.885)
    apart = unit_hours(50, pieces, slope, theory=UNIT) - unit_hours(50, pieces, slope, theory=AVERAGE)
    np.testing.assert_allclose(apart, [0, 5.75, 6.103821, 6.110519, 4.913395], rtol=0, atol=6e-7)
    totals = total_hours(50, 25, slope, theory=UNIT) - total_hours(50, 25, slope, theory=AVERAGE)
    assert totals == pytest.approx(130.82581, abs=6e-6)


def test_two_points_of_rate_are_a_fifth_of_the_hours_at_piece_250():
    # AFIT manual, cumulative error: 0.2035303 between 85 and 87 %, in the ratio of Wright averages.
    ratio = average_hours(1, 250, slope_of_rate(0.87), theory=AVERAGE) / average_hours(
        1, 250, slope_of_rate(0.85), theory=AVERAGE
    )
    assert ratio - 1 == pytest.approx(0.2035303, abs=6e-8)


def test_the_slope_of_a_total():
    # AFIT manual, natural slope estimate: T1 = 80, 8250 hours for 250 pieces, under Wright's theory. The
    # total changes by 45,500 hours per unit of slope: the printed digits of the slope fix it to 0.003.
    assert total_hours(80, 250, -0.1603777, theory=AVERAGE) == pytest.approx(8250, abs=3e-3)
    assert rate_of_slope(-0.1603777) == pytest.approx(0.8947908, abs=6e-8)


SHOPS = ((70, 0.85), (45, 0.87), (25, 0.80))


def total_of_three_shops(theory):
    return sum(total_hours(hours, 300, slope_of_rate(rate), theory=theory) for hours, rate in SHOPS)


def test_three_shops_add_up_to_the_printed_total_under_wright():
    # AFIT manual, aggregate curve: 11000.96.
    assert total_of_three_shops(AVERAGE) == pytest.approx(11000.96, abs=6e-3)


def test_the_same_three_shops_need_29_percent_more_hours_under_unit_theory():
    # Computed; the printed 11000.96 does not say which theory it holds for.
    assert total_of_three_shops(UNIT) == pytest.approx(14242.746, abs=6e-4)
    assert total_of_three_shops(UNIT) / total_of_three_shops(AVERAGE) == pytest.approx(1.29, abs=0.005)


def test_the_doublings_of_a_cost_handbook_under_wright():
    # A pricing handbook's page 330: averages and totals at 80 %, T1 = 100.
    pieces, slope = np.array([2, 4, 8, 16]), slope_of_rate(0.8)
    averages = average_hours(100, pieces, slope, theory=AVERAGE)
    np.testing.assert_allclose(averages, [80, 64, 51.2, 40.96], rtol=1e-12)
    np.testing.assert_allclose(averages * pieces, [160, 256, 409.6, 655.36], rtol=1e-12)


def test_a_cost_handbook_misprints_the_hours_of_pieces_nine_to_sixteen():
    # The same page prints 254.76; its own mean of 30.72 for eight pieces says 245.76.
    hours = lot_hours(100, 9, 16, slope_of_rate(0.8), theory=AVERAGE)
    assert hours == pytest.approx(245.76, rel=1e-12)
    assert hours / 8 == pytest.approx(30.72, rel=1e-12)


def test_at_wright_eighty_percent_the_second_unit_takes_sixty():
    # A project-management glossary's appendix on learning curves: 60 %, averages 80 % and 64 %.
    assert unit_hours(1, 2, slope_of_rate(0.8), theory=AVERAGE) == pytest.approx(0.6)


def rate_of_line(pieces, hours):
    """Rate and first hours of the least-squares line through the logs."""
    slope, intercept = np.polyfit(np.log(pieces), np.log(hours), 1)
    return 2**slope, math.exp(intercept)


def test_wright_units_read_as_a_unit_curve_give_a_rate_three_points_too_low():
    # Own fixture: 85 %, T1 = 100, pieces 1 to 20.
    pieces = np.arange(1, 21)
    hours = unit_hours(100, pieces, slope_of_rate(0.85), theory=AVERAGE)
    assert rate_of_line(pieces, hours) == pytest.approx((0.817188, 88.972947), abs=6e-7)


def test_unit_curve_hours_read_as_running_averages_give_a_rate_four_points_too_high():
    # Own fixture: 85 %, T1 = 100, pieces 1 to 20.
    pieces = np.arange(1, 21)
    hours = unit_hours(100, pieces, slope_of_rate(0.85), theory=UNIT)
    averages = np.cumsum(hours) / pieces
    assert rate_of_line(pieces, averages) == pytest.approx((0.890521, 103.909418), abs=6e-7)


def test_sixteen_pieces_at_eighty_percent_cost_a_third_more_under_unit_theory():
    # Own fixture: 892.01 against 655.36.
    slope = slope_of_rate(0.8)
    totals = [total_hours(100, 16, slope, theory=theory) for theory in (UNIT, AVERAGE)]
    np.testing.assert_allclose(totals, [892.01, 655.36], rtol=0, atol=5e-3)


# Own fixture: five lots made exactly from T1 = 100 and 85 %.
FIRST, LAST = np.array([1, 6, 16, 36, 76]), np.array([5, 15, 35, 75, 120])
LOT_TOTALS = np.array([403.10858983, 582.99702351, 943.27666031, 1570.11092200, 1539.79580334])
LOT_AVERAGES = LOT_TOTALS / (LAST - FIRST + 1)
LOT_MIDPOINTS = np.array([2.50601857, 9.98708533, 24.66409267, 53.97005334, 96.92424440])


def sqrt_heuristic():
    """(F + L + 2 sqrt(FL)) / 4: common practice in pricing guides, from memory."""
    return (FIRST + LAST + 2 * np.sqrt(FIRST * LAST)) / 4


def test_lot_totals_of_the_fixture():
    ours = lot_hours(100, FIRST, LAST, slope_of_rate(0.85), theory=UNIT)
    np.testing.assert_allclose(ours, LOT_TOTALS, rtol=0, atol=6e-9)


def test_lot_midpoints_of_the_fixture():
    np.testing.assert_allclose(lot_midpoint(FIRST, LAST, slope_of_rate(0.85)), LOT_MIDPOINTS, atol=6e-9)


def test_exact_midpoints_give_the_curve_back_from_its_lots():
    midpoints = lot_midpoint(FIRST, LAST, slope_of_rate(0.85))
    assert rate_of_line(midpoints, LOT_AVERAGES) == pytest.approx((0.85, 100.0), rel=1e-8)


def test_one_pass_with_the_square_root_heuristic_is_a_little_off():
    assert rate_of_line(sqrt_heuristic(), LOT_AVERAGES) == pytest.approx((0.848341, 101.014860), abs=6e-7)


@pytest.mark.parametrize(("before", "after"), [(0.848341, 0.850016), (0.850016, 0.8499998)])
def test_each_step_with_exact_midpoints_comes_closer(before, after):
    midpoints = lot_midpoint(FIRST, LAST, slope_of_rate(before))
    assert rate_of_line(midpoints, LOT_AVERAGES)[0] == pytest.approx(after, abs=6e-7)


def test_the_arithmetic_middle_of_a_lot_is_wrong():
    assert rate_of_line((FIRST + LAST) / 2, LOT_AVERAGES) == pytest.approx((0.843891, 104.707307), abs=6e-7)


def test_lots_with_noise_give_the_curve_of_least_squares():
    noisy = LOT_AVERAGES * [1.03, 0.97, 1.02, 0.99, 1.01]
    rate = 0.85
    for _ in range(12):  # each pass takes its midpoints at the last rate; twelve settle it
        rate, first_hours = rate_of_line(lot_midpoint(FIRST, LAST, slope_of_rate(rate)), noisy)
    expected = (101.467444, -0.238086, 0.847869)
    assert (first_hours, slope_of_rate(rate), rate) == pytest.approx(expected, abs=6e-7)


def test_the_tenth_piece_of_the_least_squares_curve_of_eight():
    # Own fixture: ln y on log2 n has intercept 2.32553615 and slope -.248046220, piece 10 takes 4.488616.
    slope = slope_of_rate(0.780323877)
    assert slope == pytest.approx(-0.248046220 / math.log(2), abs=6e-9)
    assert unit_hours(math.exp(2.32553615), 10, slope, theory=UNIT) == pytest.approx(4.488616, abs=6e-7)
