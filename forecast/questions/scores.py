"""Proper scores: how good a forecast was, once its outcome is known.

Every function takes arrays and scores many forecasts at once. A score is in the unit of the forecast (days,
person-hours); smaller is better, and none can be improved by a forecast other than one's belief (Gneiting &
Raftery 2007, JASA 102:359-378).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Estimator = Literal["standard", "fair"]
Floats = Any  # a float for scalars in, an array for arrays in


def crps(draws: ArrayLike, observed: ArrayLike, *, estimator: Estimator = "standard") -> Floats:
    """Continuous ranked probability score of a forecast given as draws.

    mean|x - y| - mean|x - x'| / 2, with the pairs' mean from one sort: O(m log m) per forecast.
    "standard" divides the pairs by m**2 and scores these draws; "fair" divides by m * (m - 1)
    and scores the distribution that they come from, without bias for small m (Ferro 2014, QJRMS
    140:1917-1923).

    Parameters
    ----------
    draws : shape (..., m), finite
    observed : shape (...), finite
    estimator : "standard" or "fair"

    Raises
    ------
    ValueError : for draws or observations that are not finite (see `crps_censored`), or a single draw
        under "fair"

    Examples
    --------
    >>> float(crps([1, 2, 3, 4, 5], 2.5))
    0.5
    >>> round(float(crps([1, 2, 3, 4, 5], 2.5, estimator="fair")), 12)
    0.3
    """
    x, y = _forecast(draws, observed)
    if estimator not in get_args(Estimator):
        raise ValueError(f"The estimator must be one of {get_args(Estimator)}. Got {estimator!r}.")
    m = x.shape[-1]
    if estimator == "fair" and m < 2:
        raise ValueError("The fair estimator needs two draws or more. Got 1.")
    x = np.sort(x, axis=-1)
    # Centred on the observation: differences of large day numbers would lose digits otherwise.
    x = x - y[..., None]
    pairs = x @ (2.0 * np.arange(1, m + 1) - m - 1)
    divisor = m * m if estimator == "standard" else m * (m - 1)
    return (np.abs(x).mean(axis=-1) - pairs / divisor)[()]


def crps_censored(
    draws: ArrayLike, observed: ArrayLike, known_until: ArrayLike, *, estimator: Estimator = "standard"
) -> Floats:
    """CRPS by what is known so far: an open target is scored as "not yet", never dropped.

    The CRPS integral stops at `known_until`, which is the CRPS of min(x, known_until) against
    min(y, known_until): threshold-weighted and so still proper (Gneiting & Ranjan 2011, JBES
    29:411-422; Allen, Ginsbourger & Ziegel 2023, SIAM/ASA JUQ 11:906-940), as long as `known_until`
    does not depend on the forecast. No forecast is penalised for what nobody knows yet.

    Parameters
    ----------
    draws : shape (..., m); inf = past the horizon
    observed : shape (...); inf (not NaN) where the target is still open at `known_until`
    known_until : shape (...), the day up to which everything is known, finite
    estimator : "standard" or "fair"

    Raises
    ------
    ValueError : for a `known_until` that is not finite

    Examples
    --------
    Still open after 10 days, and half the draws were at 8: one half squared, for two days.

    >>> float(crps_censored([8, 20], float("inf"), 10))
    0.5
    """
    x, y, until = (np.asarray(a, dtype=float) for a in (draws, observed, known_until))
    if not np.all(np.isfinite(until)):
        raise ValueError("The time up to which things are known must be finite.")
    clipped = np.minimum(x, until[..., None])
    return crps(clipped, np.minimum(y, until), estimator=estimator)


def pinball_loss(quantile: ArrayLike, observed: ArrayLike, *, level: ArrayLike) -> Floats:
    """Loss of a forecast quantile: `level` per unit below the outcome, 1 - `level` per unit above it.

    Parameters
    ----------
    quantile, observed : shape (...)
    level : of the quantile, between 0 and 1

    Raises
    ------
    ValueError : for a level outside (0, 1)

    Examples
    --------
    >>> float(pinball_loss(10, 12, level=0.75))
    1.5
    """
    q, y, level = (np.asarray(a, dtype=float) for a in (quantile, observed, level))
    _check_levels(level)
    return ((y - q) * (level - (y < q)))[()]


def interval_score(lower: ArrayLike, upper: ArrayLike, observed: ArrayLike, *, level: ArrayLike) -> Floats:
    """Score of a central interval that should contain the outcome with probability `level`.

    Width, plus 2 / (1 - level) for every unit by which the outcome lies outside: the sum of the pinball
    losses of both ends, times 2 / (1 - level).

    Parameters
    ----------
    lower, upper, observed : shape (...)
    level : between 0 and 1

    Raises
    ------
    ValueError : for a level outside (0, 1) or a lower end above the upper one

    Examples
    --------
    >>> round(float(interval_score(10, 20, 22, level=0.9)), 9)
    50.0
    """
    low, high, y, level = (np.asarray(a, dtype=float) for a in (lower, upper, observed, level))
    _check_levels(level)
    if not np.all(low <= high):
        raise ValueError("An interval must not end before it starts.")
    missed = np.maximum(low - y, 0) + np.maximum(y - high, 0)
    return (high - low + 2 / (1 - level) * missed)[()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often intervals contained the outcome, with a confidence band.

    Attributes
    ----------
    level : the share that should contain it
    inside, trials : how many did, of how many
    low, high : Clopper-Pearson band for the true share; it assumes independent forecasts, and
        successive forecasts of one build are not
    """

    level: float
    inside: int
    trials: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """The share that contained it; NaN without trials."""
        return self.inside / self.trials if self.trials else float("nan")


def coverage(
    lower: ArrayLike, upper: ArrayLike, observed: ArrayLike, *, level: float, confidence: float = 0.95
) -> Coverage:
    """Count how many outcomes lie inside their intervals, ends included.

    Parameters
    ----------
    lower, upper, observed : shape (forecast,)
    level : the share that should lie inside
    confidence : of the band for the true share

    Raises
    ------
    ValueError : for NaN

    Examples
    --------
    >>> coverage([0, 0, 0], [2, 2, 2], [1, 2, 3], level=0.8).inside
    2
    """
    low, high, y = np.broadcast_arrays(lower, upper, observed)
    if np.isnan(np.stack([low, high, y]).astype(float)).any():
        raise ValueError("Coverage needs a known outcome for every interval. Got NaN.")
    inside = int(((low <= y) & (y <= high)).sum())
    band = clopper_pearson(inside, y.size, confidence=confidence)
    return Coverage(level=level, inside=inside, trials=y.size, low=float(band[0]), high=float(band[1]))


def clopper_pearson(
    successes: ArrayLike, trials: ArrayLike, *, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact band for a share: lower end P(X >= successes) = a/2, upper end P(X <= successes) = a/2.

    Clopper & Pearson 1934, Biometrika 26:404-413. Without trials the band is 0 to 1.

    Parameters
    ----------
    successes, trials : shape (...), 0 <= successes <= trials
    confidence : 1 - a

    Raises
    ------
    ValueError : for more successes than trials

    Examples
    --------
    >>> low, high = clopper_pearson(8, 10)
    >>> round(float(low), 4), round(float(high), 4)
    (0.4439, 0.9748)
    """
    from scipy.special import betaincinv

    k, n = np.broadcast_arrays(np.asarray(successes, dtype=float), np.asarray(trials, dtype=float))
    if not (np.all(k >= 0) and np.all(k <= n)):
        raise ValueError("Successes must lie between 0 and the number of trials.")
    _check_levels(np.asarray(confidence))
    tail = (1 - confidence) / 2
    # Where an end is certain the beta distribution is not defined; np.where replaces the value.
    low = np.where(k == 0, 0.0, betaincinv(np.maximum(k, 1), n - k + 1, tail))
    high = np.where(k == n, 1.0, betaincinv(k + 1, np.maximum(n - k, 1), 1 - tail))
    return low[()], high[()]


def randomised_pit(
    draws: ArrayLike, observed: ArrayLike, rng: np.random.Generator, *, open_: ArrayLike = False
) -> Floats:
    """Where the outcome falls among the draws, 0 to 1: uniform for a calibrated forecast.

    For the calibration studies in benchmarks.

    The rank among the m draws, ties broken at random, spread evenly over its (m + 1)-th part of the
    interval. For an open target `observed` is the time up to which it is known to be open, and the outcome
    falls anywhere beyond, with the probabilities of the draws there (a randomised probability integral
    transform: Czado, Gneiting & Held 2009, Biometrics 65:1254-1261).

    Parameters
    ----------
    draws : shape (..., m)
    observed : shape (...)
    rng : random generator
    open_ : shape (...), True where the target is still open at `observed`

    Examples
    --------
    >>> u = randomised_pit([1, 2, 3], 2.5, np.random.default_rng(0))
    >>> bool(0.5 <= u <= 0.75)
    True
    """
    x, y = np.asarray(draws, dtype=float), np.asarray(observed, dtype=float)
    open_ = np.asarray(open_, dtype=bool)
    if np.isnan(x).any() or np.isnan(y).any():
        raise ValueError("Draws and outcomes must be numbers. Got NaN.")
    parts = x.shape[-1] + 1
    below = (x < y[..., None]).sum(axis=-1)
    upto = (x <= y[..., None]).sum(axis=-1) + 1
    start = np.where(open_, upto - 1, below)
    end = np.where(open_, parts, upto)
    return ((start + rng.random(np.shape(start)) * (end - start)) / parts)[()]


def _forecast(draws: ArrayLike, observed: ArrayLike) -> tuple[NDArray, NDArray]:
    x, y = np.asarray(draws, dtype=float), np.asarray(observed, dtype=float)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise ValueError("A forecast needs at least one draw.")
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise ValueError(
            "The CRPS needs finite draws and outcomes; score what is still open with crps_censored."
        )
    return x, y


def _check_levels(level: NDArray) -> None:
    if not np.all((level > 0) & (level < 1)):
        raise ValueError(f"A level must lie between 0 and 1. Got {level!r}.")
