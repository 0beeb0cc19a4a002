"""The mathematics of learning by doing: each further piece takes less time.

"An 80 % curve" means two things, and they are far apart (300 pieces in three shops differ by 29 % of the
hours), so every rate names its theory:

unit                  piece n takes first_hours * n**slope             (Crawford)
cumulative average    the first n pieces take first_hours * n**slope on average (Wright, "Factors
                      affecting the cost of airplanes", J. Aeronautical Sciences 3, 1936)

slope = log2(rate); a rate of 0.8 means that the time falls BY 20 % with every doubling of the pieces.

A task of many pieces is a lot. Under the unit theory a lot has the average of its midpoint, the piece
number that takes exactly that long, which is never the middle of the numbers. Quantities need not be whole:
sum(k**slope) is continued between whole numbers so that lots still add up (the difference of two Hurwitz
zeta functions), and half a piece is the lot from 1 to 0.5.

The forecast uses the midpoint, the rate and the memory of past practice. `lot_hours` and `slope_of_rate` are
here because published tables (tests/published/test_learning_curves.py) check the same sums through them.
"""

from __future__ import annotations

from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Theory = Literal["unit", "cumulative average"]
Floats = Any  # a float for scalars in, an array for arrays in

# Terms below this piece number are added one by one, the others by the series. At 9 the six terms of the
# series leave an error of 1e-11 of the sum for slopes from -3 to 3; a lower number would leave more.
_SERIES_FROM = 9
# Bernoulli polynomials at 1/2 over (2j)!: the Euler-Maclaurin weights between half-integers.
_MIDPOINT_WEIGHTS = (
    -1 / 24, 7 / 5760, -31 / 967680, 127 / 154828800, -73 / 3503554560, 1414477 / 2678117105664000,
)  # fmt: skip
# Nearer to 0 than this, the midpoint's log divides two small numbers and loses digits; a parabola does not.
_NEAR_ZERO_SLOPE = 2e-4
_ELEMENTS_AT_ONCE = 32_768  # 256 KB of floats fit the second-level cache of common processors


def slope_of_rate(rate: ArrayLike) -> Floats:
    """Exponent of the curve from its rate per doubling: log2(rate).

    Examples
    --------
    >>> round(float(slope_of_rate(0.8)), 9)
    -0.321928095
    """
    rate = np.asarray(rate, dtype=float)
    if not np.all(rate > 0):
        raise ValueError(f"A learning rate must be above 0. Got {rate.min()!r}.")
    return np.log2(rate)[()]


def rate_of_slope(slope: ArrayLike) -> Floats:
    """Rate per doubling from the exponent: 2**slope.

    Examples
    --------
    >>> float(rate_of_slope(-1.0))
    0.5
    """
    return np.exp2(np.asarray(slope, dtype=float))[()]


def lot_hours(
    first_hours: ArrayLike, first: ArrayLike, last: ArrayLike, slope: ArrayLike, *, theory: Theory
) -> Floats:
    """Hours of the pieces `first` to `last` together, both included.

    Parameters
    ----------
    first_hours : hours of piece 1, any shape
    first, last : piece numbers, first >= 1 and last > first - 1, broadcast against the others
    slope : exponent; above -1 under the cumulative-average theory, since the total would fall otherwise
    theory : which of the two meanings the slope has

    Raises
    ------
    ValueError : for a piece number below 1, an empty lot, an unknown theory

    Examples
    --------
    Pieces 6 to 15 of an 85 % curve; the second piece of an 80 % curve, whose meaning the theory decides:

    >>> print(round(lot_hours(100, 6, 15, slope_of_rate(0.85), theory="unit"), 6))
    582.997024
    >>> print(round(lot_hours(100, 2, 2, slope_of_rate(0.8), theory="unit"), 6))
    80.0
    >>> print(round(lot_hours(100, 2, 2, slope_of_rate(0.8), theory="cumulative average"), 6))
    60.0
    """
    first_hours = np.asarray(first_hours, dtype=float)
    if theory not in get_args(Theory):
        raise ValueError(f"The theory must be one of {get_args(Theory)}. Got {theory!r}.")
    if theory == "unit":
        return (first_hours * lot_coefficient(first, last, slope))[()]
    first, last, slope = _lots(first, last, slope)
    if not np.all(slope > -1):
        raise ValueError(
            f"A cumulative-average slope must be above -1 (a rate above 50 %). Got {slope.min()!r}."
        )
    # last**c - before**c without losing digits where the lot is small beside what came before it
    power = 1 + slope
    with np.errstate(divide="ignore"):  # nothing came before: log(0), and the difference is last**c
        shrink = np.log1p(-np.minimum((last - first + 1) / last, 1.0))
    return (first_hours * last**power * -np.expm1(power * shrink))[()]


def lot_coefficient(first: ArrayLike, last: ArrayLike, slope: ArrayLike) -> Floats:
    """Sum of k**slope over the pieces `first` to `last`: the hours of a lot, in hours of piece 1.

    Terms up to piece 9 are added; beyond, the Euler-Maclaurin series between half-integers
    (Abramowitz & Stegun 23.1.30 with Bernoulli polynomials at 1/2) is exact to 1e-11 of the sum for
    slopes from -3 to 3, so that a lot of a million pieces takes no longer to sum than one of ten.

    Parameters
    ----------
    first, last : piece numbers, first >= 1 and last > first - 1, any shape
    slope : exponents, broadcast: pieces (tasks,) and slopes (draws, 1) or (draws, tasks) give
        (draws, tasks)

    Examples
    --------
    >>> round(float(lot_coefficient(1, 125, slope_of_rate(0.85))), 5)
    52.01085
    """
    first, last, slope = _lots(first, last, slope)
    shape = np.broadcast_shapes(first.shape, last.shape, slope.shape)
    if len(shape) < 2:
        return _power_sum(first, last, slope)[()]
    out = np.empty(shape)
    step = max(1, _ELEMENTS_AT_ONCE * shape[0] // max(1, out.size))
    for start in range(0, shape[0], step):
        rows = slice(start, start + step)
        out[rows] = _power_sum(*(a[rows] if a.shape[:1] == shape[:1] and a.ndim == out.ndim else a
                                 for a in (first, last, slope)))  # fmt: skip
    return out


def lot_midpoint(first: ArrayLike, last: ArrayLike, slope: ArrayLike) -> Floats:
    """Piece number whose unit time is the average of the lot (unit theory).

    Q = (mean of k**slope over the lot) ** (1/slope), exact to 1e-10 of Q; with no learning (slope 0)
    the geometric mean of the piece numbers, which is the limit. Shapes as in `lot_coefficient`.

    Examples
    --------
    Pieces 1 to 5 of an 85 % curve take as long on average as piece two and a half.

    >>> round(float(lot_midpoint(1, 5, slope_of_rate(0.85))), 8)
    2.50601857
    """
    first, last, slope = _lots(first, last, slope)
    quantity = last - first + 1
    flat = np.abs(slope) < _NEAR_ZERO_SLOPE
    steep = np.where(flat, _NEAR_ZERO_SLOPE, slope)
    log_midpoint = np.log(lot_coefficient(first, last, steep) / quantity) / steep
    if flat.any():
        log_midpoint = np.where(flat, _flat_log_midpoint(first, last, slope), log_midpoint)
    return np.where(quantity == 1, first, np.exp(log_midpoint))[()]


def pieces_remembered(pieces_before: ArrayLike, break_days: ArrayLike, *, half_days: float) -> Floats:
    """How many of the pieces made before a break still count as practice after it.

    pieces_before / (1 + break_days / half_days): a power form, as found for breaks of 1 to 82 days
    (Globerson, Levin & Shtub 1989); the form with one parameter is this program's own. Without a break
    nothing is forgotten, a longer one loses more, nobody falls behind a beginner, and the more practised
    lose the smaller share of the hours they had saved.

    Parameters
    ----------
    pieces_before : pieces made before the break, 0 or more
    break_days : days without this kind of work, 0 or more
    half_days : days after which half of the practice is lost

    Raises
    ------
    ValueError : for negative pieces or days, or half_days of 0 or less

    Examples
    --------
    >>> float(pieces_remembered(40, 30, half_days=30))
    20.0
    """
    pieces_before, break_days = np.asarray(pieces_before, float), np.asarray(break_days, float)
    if not (np.all(pieces_before >= 0) and np.all(break_days >= 0) and half_days > 0):
        raise ValueError("Pieces and break days must be 0 or more, half_days above 0.")
    return (pieces_before / (1 + break_days / half_days))[()]


def _lots(first: ArrayLike, last: ArrayLike, slope: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    first, last, slope = (np.asarray(a, dtype=float) for a in (first, last, slope))
    if not np.all(first >= 1):
        raise ValueError(f"A piece number must be 1 or more. Got {first.min()!r}.")
    if not np.all(last > first - 1):
        raise ValueError(f"A lot must hold more than 0 pieces. Got {(last - first + 1).min()!r} pieces.")
    if not np.all(np.isfinite(slope)):
        raise ValueError("A slope must be a finite number.")
    return first, last, slope


def _power_sum(first: NDArray, last: NDArray, slope: NDArray) -> NDArray:
    # With N = 9 and whole numbers for ease:
    #   sum(first..last) = terms(first..N-1) - terms(last+1..N-1) + series(max(first, N)..max(last, N-1))
    added = np.maximum(0, np.ceil(_SERIES_FROM - first))
    removed = np.maximum(0, np.ceil(_SERIES_FROM - 1 - last))
    low, high = first + added - 0.5, last + removed + 0.5
    width = last - first + 1 + removed - added
    total = _series(low, high, np.log1p(width / low), slope)
    total += _terms(first, added, slope)
    total -= _terms(last + 1, removed, slope)
    return total


def _terms(start: NDArray, count: NDArray, slope: NDArray) -> NDArray | float:
    total: NDArray | float = 0.0
    for step in range(int(count.max(initial=0))):
        total = total + (count > step) * np.exp(slope * np.log(start + step))
    return total


def _series(low: NDArray, high: NDArray, log_ratio: NDArray, slope: NDArray) -> NDArray:
    """Sum of k**slope between the half-integers `low` and `high`, both 8.5 or more."""
    from scipy.special import exprel

    power_low = np.exp((slope - 1) * np.log(low))
    power_high = np.exp((slope - 1) * np.log(high))
    integral = power_low * low**2 * log_ratio * exprel((1 + slope) * log_ratio)
    factors = [(slope - j) * (slope - j - 1) for j in range(1, 2 * len(_MIDPOINT_WEIGHTS) - 2, 2)]
    change = power_high * _tail(high, factors) - power_low * _tail(low, factors)
    return integral + slope * change


def _tail(limit: NDArray, factors: list[NDArray]) -> Floats:
    inverse_square = limit**-2.0
    *weights, tail = _MIDPOINT_WEIGHTS
    for weight, factor in zip(reversed(weights), reversed(factors), strict=True):
        tail = weight + factor * (inverse_square * tail)
    return tail


def _flat_log_midpoint(first: NDArray, last: NDArray, slope: NDArray) -> NDArray:
    # log Q is smooth in the slope: a parabola through -h, 0 and h, where the ratio of logs loses digits.
    from scipy.special import gammaln

    quantity, h = last - first + 1, _NEAR_ZERO_SLOPE
    middle = (gammaln(last + 1) - gammaln(first)) / quantity
    above = np.log(lot_coefficient(first, last, h) / quantity) / h
    below = np.log(lot_coefficient(first, last, -h) / quantity) / -h
    x = slope / h
    return middle + x * (above - below) / 2 + x**2 * ((above + below) / 2 - middle)
