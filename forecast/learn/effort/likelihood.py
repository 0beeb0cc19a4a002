"""The likelihood behind `fit_normal`; apart, because importing statsmodels takes half a second."""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr
from statsmodels.base.model import GenericLikelihoodModel

from forecast.learn.effort.penalty import Penalty

_LOG_2_PI = float(np.log(2 * np.pi))


class CensoredNormal(GenericLikelihoodModel):
    """Normal regression with open rows; the last parameter is the log of the scale."""

    def __init__(
        self,
        endog: np.ndarray,
        exog: np.ndarray,
        *,
        right: np.ndarray,
        left: np.ndarray,
        penalty: Penalty | None,
    ) -> None:
        super().__init__(endog, exog, extra_params_names=["log_scale"])
        self.right, self.left, self.penalty = right, left, penalty

    def first_params(self) -> np.ndarray:
        """The penalised least-squares fit of the rows as they stand."""
        cross, pull = self.exog.T @ self.exog, self.exog.T @ self.endog
        if self.penalty is not None:
            variance = np.exp(2 * self.penalty.log_scale_centre)
            cross = cross + variance * self.penalty.precision
            pull = pull + variance * self.penalty.precision @ self.penalty.centre
        coefficients = np.linalg.lstsq(cross, pull, rcond=None)[0]
        spread = float(np.std(self.endog - self.exog @ coefficients))
        least = np.exp(self.penalty.log_scale_centre - 1.0) if self.penalty is not None else 1e-6
        return np.append(coefficients, np.log(max(spread, least)))

    def _z(self, params: np.ndarray) -> np.ndarray:
        return np.asarray((self.endog - self.exog @ params[:-1]) * np.exp(-params[-1]))

    def loglikeobs(self, params: np.ndarray) -> np.ndarray:
        """(n,) log likelihood of each row."""
        z = self._z(params)
        closed = -0.5 * z**2 - 0.5 * _LOG_2_PI - params[-1]
        out = np.where(self.right, log_ndtr(-z), closed)
        return np.where(self.left, log_ndtr(z), out)

    def loglike(self, params: np.ndarray) -> float:
        """Log likelihood of all rows, without the penalty."""
        return float(self.loglikeobs(params).sum())

    def penalised(self, params: np.ndarray) -> float:
        """Log likelihood and belief together."""
        if self.penalty is None:
            return self.loglike(params)
        off = params[:-1] - self.penalty.centre
        far = (params[-1] - self.penalty.log_scale_centre) / self.penalty.log_scale_sd
        return self.loglike(params) - 0.5 * float(off @ self.penalty.precision @ off) - 0.5 * far**2

    def _slopes(self, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """First and second derivative of each row's log likelihood by z."""
        first, second = -z, np.full(len(z), -1.0)
        for rows, sign in ((self.right, -1.0), (self.left, 1.0)):
            at = sign * z[rows]
            mills = np.exp(-0.5 * at**2 - 0.5 * _LOG_2_PI - log_ndtr(at))
            first[rows] = sign * mills
            second[rows] = -mills * (at + mills)
        return first, second

    def score(self, params: np.ndarray) -> np.ndarray:
        """(p + 1,) gradient of `penalised`."""
        z = self._z(params)
        first, _ = self._slopes(z)
        closed = ~(self.right | self.left)
        out = np.append(-self.exog.T @ first * np.exp(-params[-1]), -(first @ z) - closed.sum())
        if self.penalty is not None:
            p = self.penalty
            out[:-1] -= p.precision @ (params[:-1] - p.centre)
            out[-1] -= (params[-1] - p.log_scale_centre) / p.log_scale_sd**2
        return out

    def hessian(self, params: np.ndarray) -> np.ndarray:
        """(p + 1, p + 1) second derivatives of `penalised`."""
        z = self._z(params)
        first, second = self._slopes(z)
        inverse = np.exp(-params[-1])
        count = len(params)
        out = np.empty((count, count))
        out[:-1, :-1] = (self.exog * (second * inverse**2)[:, None]).T @ self.exog
        out[:-1, -1] = out[-1, :-1] = inverse * self.exog.T @ (second * z + first)
        out[-1, -1] = second @ z**2 + first @ z
        if self.penalty is not None:
            out[:-1, :-1] -= self.penalty.precision
            out[-1, -1] -= self.penalty.log_scale_sd**-2
        return out
