"""The mathematics of learning by doing: pieces take less time as more of them are made.

Two theories give the word "80 % curve" two meanings, and they are far apart (300 pieces in three
shops: 29 % of the hours), so the theory goes with every rate:

unit                  piece n takes first_hours * n**slope             (Crawford)
cumulative average    the first n pieces take first_hours * n**slope on average (Wright, "Factors
                      affecting the cost of airplanes", J. Aeronautical Sciences 3, 1936)

slope = log2(rate); a rate of 0.8 says that time falls BY 20 % with every doubling of the pieces.

A task of many pieces is a lot. Under the unit theory its average belongs to the lot's midpoint, the
piece number that would have taken just that long, never to the middle of the numbers. Quantities need
not be whole: sum(k**slope) is continued between whole numbers so that lots still add up (the
difference of two Hurwitz zeta functions), and a quantity of half a piece is a lot from 1 to 0.5.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Theory = Literal["unit", "cumulative average"]
Floats = Any  # a float for scalars in, an array for arrays in

_SUMMED_UP_TO = 9  # below this piece number terms are added one by one, above it the series serves
# Bernoulli polynomials at 1/2 over (2j)!: the Euler-Maclaurin weights between half-integers.
_MIDPOINT_WEIGHTS = (
    -1 / 24, 7 / 5760, -31 / 967680, 127 / 154828800, -73 / 3503554560, 1414477 / 2678117105664000,
)  # fmt: skip
_NEAR_ZERO_SLOPE = 2e-4
_ELEMENTS_AT_ONCE = 32_768


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


def unit_hours(first_hours: ArrayLike, piece: ArrayLike, slope: ArrayLike, *, theory: Theory) -> Floats:
    """Hours that piece number `piece` takes.

    Parameters
    ----------
    first_hours : hours of piece 1, any shape
    piece : piece number, 1 or more, broadcast against the others
    slope : exponent, see `slope_of_rate`
    theory : which of the two meanings the slope has

    Examples
    --------
    Textbook values for 80 %: the second piece takes 80 hours of 100, or 60 under Wright's theory.

    >>> print(round(unit_hours(100, 2, slope_of_rate(0.8), theory="unit"), 6))
    80.0
    >>> print(round(unit_hours(100, 2, slope_of_rate(0.8), theory="cumulative average"), 6))
    60.0
    """
    if _checked(theory) == "cumulative average":
        return lot_hours(first_hours, piece, piece, slope, theory=theory)
    piece, _, slope = _lots(piece, piece, slope)
    return (np.asarray(first_hours, dtype=float) * piece**slope)[()]


def total_hours(first_hours: ArrayLike, pieces: ArrayLike, slope: ArrayLike, *, theory: Theory) -> Floats:
    """Hours that the first `pieces` pieces take together.

    Examples
    --------
    >>> print(round(total_hours(100, 16, slope_of_rate(0.8), theory="unit"), 2))
    892.01
    >>> print(round(total_hours(100, 16, slope_of_rate(0.8), theory="cumulative average"), 2))
    655.36
    """
    return lot_hours(first_hours, 1, pieces, slope, theory=theory)


def average_hours(first_hours: ArrayLike, pieces: ArrayLike, slope: ArrayLike, *, theory: Theory) -> Floats:
    """Hours a piece over the first `pieces` pieces.

    Examples
    --------
    >>> print(round(average_hours(100, 4, slope_of_rate(0.8), theory="cumulative average"), 6))
    64.0
    """
    return total_hours(first_hours, pieces, slope, theory=theory) / np.asarray(pieces, dtype=float)


def lot_hours(
    first_hours: ArrayLike, first: ArrayLike, last: ArrayLike, slope: ArrayLike, *, theory: Theory
) -> Floats:
    """Hours that the pieces `first` to `last`, both included, take together.

    Parameters
    ----------
    first_hours : hours of piece 1, any shape
    first, last : piece numbers, first >= 1 and last > first - 1, broadcast against the others
    slope : exponent; above -1 under the cumulative-average theory, where the total would fall else
    theory : which of the two meanings the slope has

    Raises
    ------
    ValueError : for a piece number below 1, an empty lot, an unknown theory

    Examples
    --------
    >>> print(round(lot_hours(100, 6, 15, slope_of_rate(0.85), theory="unit"), 6))
    582.997024
    """
    first_hours = np.asarray(first_hours, dtype=float)
    if _checked(theory) == "unit":
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
    """Sum of k**slope over the pieces `first` to `last`: the lot's hours, in hours of piece 1.

    Terms up to piece 9 are added; beyond, the Euler-Maclaurin series between half-integers
    (Abramowitz & Stegun 23.1.30 with Bernoulli polynomials at 1/2) is exact to 1e-11 of the sum for
    slopes from -3 to 3, so that a lot of a million pieces costs as much as one of ten.

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
    step = max(1, _ELEMENTS_AT_ONCE * shape[0] // max(1, out.size))  # rows that fit the processor's cache
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LearningCurve:
    """A fitted curve: hours of piece 1, rate per doubling, and the theory that gives the rate its meaning.

    Examples
    --------
    >>> print(round(LearningCurve(first_hours=100, rate=0.8, theory="unit").lot_hours(1, 2), 6))
    180.0
    """

    first_hours: float
    rate: float
    theory: Theory

    @property
    def slope(self) -> float:
        """Exponent of the curve."""
        return slope_of_rate(self.rate)

    def lot_hours(self, first: ArrayLike, last: ArrayLike) -> Floats:
        """Hours that the pieces `first` to `last` take together."""
        return lot_hours(self.first_hours, first, last, self.slope, theory=self.theory)


def fit_total(first_hours: float, total: float, pieces: float, *, theory: Theory) -> LearningCurve:
    """The curve that starts at `first_hours` and has used `total` hours after `pieces` pieces.

    Raises
    ------
    ValueError : when no rate between 12.5 % and 800 % gives that total

    Examples
    --------
    >>> round(fit_total(80, 8250, 250, theory="cumulative average").rate, 7)
    0.8947908
    """
    if not (first_hours > 0 and total > 0 and pieces > 1):
        raise ValueError(
            "A fit from a total needs hours above 0 and more than one piece. "
            f"Got first_hours={first_hours!r}, total={total!r}, pieces={pieces!r}."
        )
    if _checked(theory) == "cumulative average":
        slope = np.log(total / first_hours) / np.log(pieces) - 1
    else:
        slope = _unit_slope_of_total(total / first_hours, pieces)
    return LearningCurve(first_hours=float(first_hours), rate=float(rate_of_slope(slope)), theory=theory)


def fit_lots(first: ArrayLike, last: ArrayLike, hours: ArrayLike, *, theory: Theory) -> LearningCurve:
    """Least-squares line through the logs of lot averages; single pieces are lots of one.

    Unit theory: ln(lot average) on ln(midpoint), the midpoint taken anew at each fitted slope until it
    no longer moves. Cumulative-average theory: ln(running average) on ln(pieces so far), for which the
    lots must follow each other from piece 1.

    Parameters
    ----------
    first, last : shape (lots,), piece numbers
    hours : shape (lots,), hours of the whole lot, above 0

    Raises
    ------
    ValueError : for fewer than two different lots, hours of 0 or less, gaps under the
        cumulative-average theory, or a line that does not settle

    Examples
    --------
    >>> curve = fit_lots([1, 6, 16], [5, 15, 35], [403.10859, 582.997024, 943.27666], theory="unit")
    >>> round(curve.rate, 6), round(curve.first_hours, 4)
    (0.85, 100.0)
    """
    first, last, _ = _lots(first, last, 0.0)
    hours = np.asarray(hours, dtype=float)
    if not np.all(hours > 0):
        raise ValueError(f"The hours of a lot must be above 0. Got {hours.min()!r}.")
    if len(np.unique(np.stack([first, last]), axis=1).T) < 2:
        raise ValueError(f"A learning curve needs at least two different lots. Got {len(first)}.")
    if _checked(theory) == "cumulative average":
        intercept, slope = _line(np.log(last), np.log(_running_averages(first, last, hours)))
    else:
        intercept, slope = _settled_unit_line(first, last, np.log(hours / (last - first + 1)))
    return LearningCurve(
        first_hours=float(np.exp(intercept)), rate=float(rate_of_slope(slope)), theory=theory
    )


def pieces_remembered(pieces_before: ArrayLike, break_days: ArrayLike, *, half_days: float) -> Floats:
    """How many of the pieces made before a break still count as practice after it.

    pieces_before / (1 + break_days / half_days): a power form, as breaks of 1 to 82 days showed
    (Globerson, Levin & Shtub 1989); the form with one parameter is this program's own. No break
    forgets nothing, a longer one forgets more, nobody falls behind a beginner, and of the hours once
    saved the more practised loses the smaller share.

    Parameters
    ----------
    pieces_before : pieces made before the break, 0 or more
    break_days : days without this kind of work, 0 or more
    half_days : days after which half of the practice is gone

    Examples
    --------
    >>> float(pieces_remembered(40, 30, half_days=30))
    20.0
    """
    pieces_before, break_days = np.asarray(pieces_before, float), np.asarray(break_days, float)
    if not (np.all(pieces_before >= 0) and np.all(break_days >= 0) and half_days > 0):
        raise ValueError("Pieces and break days must be 0 or more, half_days above 0.")
    return (pieces_before / (1 + break_days / half_days))[()]


def _checked(theory: Theory) -> Theory:
    if theory not in get_args(Theory):
        raise ValueError(f"The theory must be one of {get_args(Theory)}. Got {theory!r}.")
    return theory


def _lots(first: ArrayLike, last: ArrayLike, slope: ArrayLike) -> tuple[NDArray, NDArray, NDArray]:
    first, last, slope = (np.asarray(a, dtype=float) for a in (first, last, slope))
    if not np.all(first >= 1):
        raise ValueError(f"A piece number must be 1 or more. Got {first.min()!r}.")
    if not np.all(last > first - 1):
        raise ValueError(f"A lot must hold more than no piece. Got {(last - first + 1).min()!r} pieces.")
    if not np.all(np.isfinite(slope)):
        raise ValueError("A slope must be a finite number.")
    return first, last, slope


def _power_sum(first: NDArray, last: NDArray, slope: NDArray) -> NDArray:
    # With N = 9 and whole numbers for ease:
    #   sum(first..last) = terms(first..N-1) - terms(last+1..N-1) + series(max(first, N)..max(last, N-1))
    added = np.maximum(0, np.ceil(_SUMMED_UP_TO - first))
    taken = np.maximum(0, np.ceil(_SUMMED_UP_TO - 1 - last))
    low, high = first + added - 0.5, last + taken + 0.5
    width = last - first + 1 + taken - added
    total = _series(low, high, np.log1p(width / low), slope)
    total += _terms(first, added, slope)
    total -= _terms(last + 1, taken, slope)
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


def _unit_slope_of_total(ratio: float, pieces: float) -> float:
    from scipy.optimize import brentq

    def excess(slope: float) -> float:
        return float(lot_coefficient(1, pieces, slope)) - ratio

    if excess(-3.0) > 0 or excess(3.0) < 0:
        raise ValueError(
            f"No rate between 12.5 % and 800 % makes {pieces!r} pieces cost {ratio!r} times the first."
        )
    return float(brentq(excess, -3.0, 3.0, xtol=1e-14))


def _line(x: NDArray, y: NDArray) -> tuple[float, float]:
    x_mean, y_mean = x.mean(), y.mean()
    slope = ((x - x_mean) @ (y - y_mean)) / ((x - x_mean) @ (x - x_mean))
    return float(y_mean - slope * x_mean), float(slope)


def _settled_unit_line(first: NDArray, last: NDArray, log_average: NDArray) -> tuple[float, float]:
    intercept, slope = _line(np.log(lot_midpoint(first, last, 0.0)), log_average)
    for _ in range(100):
        before = slope
        intercept, slope = _line(np.log(lot_midpoint(first, last, before)), log_average)
        if abs(slope - before) < 1e-13:
            return intercept, slope
    raise ValueError(f"The learning curve through these lots does not settle (slope near {slope:.6f}).")


def _running_averages(first: NDArray, last: NDArray, hours: NDArray) -> NDArray:
    follows = np.concatenate([[1.0], last[:-1] + 1])
    if not np.allclose(first, follows, rtol=0, atol=1e-9):
        raise ValueError("Under the cumulative-average theory lots must follow each other from piece 1.")
    return np.cumsum(hours) / last
