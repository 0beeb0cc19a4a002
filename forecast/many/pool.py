"""Pooled priors from the summaries of many builds.

    effect of build i                 ~ N(centre, between^2)        level, learning, repeats, ...
    effect of type k in build i       ~ N(centre of k, between^2)   level and learning of each type
    centre of k                       ~ N(0, built-in scale^2)

A type is named only where at least `LEAST_BUILDS` builds have finished tasks of it, so that the file shows
no builder's own words; the others are integrated out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.stats import norm, t

from forecast.errors import InputError, Problem
from forecast.learn.bench_time.priors import DEGREES, BenchPriors
from forecast.learn.effort import EffortPriors, Normal, ReworkAndGrowthPriors
from forecast.learn.effort.evidence import SHARED
from forecast.learn.pooled_priors import BUILT_IN_WEIGHT, LEAST_BUILDS, PooledPriors
from forecast.many.hierarchy import Hierarchy, Likelihood, fit_hierarchy
from forecast.many.rates import pool_chance, pool_days, pool_rate
from forecast.many.summary import BuildSummary

# Scale of a t distribution with DEGREES degrees whose central 80 % is that of the standard normal one.
_T_SCALE = float(norm.ppf(0.9) / t.ppf(0.9, DEGREES))
# Judgements: the built-in sizes of rework, unplanned work and growth count as 20 such events; built-in scales
# count as three builds, as in the hierarchy.
_PRIOR_SIZES = 20.0
_PRIOR_BUILDS = 3.0
# Builders of one club share a guide, a kit and a climate: the prior puts between them half the spread of
# builders anywhere. An assumption, with the weight of three builds (hierarchy.py).
CLUB_SHARE = 0.5
_TYPES = ("type_level", "type_learning")


def pool_priors(summaries: Iterable[BuildSummary]) -> PooledPriors:
    """Pooled priors of these builds.

    Raises
    ------
    InputError when fewer than three builds have a finished task.
    """
    known = [s for s in summaries if sum(s.effort.finished.values())]
    if len(known) < LEAST_BUILDS:
        sentence = f"pooled priors need at least {LEAST_BUILDS} builds with a finished task. Got {len(known)}"
        raise InputError([Problem("--write-priors", None, "", "", sentence)])
    builds: dict[str, Any] = {"builds": len(known), "degrees": DEGREES, "built_in_weight": BUILT_IN_WEIGHT}
    return PooledPriors(
        builds=len(known),
        effort=replace(_effort(known), beyond=_beyond(known), **builds),
        bench=replace(_bench(known), **builds),
    )


def _effort(known: Sequence[BuildSummary]) -> EffortPriors:
    built_in = EffortPriors()
    in_builds = Counter(name for s in known for name in s.effort.finished)
    types = sorted(name for name, builds in in_builds.items() if builds >= LEAST_BUILDS)
    effects = [(name, "") for name in SHARED] + [(kind, name) for kind in _TYPES for name in types]
    position = {effect: i for i, effect in enumerate(effects)}
    scale = {"type_level": built_in.type_level_scale, "type_learning": built_in.type_learning_scale}
    priors = [_prior(built_in, kind, scale) for kind, _ in effects]
    group = [SHARED.index(k) if k in SHARED else len(SHARED) + _TYPES.index(k) for k, _ in effects]
    fit = fit_hierarchy(
        [_likelihood(s, position, scale) for s in known],
        np.array([b.centre for b in priors]),
        np.array([b.sd for b in priors]),
        np.array(group),
        between_share=CLUB_SHARE,
    )
    found: dict[str, Any] = {name: _next_build(fit, i, _T_SCALE) for i, name in enumerate(SHARED)}
    size = found["size_slope"]
    levels: dict[str, Any] = {
        kind: {name: float(fit.centre[position[kind, name]]) for name in types} for kind in _TYPES
    }
    scales: dict[str, Any] = {
        f"{kind}_scale": _type_scale(fit, position, kind, scale[kind]) for kind in _TYPES
    }
    return replace(
        built_in,
        **found | {"size_slope": Normal(centre=size.centre + 1.0, sd=size.sd)},
        **_spreads(known, built_in),
        **levels,
        **scales,
        pair_scale=_scale(known, "pair", built_in.pair_scale),
        drift_scale=_scale(known, "drift", built_in.drift_scale),
    )


def _prior(built_in: EffortPriors, kind: str, scale: dict[str, float]) -> Normal:
    if kind in scale:
        return Normal(centre=0.0, sd=scale[kind])
    prior: Normal = getattr(built_in, kind)
    # The slope is pooled as its difference from one: hours in proportion to the planned size.
    return Normal(centre=prior.centre - 1.0, sd=prior.sd) if kind == "size_slope" else prior


def _likelihood(
    summary: BuildSummary, position: dict[tuple[str, str], int], scale: dict[str, float]
) -> Likelihood:
    effects = summary.effort.effects
    everything = Likelihood(
        index=np.array([position.get(e, -1) for e in effects]),
        precision=summary.effort.precision,
        pull=summary.effort.pull,
    )
    sd = np.array([scale.get(kind, 1.0) for kind, _ in effects])
    return everything.integrate_out(everything.index < 0, sd)


def _next_build(fit: Hierarchy, at: int, times: float = 1.0) -> Normal:
    return Normal(centre=float(fit.centre[at]), sd=times * float(fit.next_sd[at]))


def _type_scale(fit: Hierarchy, position: dict[tuple[str, str], int], kind: str, built_in: float) -> float:
    at = [i for (k, _), i in position.items() if k == kind]
    return float(np.sqrt(np.mean(fit.next_sd[at] ** 2))) if at else built_in


def _spreads(known: Sequence[BuildSummary], built_in: EffortPriors) -> dict[str, Any]:
    """How far tasks scatter: mean log spread and its slope on size."""
    found: dict[str, Any] = {}
    for name in ("log_spread", "spread_by_size"):
        prior: Normal = getattr(built_in, name)
        likelihoods = [_without_prior(getattr(s.effort, name), prior) for s in known]
        found[name] = _next_build(_fit_one(likelihoods, prior.centre, prior.sd), 0)
    return found


def _without_prior(posterior: tuple[float, float], prior: Normal) -> tuple[float, float]:
    """Precision and pull of the likelihood behind a normal posterior (mean, sd)."""
    mean, sd = posterior
    # Few draws can make a posterior a little wider than its prior: such a log tells nothing.
    precision = max(sd**-2 - prior.sd**-2, 0.0)
    pull = (precision + prior.sd**-2) * mean - prior.centre / prior.sd**2 if precision else 0.0
    return precision, pull


def _fit_one(likelihoods: Sequence[tuple[float, float]], centre: float, sd: float) -> Hierarchy:
    """The hierarchy of one parameter, from (precision, pull) of each build."""
    builds = [
        Likelihood(index=np.array([0]), precision=np.array([[precision]]), pull=np.array([pull]))
        for precision, pull in likelihoods
    ]
    return fit_hierarchy(builds, np.array([centre]), np.array([sd]), np.array([0]), between_share=CLUB_SHARE)


def _scale(known: Sequence[BuildSummary], name: str, built_in: float) -> float:
    """A half-t scale: root mean square over the builds and the built-in one."""
    squares = sum(s.effort.scales[name] ** 2 for s in known) + _PRIOR_BUILDS * built_in**2
    return float(np.sqrt(squares / (len(known) + _PRIOR_BUILDS)))


def _beyond(known: Sequence[BuildSummary]) -> ReworkAndGrowthPriors:
    built_in = ReworkAndGrowthPriors()

    def counts(name: str) -> np.ndarray:
        return np.array([s.counts[name] for s in known])

    hours = counts("worked_hours")
    share = built_in.rework_log_share
    seen = float(counts("rework_shares").sum()) + _PRIOR_SIZES
    centre = (float(counts("rework_log_share").sum()) + _PRIOR_SIZES * share.centre) / seen
    square = float(counts("rework_log_square").sum()) + _PRIOR_SIZES * (share.sd**2 + share.centre**2)
    return ReworkAndGrowthPriors(
        rework_chance=pool_chance(counts("redone"), counts("could"), built_in.rework_chance),
        rework_log_share=Normal(centre=centre, sd=float(np.sqrt(square / seen - centre**2))),
        outside_per_hour=pool_rate(counts("outside_days"), hours, built_in.outside_per_hour),
        outside_hours=_size(counts("outside_hours"), counts("outside_days"), built_in.outside_hours),
        growth_per_hour=pool_rate(counts("growth_days"), hours, built_in.growth_per_hour),
        growth_hours=_size(counts("growth_hours"), counts("growth_days"), built_in.growth_hours),
    )


def _size(hours: np.ndarray, days: np.ndarray, built_in: float) -> float:
    return float((hours.sum() + _PRIOR_SIZES * built_in) / (days.sum() + _PRIOR_SIZES))


def _bench(known: Sequence[BuildSummary]) -> BenchPriors:
    built_in = BenchPriors()
    chain = fit_hierarchy(
        [
            Likelihood(index=np.arange(4), precision=s.bench.chain_precision, pull=s.bench.chain_pull)
            for s in known
        ],
        np.array(built_in.chain_mean),
        np.array(built_in.chain_sd) / _T_SCALE,
        np.arange(4),
        between_share=CLUB_SHARE,
    )
    weekly = _fit_one(
        [(s.bench.weekly_precision, s.bench.weekly_pull) for s in known],
        built_in.weekly_log_hours,
        built_in.weekly_log_sd / _T_SCALE,
    )
    day_chance, day_weeks = pool_days(
        np.array([s.bench.worked for s in known]),
        np.array([s.bench.idle for s in known]),
        np.array(built_in.day_chance),
        built_in.day_weeks,
    )
    return replace(
        built_in,
        chain_mean=tuple(chain.centre.tolist()),
        chain_sd=tuple((_T_SCALE * chain.next_sd).tolist()),
        weekly_log_hours=float(weekly.centre[0]),
        weekly_log_sd=_T_SCALE * float(weekly.next_sd[0]),
        day_chance=tuple(day_chance.tolist()),
        day_weeks=day_weeks,
    )
