"""Forecasters that the effort model is compared with: four naive ways, the learner, the ideal and the oracle.

Each returns (draw, task) hours of the unfinished tasks.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from threadpoolctl import threadpool_limits

from benchmarks.invented.effort_builds import AS_GENERATED, TrueBuild, truncated_t
from forecast.learn.effort import EffortModel

# Gibbs sweeps: warm-up, states used, and thinning. The weights mix within a few sweeps.
_WARM_UP, _STATES, _THIN = 50, 50, 5


def planned_hours(build: TrueBuild, finished: int) -> np.ndarray:
    """The planned hours."""
    return build.planned[finished:][None, :]


def times_median_ratio(build: TrueBuild, finished: int) -> np.ndarray:
    """The planned hours times the median ratio of actual to planned so far."""
    ratio = np.median(build.hours[:finished] / build.planned[:finished])
    return planned_hours(build, finished) * ratio


def times_type_median(build: TrueBuild, finished: int) -> np.ndarray:
    """The planned hours times the median ratio of the task's type so far (else of all tasks)."""
    ratio = build.hours[:finished] / build.planned[:finished]
    kind = build.tasks["type"].to_numpy()
    medians = {k: np.median(ratio[kind[:finished] == k]) for k in set(kind[:finished])}
    overall = np.median(ratio)
    return planned_hours(build, finished) * [medians.get(k, overall) for k in kind[finished:]]


def independent_lognormal(
    build: TrueBuild, finished: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Independent draws from a lognormal fitted to the ratios of the task's type (below three: of all)."""
    log_ratio = np.log(build.hours[:finished] / build.planned[:finished])
    kind = build.tasks["type"].to_numpy()
    fits = {}
    for k in set(kind[:finished]):
        mine = log_ratio[kind[:finished] == k]
        if len(mine) >= 3:
            fits[k] = (mine.mean(), mine.std(ddof=1))
    overall = (log_ratio.mean(), log_ratio.std(ddof=1))
    mean, sd = np.array([fits.get(k, overall) for k in kind[finished:]]).T
    return planned_hours(build, finished) * np.exp(rng.normal(mean, sd, size=(draws, len(mean))))


def learner(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Knows how builds of kind "model" are generated, but has to learn the scales of this one.

    No forecaster can do much better without knowing the scales; the rest of the way to the ideal is their
    worth.
    """
    model = EffortModel(priors=AS_GENERATED).fit(build.progress(finished), rng)
    return model.sample_first_time_hours(draws, rng)


def ideal(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """The exact posterior under the generating distribution, its hyperparameters known.

    With normal residuals this is one Gaussian conditional in closed form; with t residuals the scale
    weights of the finished tasks are drawn by Gibbs sampling around it.
    """
    with threadpool_limits(limits=1, user_api="blas"):
        return _ideal(build, finished, draws, rng)


def _ideal(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    y = (np.log(build.hours) - build.offset - build.effects @ build.centre)[:finished]
    cov = (build.effects * build.sd**2) @ build.effects.T
    lag = np.abs(np.subtract.outer(np.arange(len(cov)), np.arange(len(cov))))
    cov += build.drift_sd**2 * np.exp(-lag / build.drift_tasks)
    root = np.linalg.cholesky(cov + 1e-10 * np.eye(len(cov)))
    ahead = slice(finished, None)
    if np.isinf(build.tail):
        log_hours = _given(cov, root, y, build.spread[:finished] ** 2, draws, rng)[:, ahead]
        residual = rng.standard_normal(log_hours.shape)
    else:
        log_hours = _given_with_tails(build, cov, root, y, draws, rng)[:, ahead]
        residual = truncated_t(rng, build.tail, log_hours.shape)
    base = (build.offset + build.effects @ build.centre)[ahead]
    return np.exp(base + log_hours + build.spread[ahead] * residual)


def _given(
    cov: np.ndarray,
    root: np.ndarray,
    y: np.ndarray,
    noise: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> np.ndarray:
    """(draw, task) exact draws of a Gaussian vector, given noisy observations of its first entries.

    Matheron's rule: a draw from the prior, corrected by its errors at the observed entries.
    """
    n = len(y)
    prior = rng.standard_normal((draws, len(cov))) @ root.T
    seen = prior[:, :n] + np.sqrt(noise) * rng.standard_normal((draws, n))
    factor = cho_factor(cov[:n, :n] + np.diag(noise))
    return prior + cho_solve(factor, (y - seen).T).T @ cov[:n]


def _given_with_tails(
    build: TrueBuild,
    cov: np.ndarray,
    root: np.ndarray,
    y: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> np.ndarray:
    n, tail = len(y), build.tail
    weight = np.ones(n)
    variance = build.spread[:n] ** 2
    each = -(-draws // _STATES)
    out = []
    for sweep in range(_WARM_UP + _THIN * _STATES):
        used = sweep >= _WARM_UP and sweep % _THIN == 0
        drawn = _given(cov, root, y, variance / weight, each if used else 1, rng)
        if used:
            out.append(drawn)
        z2 = (y - drawn[0, :n]) ** 2 / variance
        weight = rng.gamma((tail + 1) / 2, size=n) / ((tail + z2) / 2)
    return np.concatenate(out)[:draws]


def oracle(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Knows every effect and today's drift, but not the drift and the residuals to come."""
    ahead = slice(finished, None)
    count = len(build.hours) - finished
    step = np.exp(-1.0 / build.drift_tasks)
    level = np.full(draws, build.drift[finished - 1])
    drift = np.empty((draws, count))
    for i in range(count):
        level = step * level + build.drift_sd * np.sqrt(1 - step**2) * rng.standard_normal(draws)
        drift[:, i] = level
    if np.isinf(build.tail):
        residual = rng.standard_normal(drift.shape)
    else:
        residual = truncated_t(rng, build.tail, drift.shape)
    mean = (build.offset + build.effects @ build.value)[ahead]
    return np.exp(mean + drift + build.spread[ahead] * residual)
