"""Normal regression in which some responses are only known to lie above or below a bound.

An unfinished task has taken so many hours already and will take more: its row is open to the right.
With every row closed and nothing believed beforehand the fit is ordinary least squares.

    closed row       density((y - x b) / scale) / scale
    right-open row   probability that it lies above y
    left-open row    probability that it lies below y
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from forecast.errors import UsageError
from forecast.learn.effort.penalty import Penalty

_SAME = 1e-9
_LONGEST_LOG_SCALE_STEP = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalFit:
    """A fitted normal regression.

    Attributes
    ----------
    coefficients, standard_errors : (p,)
    scale : residual standard deviation; by least squares over n - p, by maximum likelihood over n
    log_scale_error : standard error of log(scale)
    log_likelihood : of the data alone, without the penalty
    results : the statsmodels results behind it
    """

    coefficients: np.ndarray
    standard_errors: np.ndarray
    scale: float
    log_scale_error: float
    log_likelihood: float
    results: Any


def fit_normal(
    design: np.ndarray,
    y: np.ndarray,
    *,
    open_: np.ndarray | None = None,
    left_open: np.ndarray | None = None,
    penalty: Penalty | None = None,
) -> NormalFit:
    """Coefficients of y on the columns of `design`, some of y being bounds only.

    Parameters
    ----------
    design : (n, p) columns, a constant included where one is wanted
    y : (n,) responses, or bounds for the open rows
    open_ : (n,) bool, rows whose response is more than y
    left_open : (n,) bool, rows whose response is less than y
    penalty : belief that pulls the coefficients; None for plain maximum likelihood

    Raises
    ------
    UsageError : for shapes that do not fit, or rows that are open on both sides

    Examples
    --------
    >>> design = np.column_stack([np.ones(4), [1.0, 2.0, 3.0, 4.0]])
    >>> fit_normal(design, np.array([1.0, 2.0, 2.5, 4.5])).coefficients.round(6).tolist()
    [-0.25, 1.1]

    The last response may have been more, so the line is steeper:

    >>> more = np.array([False, False, False, True])
    >>> bool(fit_normal(design, np.array([1.0, 2.0, 2.5, 4.5]), open_=more).coefficients[1] > 1.1)
    True
    """
    design, y = np.asarray(design, dtype=float), np.asarray(y, dtype=float)
    right = np.zeros(len(y), dtype=bool) if open_ is None else np.asarray(open_, dtype=bool)
    left = np.zeros(len(y), dtype=bool) if left_open is None else np.asarray(left_open, dtype=bool)
    _check(design, y, right, left)
    if penalty is None and not (right | left).any():
        return _least_squares(design, y)
    return _maximum(design, y, right, left, penalty)


def _check(design: np.ndarray, y: np.ndarray, right: np.ndarray, left: np.ndarray) -> None:
    if design.ndim != 2 or not len(y) == len(design) == len(right) == len(left):
        raise UsageError(
            f"A regression needs one row of columns for each response. Got {design.shape} and {y.shape}."
        )
    if (right & left).any():
        raise UsageError("A response cannot be known to be both more and less than a bound.")


def _least_squares(design: np.ndarray, y: np.ndarray) -> NormalFit:
    from statsmodels.regression.linear_model import OLS

    results = OLS(y, design).fit()
    spare = max(results.df_resid, 1.0)
    return NormalFit(
        coefficients=results.params,
        standard_errors=results.bse,
        scale=float(np.sqrt(results.scale)),
        log_scale_error=float(np.sqrt(0.5 / spare)),
        log_likelihood=float(results.llf),
        results=results,
    )


def _maximum(
    design: np.ndarray, y: np.ndarray, right: np.ndarray, left: np.ndarray, penalty: Penalty | None
) -> NormalFit:
    """Newton's method from the (penalised) least-squares fit, with steps that never go downhill."""
    from statsmodels.base.model import LikelihoodModelResults

    from forecast.learn.effort.likelihood import CensoredNormal

    model = CensoredNormal(y, design, right=right, left=left, penalty=penalty)
    params = model.first_params()
    value = model.penalised(params)
    for _ in range(100):
        gradient, hessian = model.score(params), model.hessian(params)
        step = np.linalg.solve(_negative_definite(hessian), -gradient)
        step *= min(1.0, _LONGEST_LOG_SCALE_STEP / max(abs(step[-1]), 1e-300))
        while model.penalised(params + step) < value - _SAME and np.abs(step).max() > _SAME:
            step = step / 2
        params = params + step
        better = model.penalised(params)
        if abs(better - value) < 1e-12 * (1 + abs(value)) and np.abs(step).max() < 1e-8:
            break
        value = better
    covariance = np.linalg.inv(-_negative_definite(model.hessian(params)))
    errors = np.sqrt(np.diag(covariance))
    return NormalFit(
        coefficients=params[:-1],
        standard_errors=errors[:-1],
        scale=float(np.exp(params[-1])),
        log_scale_error=float(errors[-1]),
        log_likelihood=float(model.loglike(params)),
        results=LikelihoodModelResults(model, params, normalized_cov_params=covariance),
    )


def _negative_definite(hessian: np.ndarray) -> np.ndarray:
    """The Hessian, pushed down where it does not curve downwards (far from the maximum)."""
    values, vectors = np.linalg.eigh(hessian)
    values = np.minimum(values, -1e-10 * max(1.0, np.abs(values).max()))
    return (vectors * values) @ vectors.T
