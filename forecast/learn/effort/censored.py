"""Penalised normal regression in which some responses are only known to lie above a bound.

A task under way has taken so many hours already and will take more: its row is right-censored. The
forecast needs the coefficients and the scale alone; standard errors and the log likelihood are there for
the published fits that check this file (tests/published/test_certified_fits.py).

    observed row    density((y - x b) / scale) / scale
    censored row    probability that it lies above y
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from forecast.errors import UsageError

_LOG_2_PI = float(np.log(2 * np.pi))
# A step may lose this much log likelihood: rounding alone does near the maximum, where halving never ends.
_ROUNDING = 1e-9
# Far from the maximum the log likelihood is no parabola in log(scale): no step changes the scale by more
# than a factor of e.
_LONGEST_LOG_SCALE_STEP = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Penalty:
    """Gaussian prior on the coefficients, and one on the log of the scale.

    Attributes
    ----------
    centre : (p,) prior means of the coefficients
    precision : (p, p) inverse covariance of the prior; zeros for none
    log_scale_centre, log_scale_sd : prior on log(scale); an infinite sd for none
    """

    centre: np.ndarray
    precision: np.ndarray
    log_scale_centre: float = 0.0
    log_scale_sd: float = np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalFit:
    """A fitted normal regression.

    Attributes
    ----------
    coefficients, standard_errors : (p,)
    scale : residual standard deviation by maximum likelihood (over n, not n - p)
    log_scale_error : standard error of log(scale)
    log_likelihood : of the data, without the penalty
    """

    coefficients: np.ndarray
    standard_errors: np.ndarray
    scale: float
    log_scale_error: float
    log_likelihood: float


def fit_normal(design: np.ndarray, y: np.ndarray, censored: np.ndarray, penalty: Penalty) -> NormalFit:
    """Most likely coefficients of y on the columns of `design`.

    Parameters
    ----------
    design : (n, p) columns, a constant included where one is wanted
    y : (n,) responses, or lower bounds for the censored rows
    censored : (n,) bool, rows whose response exceeds y
    penalty : prior that pulls the coefficients

    Raises
    ------
    UsageError : when the shapes do not match

    Examples
    --------
    >>> design, y = np.column_stack([np.ones(4), [1.0, 2.0, 3.0, 4.0]]), np.array([1.0, 2.0, 2.5, 4.5])
    >>> flat = Penalty(centre=np.zeros(2), precision=np.zeros((2, 2)))
    >>> fit_normal(design, y, np.zeros(4, dtype=bool), flat).coefficients.round(6).tolist()
    [-0.25, 1.1]

    If the last response may have been larger, the line is steeper:

    >>> bool(fit_normal(design, y, np.array([False, False, False, True]), flat).coefficients[1] > 1.1)
    True
    """
    if design.ndim != 2 or not len(y) == len(design) == len(censored):
        raise UsageError(
            f"A regression needs one row of columns for each response. Got {design.shape} and {y.shape}."
        )
    model = _CensoredNormal(y=y, design=design, censored=censored, penalty=penalty)
    params = model.maximum()
    covariance = np.linalg.inv(-_negative_definite(model.hessian(params)))
    errors = np.sqrt(np.diag(covariance))
    return NormalFit(
        coefficients=params[:-1],
        standard_errors=errors[:-1],
        scale=float(np.exp(params[-1])),
        log_scale_error=float(errors[-1]),
        log_likelihood=model.log_likelihood(params),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _CensoredNormal:
    """The likelihood and its derivatives; parameters are (p + 1,): coefficients, then log(scale)."""

    y: np.ndarray
    design: np.ndarray
    censored: np.ndarray
    penalty: Penalty

    def maximum(self) -> np.ndarray:
        """Newton's method from the penalised least-squares fit, with steps that never go downhill.

        scipy's trust-exact takes 0.66 to 1.35 times as long on the sample logs, but stops up to 4e-10 away
        and reports failure on three of five. The sampler starts here, so every draw would shift.
        """
        params = self._start()
        value = self._penalised(params)
        for _ in range(100):
            step = np.linalg.solve(_negative_definite(self.hessian(params)), -self._gradient(params))
            step *= min(1.0, _LONGEST_LOG_SCALE_STEP / max(abs(step[-1]), 1e-300))
            while self._penalised(params + step) < value - _ROUNDING and np.abs(step).max() > _ROUNDING:
                step = step / 2
            params = params + step
            better = self._penalised(params)
            if abs(better - value) < 1e-12 * (1 + abs(value)) and np.abs(step).max() < 1e-8:
                break
            value = better
        return params

    def _start(self) -> np.ndarray:
        """Penalised least squares, bounds taken as responses."""
        variance = np.exp(2 * self.penalty.log_scale_centre)
        cross = self.design.T @ self.design + variance * self.penalty.precision
        pull = self.design.T @ self.y + variance * self.penalty.precision @ self.penalty.centre
        coefficients = np.linalg.lstsq(cross, pull, rcond=None)[0]
        spread = float(np.std(self.y - self.design @ coefficients))
        # A few rows that fit perfectly have no spread, whose log would be no start.
        return np.append(coefficients, np.log(max(spread, np.exp(self.penalty.log_scale_centre - 1.0))))

    def _z(self, params: np.ndarray) -> np.ndarray:
        return np.asarray((self.y - self.design @ params[:-1]) * np.exp(-params[-1]))

    def log_likelihood(self, params: np.ndarray) -> float:
        """Log likelihood of all rows, without the penalty."""
        z = self._z(params)
        observed = -0.5 * z**2 - 0.5 * _LOG_2_PI - params[-1]
        return float(np.where(self.censored, log_ndtr(-z), observed).sum())

    def _penalised(self, params: np.ndarray) -> float:
        off = params[:-1] - self.penalty.centre
        far = (params[-1] - self.penalty.log_scale_centre) / self.penalty.log_scale_sd
        return self.log_likelihood(params) - 0.5 * float(off @ self.penalty.precision @ off) - 0.5 * far**2

    def _slopes(self, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """First and second derivative of each row's log likelihood by z."""
        first, second = -z, np.full(len(z), -1.0)
        at = -z[self.censored]
        mills = np.exp(-0.5 * at**2 - 0.5 * _LOG_2_PI - log_ndtr(at))
        first[self.censored] = -mills
        second[self.censored] = -mills * (at + mills)
        return first, second

    def _gradient(self, params: np.ndarray) -> np.ndarray:
        z, p = self._z(params), self.penalty
        first, _ = self._slopes(z)
        out = np.append(-self.design.T @ first * np.exp(-params[-1]), -(first @ z) - (~self.censored).sum())
        out[:-1] -= p.precision @ (params[:-1] - p.centre)
        out[-1] -= (params[-1] - p.log_scale_centre) / p.log_scale_sd**2
        return out

    def hessian(self, params: np.ndarray) -> np.ndarray:
        """(p + 1, p + 1) second derivatives of the penalised log likelihood."""
        z = self._z(params)
        first, second = self._slopes(z)
        inverse = np.exp(-params[-1])
        out = np.empty((len(params), len(params)))
        out[:-1, :-1] = (self.design * (second * inverse**2)[:, None]).T @ self.design
        out[:-1, -1] = out[-1, :-1] = inverse * self.design.T @ (second * z + first)
        out[-1, -1] = second @ z**2 + first @ z
        out[:-1, :-1] -= self.penalty.precision
        out[-1, -1] -= self.penalty.log_scale_sd**-2
        return out


def _negative_definite(hessian: np.ndarray) -> np.ndarray:
    """The Hessian, pushed down where it does not curve downwards (far from the maximum)."""
    values, vectors = np.linalg.eigh(hessian)
    values = np.minimum(values, -1e-10 * max(1.0, np.abs(values).max()))
    return (vectors * values) @ vectors.T
