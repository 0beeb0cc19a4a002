"""The level: how many hours a worked week has, wandering slowly around a long mean.

    log hours of week t = mean + season[t] + x[t] + noise
    x[t] = keep x[t-1] + move e[t],    e[t] ~ N(0, 1)

The noise is that of gamma-distributed hours: variance trigamma(shape), mean digamma(shape) -
log(shape). A silent week is a missing observation, over which the level wanders on. The posterior
of (keep, move, shape) is taken on a grid; on each of its points one scalar Kalman filter runs, all
of them at once. The coefficients (long mean, season) are integrated out exactly: their columns go
through the same filter, so that the innovations are linear in them (the augmented filter of
de Jong, Annals of Statistics 19, 1991).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import digamma, logsumexp, polygamma

from forecast.learn.bench_time import priors


@dataclass(frozen=True, kw_only=True)
class Level:
    """The posterior of the level at the end of the log, on a grid of parameters.

    The grid is that of keep, move and shape, once for each width of the belief on the long mean.

    Attributes
    ----------
    weight : (grid,) posterior weight of each grid point
    keep, move, shape : (grid,) the three parameters
    mean, root : (grid, coefficient) and (grid, coefficient, coefficient) the coefficients given the
        grid point are N(mean, root root')
    offset, slope, state_sd : the level at the end of the last week, given the grid point and the
        coefficients c, is N(offset - slope c, state_sd)
    expected : (week,) the level expected for each week from the weeks before it
    observed : worked weeks that it rests on
    evidence : log of the chance of what was seen, everything unknown averaged over its prior
    """

    weight: np.ndarray
    keep: np.ndarray
    move: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    root: np.ndarray
    offset: np.ndarray
    slope: np.ndarray
    state_sd: np.ndarray
    expected: np.ndarray
    observed: int
    evidence: float

    def sample(self, draws: int, rng: np.random.Generator) -> LevelDraws:
        """Parameters and the level at the end of the log, one of each a draw."""
        point = np.searchsorted(np.cumsum(self.weight), rng.random(draws) * self.weight.sum(), side="right")
        point = np.minimum(point, len(self.weight) - 1)
        z = rng.standard_normal((draws, self.mean.shape[1]))
        c = self.mean[point] + np.einsum("dij,dj->di", self.root[point], z)
        expected = self.offset[point] - (self.slope[point] * c).sum(axis=1)
        return LevelDraws(
            keep=self.keep[point],
            move=self.move[point],
            shape=self.shape[point],
            mean=c[:, 0],
            season=c[:, 1:],
            x=expected + self.state_sd[point] * rng.standard_normal(draws),
        )


@dataclass(frozen=True, kw_only=True)
class LevelDraws:
    """(draw,) parameters of the level and where it stands; season is (draw, 2) or (draw, 0)."""

    keep: np.ndarray
    move: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    season: np.ndarray
    x: np.ndarray


def fit_level(
    log_hours: np.ndarray,
    noise_scale: np.ndarray,
    mean_prior: tuple[float, float],
    waves: np.ndarray,
    belief: priors.BenchPriors | None = None,
) -> Level:
    """The level's posterior.

    Parameters
    ----------
    log_hours : (week,) log of the clock hours of each week, NaN where it was silent
    noise_scale : (week,) by how much the noise variance is larger (a week cut short)
    mean_prior : mean and standard deviation of the long mean of log hours
    waves : (week, 2) the waves of the year, or (week, 0)
    belief : says how heavy the tail of the belief on the long mean is; the built-in one if None
    """
    belief = belief or priors.BenchPriors()
    keep, move, shape, prior = parameter_grid()
    columns = np.column_stack([np.ones(len(log_hours)), waves])
    y = log_hours[:, None] - (digamma(shape) - np.log(shape))
    passed = filter_level(y, columns, noise_scale, keep, move, polygamma(1, shape))
    prior_mean = np.zeros(columns.shape[1])
    prior_mean[0] = mean_prior[0]
    prior_sd = np.full(columns.shape[1], priors.SEASON_HOURS_SD)
    prior_sd[0] = mean_prior[1]
    fits = []
    for width in belief.widths:
        prior_sd[0] = width * mean_prior[1]
        fits.append(_integrate_out(passed, prior_mean, prior_sd))
    mean, covariance, log_chance = (np.stack(part) for part in zip(*fits, strict=True))
    log_weight = log_chance + np.log(prior / len(fits))
    evidence = float(logsumexp(log_weight))
    weight = np.exp(log_weight - evidence)
    pulled = np.einsum("wg,wgc->gc", weight, mean)
    expected = passed.path[:, :, 0] @ weight.sum(axis=0)
    expected -= np.einsum("tgc,gc->t", passed.path[:, :, 1:], pulled)

    def every(values: np.ndarray) -> np.ndarray:
        """(grid,) the same for each width."""
        return np.concatenate([values] * len(fits))

    return Level(
        weight=weight.ravel(),
        keep=every(keep),
        move=every(move),
        shape=every(shape),
        mean=mean.reshape(-1, mean.shape[-1]),
        root=np.linalg.cholesky(covariance.reshape(-1, *covariance.shape[2:])),
        offset=every(passed.state[:, 0]),
        slope=every(passed.state[:, 1:]),
        state_sd=every(np.sqrt(passed.variance)),
        expected=expected,
        observed=int(np.isfinite(log_hours).sum()),
        evidence=evidence,
    )


def parameter_grid() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(grid,) keep, move, shape and prior weight."""
    weeks, sd, shape = np.meshgrid(priors.LEVEL_WEEKS, priors.LEVEL_SD, priors.WEEK_SHAPE, indexing="ij")
    prior = priors.LEVEL_WEEKS_PRIOR[:, None, None] * priors.LEVEL_SD_PRIOR[:, None] * priors.WEEK_SHAPE_PRIOR
    keep = np.exp(-1 / weeks)
    move = sd * np.sqrt(1 - keep**2)
    return keep.ravel(), move.ravel(), shape.ravel(), prior.ravel()


@dataclass(frozen=True, kw_only=True)
class Passed:
    """A filter pass over the grid; column 0 is the hours, the others are those of the coefficients.

    Attributes
    ----------
    state : (grid, column) the filtered level at the end of the last week, linear in the columns
    variance : (grid,) of that level
    path : (week, grid, column) the level expected for each week
    log_variance : (grid,) sum of the logs of the innovations' variances, with the 2 pi
    products : (grid, column, column) products of the innovations over their variance, summed
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
    keep: np.ndarray,
    move: np.ndarray,
    noise: np.ndarray,
) -> Passed:
    """One scalar Kalman filter a grid point, from the stationary level on.

    Parameters
    ----------
    y : (week, grid), NaN where there is no observation
    columns : (week, coefficient)
    noise_scale : (week,); keep, move : (grid,); noise : (grid,) noise variance
    """
    weeks, points = y.shape
    lines = np.concatenate(
        [y[:, :, None], np.broadcast_to(columns[:, None, :], (weeks, points, columns.shape[1]))], axis=2
    )
    state = np.zeros((points, lines.shape[2]))
    variance = move**2 / (1 - keep**2)
    path = np.zeros((weeks, points, lines.shape[2]))
    log_variance = np.zeros(points)
    products = np.zeros((points, lines.shape[2], lines.shape[2]))
    seen = np.isfinite(y[:, 0])
    for t in range(weeks):
        if t:
            state = keep[:, None] * state
            variance = keep**2 * variance + move**2
        path[t] = state
        if not seen[t]:
            continue
        spread = variance + noise * noise_scale[t]
        gain = variance / spread
        off = lines[t] - state
        state = state + gain[:, None] * off
        variance = variance * (1 - gain)
        log_variance = log_variance + np.log(2 * np.pi * spread)
        scaled = off / np.sqrt(spread)[:, None]
        products = products + scaled[:, :, None] * scaled[:, None, :]
    return Passed(state=state, variance=variance, path=path, log_variance=log_variance, products=products)


def _integrate_out(
    passed: Passed, prior_mean: np.ndarray, prior_sd: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and covariance of the coefficients on each grid point, and the log chance of the hours."""
    prior_precision = 1 / prior_sd**2
    precision = passed.products[:, 1:, 1:] + np.diag(prior_precision)
    pull = passed.products[:, 1:, 0] + prior_precision * prior_mean
    covariance = np.linalg.inv(precision)
    mean = np.einsum("gij,gj->gi", covariance, pull)
    square = passed.products[:, 0, 0] + float((prior_precision * prior_mean**2).sum())
    square = square - (mean * pull).sum(axis=1)
    log_chance = -0.5 * (
        passed.log_variance + square + np.linalg.slogdet(precision)[1] + 2 * np.log(prior_sd).sum()
    )
    return mean, covariance, log_chance
