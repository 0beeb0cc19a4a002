"""The level: how many hours a worked week has, wandering slowly around a long mean.

    log hours of week t = mean + x[t] + noise,      x[t] = keep x[t-1] + move e[t],  e ~ N(0, 1)

The noise is that of gamma-distributed hours: variance trigamma(shape), mean digamma(shape) -
log(shape). A silent week is a missing observation, over which the level wanders on. The posterior
of (keep, move, shape) is taken on a grid; on each of its points one scalar Kalman filter runs, all
of them at once, and the long mean is integrated out exactly (its column goes through the same
filter, so that the innovations are linear in it).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import digamma, polygamma

from forecast.bench_time import priors


@dataclass(frozen=True, kw_only=True)
class Level:
    """The posterior of the level at the end of the log.

    Attributes
    ----------
    weight : (grid,) posterior weight of each grid point
    keep, move, shape : (grid,) the three parameters
    mean, mean_sd : (grid,) the long mean of log hours, given the grid point
    offset, slope, state_sd : (grid,) the level at the end of the last week, given the grid point and
        the long mean m, is N(offset - slope m, state_sd)
    observed : worked weeks that it rests on
    """

    weight: np.ndarray
    keep: np.ndarray
    move: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    mean_sd: np.ndarray
    offset: np.ndarray
    slope: np.ndarray
    state_sd: np.ndarray
    observed: int

    def sample(self, draws: int, rng: np.random.Generator) -> LevelDraws:
        """Parameters and the level at the end of the log, one of each a draw."""
        point = np.searchsorted(np.cumsum(self.weight), rng.random(draws) * self.weight.sum(), side="right")
        point = np.minimum(point, len(self.weight) - 1)
        z = rng.standard_normal((2, draws))
        mean = self.mean[point] + self.mean_sd[point] * z[0]
        x = self.offset[point] - self.slope[point] * mean + self.state_sd[point] * z[1]
        return LevelDraws(
            keep=self.keep[point], move=self.move[point], shape=self.shape[point], mean=mean, x=x
        )


@dataclass(frozen=True, kw_only=True)
class LevelDraws:
    """(draw,) parameters of the level and where it stands."""

    keep: np.ndarray
    move: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    x: np.ndarray


def fit_level(log_hours: np.ndarray, noise_scale: np.ndarray, mean_prior: tuple[float, float]) -> Level:
    """The level's posterior.

    Parameters
    ----------
    log_hours : (week,) log of the clock hours of each week, NaN where it was silent
    noise_scale : (week,) by how much the noise variance is larger (a week cut short)
    mean_prior : mean and standard deviation of the long mean of log hours
    """
    keep, move, shape, prior = _grid()
    noise = polygamma(1, shape)
    y = log_hours[None, :] - (digamma(shape) - np.log(shape))[:, None]
    fitted = _filter(y, noise_scale, keep, move, noise)
    m0, s0 = mean_prior
    precision = fitted.ones_ones + 1 / s0**2
    mean = (fitted.ones_y + m0 / s0**2) / precision
    log_weight = (
        -0.5 * (fitted.log_variance + fitted.y_y + m0**2 / s0**2 - precision * mean**2)
        - 0.5 * np.log(precision * s0**2)
        + np.log(prior)
    )
    weight = np.exp(log_weight - log_weight.max())
    return Level(
        weight=weight / weight.sum(),
        keep=keep,
        move=move,
        shape=shape,
        mean=mean,
        mean_sd=1 / np.sqrt(precision),
        offset=fitted.state_y,
        slope=fitted.state_ones,
        state_sd=np.sqrt(fitted.state_variance),
        observed=int(np.isfinite(log_hours).sum()),
    )


def _grid() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    weeks, sd, shape = np.meshgrid(priors.LEVEL_WEEKS, priors.LEVEL_SD, priors.WEEK_SHAPE, indexing="ij")
    prior = priors.LEVEL_WEEKS_PRIOR[:, None, None] * priors.LEVEL_SD_PRIOR[:, None] * priors.WEEK_SHAPE_PRIOR
    keep = np.exp(-1 / weeks)
    move = sd * np.sqrt(1 - keep**2)
    return keep.ravel(), move.ravel(), shape.ravel(), prior.ravel()


@dataclass(kw_only=True)
class _Filtered:
    """Sums of a filter pass over the grid: innovations of the hours (y) and of a column of ones."""

    state_y: np.ndarray
    state_ones: np.ndarray
    state_variance: np.ndarray
    log_variance: np.ndarray
    y_y: np.ndarray
    ones_y: np.ndarray
    ones_ones: np.ndarray


def _filter(
    y: np.ndarray, noise_scale: np.ndarray, keep: np.ndarray, move: np.ndarray, noise: np.ndarray
) -> _Filtered:
    """One scalar Kalman filter a grid point, from the stationary level on."""
    zero = np.zeros(len(keep))
    f = _Filtered(
        state_y=zero, state_ones=zero, state_variance=move**2 / (1 - keep**2),
        log_variance=zero, y_y=zero, ones_y=zero, ones_ones=zero,
    )  # fmt: skip
    seen = np.isfinite(y[0])
    for t in range(y.shape[1]):
        if t:
            f.state_y, f.state_ones = keep * f.state_y, keep * f.state_ones
            f.state_variance = keep**2 * f.state_variance + move**2
        if not seen[t]:
            continue
        variance = f.state_variance + noise * noise_scale[t]
        gain = f.state_variance / variance
        off_y, off_ones = y[:, t] - f.state_y, 1.0 - f.state_ones
        f.state_y, f.state_ones = f.state_y + gain * off_y, f.state_ones + gain * off_ones
        f.state_variance = f.state_variance * (1 - gain)
        f.log_variance = f.log_variance + np.log(variance)
        f.y_y = f.y_y + off_y**2 / variance
        f.ones_y = f.ones_y + off_ones * off_y / variance
        f.ones_ones = f.ones_ones + off_ones**2 / variance
    return f
