"""The level: how many hours a worked week has, drifting slowly around a long mean.

    log hours of week t = mean + season[t] + x[t] + noise
    x[t] = persistence x[t-1] + step_sd e[t],    e[t] ~ N(0, 1)

The noise is that of gamma-distributed hours: variance trigamma(shape), mean digamma(shape) -
log(shape). A silent week is a missing observation, during which the level keeps drifting. The posterior
of (persistence, step_sd, shape) is taken on a grid; on each of its points one scalar Kalman filter runs,
all of them at once. The coefficients (long mean, season) are integrated out exactly: their columns go
through the same filter, so that the innovations are linear in them (the augmented filter of
de Jong, Annals of Statistics 19, 1991).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import digamma, logsumexp, polygamma

import forecast.learn.bench_time.priors as priors


@dataclass(frozen=True, kw_only=True)
class Level:
    """Posterior of the level at the end of the log, on a grid of parameters.

    The grid is that of persistence, step_sd and shape, once for each width of the prior of the long mean.

    Attributes
    ----------
    weight : (grid,) posterior weight of each grid point
    persistence, step_sd, shape : (grid,) the three parameters
    mean, root : (grid, coefficient) and (grid, coefficient, coefficient): given the grid point, the
        coefficients are N(mean, root root')
    offset, slope, state_sd : given the grid point and the coefficients c, the level at the end of the last
        week is N(offset - slope c, state_sd)
    expected : (week,) the level expected for each week from the weeks before it
    observed : number of worked weeks
    evidence : log marginal likelihood of the hours
    """

    weight: np.ndarray
    persistence: np.ndarray
    step_sd: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    root: np.ndarray
    offset: np.ndarray
    slope: np.ndarray
    state_sd: np.ndarray
    expected: np.ndarray
    observed: int
    evidence: float

    def sample(self, draws: int, rng: np.random.Generator) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """(draw,) parameters by name, hours_season (draw, 2) or (draw, 0); (draw,) level at the end."""
        point = np.searchsorted(np.cumsum(self.weight), rng.random(draws) * self.weight.sum(), side="right")
        point = np.minimum(point, len(self.weight) - 1)
        z = rng.standard_normal((draws, self.mean.shape[1]))
        c = self.mean[point] + np.einsum("dij,dj->di", self.root[point], z)
        expected = self.offset[point] - (self.slope[point] * c).sum(axis=1)
        parameters = {
            "persistence": self.persistence[point],
            "step_sd": self.step_sd[point],
            "shape": self.shape[point],
            "mean": c[:, 0],
            "hours_season": c[:, 1:],
        }
        return parameters, expected + self.state_sd[point] * rng.standard_normal(draws)


def fit_level(
    log_hours: np.ndarray,
    noise_scale: np.ndarray,
    mean_prior: tuple[float, float],
    season: np.ndarray,
    prior: priors.BenchPriors = priors.BUILT_IN,
) -> Level:
    """Fit the level.

    Parameters
    ----------
    log_hours : (week,) log of the clock hours of each week, NaN where it was silent
    noise_scale : (week,) factor on the noise variance, above 1 for a week cut short
    mean_prior : mean and standard deviation of the long mean of log hours
    season : (week, 2) annual terms, or (week, 0)
    prior : its `widths` give the prior of the long mean its tail
    """
    persistence, step_sd, shape, grid_prior = _parameter_grid()
    columns = np.column_stack([np.ones(len(log_hours)), season])
    y = log_hours[:, None] - (digamma(shape) - np.log(shape))
    passed = filter_level(y, columns, noise_scale, persistence, step_sd, polygamma(1, shape))
    prior_mean = np.zeros(columns.shape[1])
    prior_mean[0] = mean_prior[0]
    prior_sd = np.full(columns.shape[1], priors.SEASON_HOURS_SD)
    prior_sd[0] = mean_prior[1]
    fits = []
    for width in prior.widths:
        prior_sd[0] = width * mean_prior[1]
        fits.append(_integrate_out(passed, prior_mean, prior_sd))
    mean, covariance, log_likelihood = (np.stack(part) for part in zip(*fits, strict=True))
    log_weight = log_likelihood + np.log(grid_prior / len(fits))
    evidence = float(logsumexp(log_weight))
    weight = np.exp(log_weight - evidence)
    weighted_mean = np.einsum("wg,wgc->gc", weight, mean)
    expected = passed.path[:, :, 0] @ weight.sum(axis=0)
    expected -= np.einsum("tgc,gc->t", passed.path[:, :, 1:], weighted_mean)

    def per_width(values: np.ndarray) -> np.ndarray:
        return np.concatenate([values] * len(fits))

    return Level(
        weight=weight.ravel(),
        persistence=per_width(persistence),
        step_sd=per_width(step_sd),
        shape=per_width(shape),
        mean=mean.reshape(-1, mean.shape[-1]),
        root=np.linalg.cholesky(covariance.reshape(-1, *covariance.shape[2:])),
        offset=per_width(passed.state[:, 0]),
        slope=per_width(passed.state[:, 1:]),
        state_sd=per_width(np.sqrt(passed.variance)),
        expected=expected,
        observed=int(np.isfinite(log_hours).sum()),
        evidence=evidence,
    )


def _parameter_grid() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(grid,) persistence, step_sd, shape and prior weight."""
    weeks, sd, shape = np.meshgrid(priors.LEVEL_WEEKS, priors.LEVEL_SD, priors.WEEK_SHAPE, indexing="ij")
    prior = priors.LEVEL_WEEKS_PRIOR[:, None, None] * priors.LEVEL_SD_PRIOR[:, None] * priors.WEEK_SHAPE_PRIOR
    persistence = np.exp(-1 / weeks)
    step_sd = sd * np.sqrt(1 - persistence**2)
    return persistence.ravel(), step_sd.ravel(), shape.ravel(), prior.ravel()


@dataclass(frozen=True, kw_only=True)
class FilterPass:
    """Result of the filter on the grid; column 0 is the hours, the others are the coefficients' columns.

    Attributes
    ----------
    state : (grid, column) the filtered level at the end of the last week, linear in the columns
    variance : (grid,) of that level
    path : (week, grid, column) the level expected for each week
    log_variance : (grid,) sum of the logs of 2 pi times the innovations' variances
    products : (grid, column, column) sum of the products of innovations over their variance
    """

    state: np.ndarray
    variance: np.ndarray
    path: np.ndarray
    log_variance: np.ndarray
    products: np.ndarray


def filter_level(
    y: np.ndarray,
    columns: np.ndarray,
    noise_scale: np.ndarray,
    persistence: np.ndarray,
    step_sd: np.ndarray,
    noise: np.ndarray,
) -> FilterPass:
    """One scalar Kalman filter per grid point, starting from the stationary distribution.

    Parameters
    ----------
    y : (week, grid) observations, NaN where there is none
    columns : (week, coefficient) columns of the coefficients
    noise_scale : (week,) factor on the noise variance
    persistence, step_sd : (grid,) parameters of the level
    noise : (grid,) noise variance
    """
    weeks, points = y.shape
    lines = np.concatenate(
        [y[:, :, None], np.broadcast_to(columns[:, None, :], (weeks, points, columns.shape[1]))], axis=2
    )
    state = np.zeros((points, lines.shape[2]))
    variance = step_sd**2 / (1 - persistence**2)
    path = np.zeros((weeks, points, lines.shape[2]))
    log_variance = np.zeros(points)
    products = np.zeros((points, lines.shape[2], lines.shape[2]))
    seen = np.isfinite(y[:, 0])
    for t in range(weeks):
        if t:
            state = persistence[:, None] * state
            variance = persistence**2 * variance + step_sd**2
        path[t] = state
        if not seen[t]:
            continue
        spread = variance + noise * noise_scale[t]
        gain = variance / spread
        innovation = lines[t] - state
        state = state + gain[:, None] * innovation
        variance = variance * (1 - gain)
        log_variance = log_variance + np.log(2 * np.pi * spread)
        scaled = innovation / np.sqrt(spread)[:, None]
        products = products + scaled[:, :, None] * scaled[:, None, :]
    return FilterPass(state=state, variance=variance, path=path, log_variance=log_variance, products=products)


def _integrate_out(
    passed: FilterPass, prior_mean: np.ndarray, prior_sd: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and covariance of the coefficients at each grid point, and the log likelihood of the hours."""
    prior_precision = 1 / prior_sd**2
    precision = passed.products[:, 1:, 1:] + np.diag(prior_precision)
    pull = passed.products[:, 1:, 0] + prior_precision * prior_mean
    covariance = np.linalg.inv(precision)
    mean = np.einsum("gij,gj->gi", covariance, pull)
    square = passed.products[:, 0, 0] + float((prior_precision * prior_mean**2).sum())
    square = square - (mean * pull).sum(axis=1)
    log_likelihood = -0.5 * (
        passed.log_variance + square + np.linalg.slogdet(precision)[1] + 2 * np.log(prior_sd).sum()
    )
    return mean, covariance, log_likelihood
