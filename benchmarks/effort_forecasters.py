"""What the effort model is measured against: four naive ways, the ideal forecaster and the oracle.

Each gives (draw, task) hours of the tasks that are not finished yet.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from benchmarks.effort_builds import TrueBuild, cut_t


def planned_hours(build: TrueBuild, finished: int) -> np.ndarray:
    """The plan as it stands."""
    return build.planned[finished:][None, :]


def times_median_ratio(build: TrueBuild, finished: int) -> np.ndarray:
    """The plan times the median of actual over planned so far."""
    ratio = np.median(build.hours[:finished] / build.planned[:finished])
    return planned_hours(build, finished) * ratio


def times_type_median(build: TrueBuild, finished: int) -> np.ndarray:
    """The plan times the median of actual over planned of the task's type so far (else of all)."""
    ratio = build.hours[:finished] / build.planned[:finished]
    kind = build.tasks["type"].to_numpy()
    medians = {k: np.median(ratio[kind[:finished] == k]) for k in set(kind[:finished])}
    overall = np.median(ratio)
    return planned_hours(build, finished) * [medians.get(k, overall) for k in kind[finished:]]


def independent_lognormal(
    build: TrueBuild, finished: int, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Each task drawn on its own from a lognormal fitted to its type's ratios (three or more, else all)."""
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


def ideal(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """The exact posterior under the generating distribution, its hyperparameters known.

    With normal luck this is one Gaussian conditional in closed form; with t luck the weights of the
    finished tasks' luck are drawn by Gibbs sampling around it (one kept in five).
    """
    y = np.log(build.hours) - build.offset - build.effects @ build.centre
    cov = (build.effects * build.sd**2) @ build.effects.T
    lag = np.abs(np.subtract.outer(np.arange(len(y)), np.arange(len(y))))
    cov += build.drift_sd**2 * np.exp(-lag / build.drift_tasks)
    known, ahead = slice(0, finished), slice(finished, None)
    if np.isinf(build.tail):
        mean, root = _condition(cov, y[known], build.spread[known] ** 2)
        log_hours = mean + rng.standard_normal((draws, len(mean))) @ root.T
        luck = rng.standard_normal(log_hours.shape)
    else:
        log_hours = _ideal_with_tails(build, cov, y[known], draws, rng)
        luck = cut_t(rng, build.tail, log_hours.shape)
    base = (build.offset + build.effects @ build.centre)[ahead]
    return np.exp(base + log_hours + build.spread[ahead] * luck)


def _condition(cov: np.ndarray, y: np.ndarray, noise: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and a square root of the covariance of the tasks ahead, given the known ones."""
    n = len(y)
    factor = cho_factor(cov[:n, :n] + np.diag(noise))
    cross = cov[n:, :n]
    mean = cross @ cho_solve(factor, y)
    left = cov[n:, n:] - cross @ cho_solve(factor, cross.T)
    values, vectors = np.linalg.eigh((left + left.T) / 2)
    return mean, vectors * np.sqrt(np.maximum(values, 0.0))


def _ideal_with_tails(
    build: TrueBuild, cov: np.ndarray, y: np.ndarray, draws: int, rng: np.random.Generator
) -> np.ndarray:
    n, tail = len(y), build.tail
    weight = np.ones(n)
    variance = build.spread[:n] ** 2
    kept = []
    for sweep in range(50 + 5 * 50):
        noise = variance / weight
        factor = cho_factor(cov[:n, :n] + np.diag(noise))
        if sweep >= 50 and sweep % 5 == 0:
            kept.append(_condition(cov, y, noise))
        prior = np.linalg.cholesky(cov[:n, :n] + 1e-10 * np.eye(n)) @ rng.standard_normal(n)
        luck = np.sqrt(noise) * rng.standard_normal(n)
        mean = prior + cov[:n, :n] @ cho_solve(factor, y - prior - luck)
        z2 = (y - mean) ** 2 / variance
        weight = rng.gamma((tail + 1) / 2, size=n) / ((tail + z2) / 2)
    each = -(-draws // len(kept))
    out = [m + rng.standard_normal((each, len(m))) @ root.T for m, root in kept]
    return np.concatenate(out)[:draws]


def oracle(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Knows every effect and today's drift; only the drift and the luck to come are open."""
    ahead = slice(finished, None)
    count = len(build.hours) - finished
    step = np.exp(-1.0 / build.drift_tasks)
    level = np.full(draws, build.drift[finished - 1])
    drift = np.empty((draws, count))
    for i in range(count):
        level = step * level + build.drift_sd * np.sqrt(1 - step**2) * rng.standard_normal(draws)
        drift[:, i] = level
    luck = rng.standard_normal(drift.shape) if np.isinf(build.tail) else cut_t(rng, build.tail, drift.shape)
    mean = (build.offset + build.effects @ build.value)[ahead]
    return np.exp(mean + drift + build.spread[ahead] * luck)
