"""Priors for the next build from what many builds say: builder effects above type effects.

    effect of build i                 ~ N(centre, between)        level, learning, repeats, ...
    effect of type k in build i       ~ N(centre of k, between)   level and learning of each type
    centre of k                       ~ N(0, built-in scale)

A type is named only where at least `LEAST_BUILDS` builds have finished tasks of it; the others are
integrated out.
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

# The scale of the heavy-tailed belief whose central 80 % is that of a normal one with scale 1.
_HEAVY = float(norm.ppf(0.9) / t.ppf(0.9, DEGREES))
_SIZES_WORTH = 20.0  # built-in sizes of rework, outside work and growth count as so many
_SCALES_WORTH = 3.0  # built-in scales count as so many builds
# Builders of one club share a guide, a kit and a climate: half of what a builder anywhere may be off by is
# believed to be between them. An assumption, as if seen on three builds.
CLUB_SHARE = 0.5
_TYPES = ("type_level", "type_learning")


def pool_priors(summaries: Iterable[BuildSummary]) -> PooledPriors:
    """The priors that these builds teach.

    Raises
    ------
    InputError when fewer than three builds have a finished task.
    """
    known = [s for s in summaries if sum(s.effort.finished.values())]
    if len(known) < LEAST_BUILDS:
        sentence = f"pooled priors need at least {LEAST_BUILDS} builds with a finished task. Got {len(known)}"
        raise InputError([Problem("--write-priors", None, "", "", sentence)])
    builds: dict[str, Any] = {
        "builds": len(known),
        "degrees": DEGREES,
        "built_in_weight": BUILT_IN_WEIGHT,
    }
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
    place = {effect: i for i, effect in enumerate(effects)}
    scale = {"type_level": built_in.type_level_scale, "type_learning": built_in.type_learning_scale}
    believed = [_believed(built_in, kind, scale) for kind, _ in effects]
    group = [SHARED.index(k) if k in SHARED else len(SHARED) + _TYPES.index(k) for k, _ in effects]
    fit = fit_hierarchy(
        [_likelihood(s, place, scale) for s in known],
        np.array([b.centre for b in believed]),
        np.array([b.sd for b in believed]),
        np.array(group),
        share=CLUB_SHARE,
    )
    found: dict[str, Any] = {name: _next(fit, i, _HEAVY) for i, name in enumerate(SHARED)}
    size = found["size_slope"]
    levels: dict[str, Any] = {
        kind: {name: float(fit.centre[place[kind, name]]) for name in types} for kind in _TYPES
    }
    scales: dict[str, Any] = {f"{kind}_scale": _type_scale(fit, place, kind, scale[kind]) for kind in _TYPES}
    return replace(
        built_in,
        **found | {"size_slope": Normal(centre=size.centre + 1.0, sd=size.sd)},
        **_spreads(known, built_in),
        **levels,
        **scales,
        pair_scale=_scale(known, "pair", built_in.pair_scale),
        drift_scale=_scale(known, "drift", built_in.drift_scale),
    )


def _believed(built_in: EffortPriors, kind: str, scale: dict[str, float]) -> Normal:
    if kind in scale:
        return Normal(centre=0.0, sd=scale[kind])
    belief: Normal = getattr(built_in, kind)
    return Normal(centre=belief.centre - 1.0, sd=belief.sd) if kind == "size_slope" else belief


def _likelihood(
    summary: BuildSummary, place: dict[tuple[str, str], int], scale: dict[str, float]
) -> Likelihood:
    effects = summary.effort.effects
    said = Likelihood(
        places=np.array([place.get(e, -1) for e in effects]),
        precision=summary.effort.precision,
        pull=summary.effort.pull,
    )
    return said.without(said.places < 0, np.array([scale.get(kind, 1.0) for kind, _ in effects]))


def _next(fit: Hierarchy, at: int, times: float = 1.0) -> Normal:
    return Normal(centre=float(fit.centre[at]), sd=times * float(fit.next_sd[at]))


def _type_scale(fit: Hierarchy, place: dict[tuple[str, str], int], kind: str, built_in: float) -> float:
    at = [i for (k, _), i in place.items() if k == kind]
    return float(np.sqrt(np.mean(fit.next_sd[at] ** 2))) if at else built_in


def _spreads(known: Sequence[BuildSummary], built_in: EffortPriors) -> dict[str, Any]:
    """How far tasks scatter: mean log spread and its slope on size."""
    found: dict[str, Any] = {}
    for name in ("log_spread", "spread_by_size"):
        belief: Normal = getattr(built_in, name)
        said = [_told_apart(getattr(s.effort, name), belief) for s in known]
        fit = fit_hierarchy(
            said, np.array([belief.centre]), np.array([belief.sd]), np.array([0]), share=CLUB_SHARE
        )
        found[name] = _next(fit, 0)
    return found


def _told_apart(posterior: tuple[float, float], belief: Normal) -> Likelihood:
    """The likelihood behind a posterior, of what had a normal belief."""
    mean, sd = posterior
    gained = max(sd**-2 - belief.sd**-2, 0.0)
    pull = (gained + belief.sd**-2) * mean - belief.centre / belief.sd**2 if gained else 0.0
    return Likelihood(places=np.array([0]), precision=np.array([[gained]]), pull=np.array([pull]))


def _scale(known: Sequence[BuildSummary], name: str, built_in: float) -> float:
    """A half-t scale: root mean square over the builds and the built-in one."""
    squares = sum(s.effort.scales[name] ** 2 for s in known) + _SCALES_WORTH * built_in**2
    return float(np.sqrt(squares / (len(known) + _SCALES_WORTH)))


def _beyond(known: Sequence[BuildSummary]) -> ReworkAndGrowthPriors:
    built_in = ReworkAndGrowthPriors()

    def counts(name: str) -> np.ndarray:
        return np.array([s.counts[name] for s in known])

    hours = counts("worked_hours")
    share = built_in.rework_log_share
    seen = float(counts("rework_shares").sum()) + _SIZES_WORTH
    centre = (float(counts("rework_log_share").sum()) + _SIZES_WORTH * share.centre) / seen
    square = float(counts("rework_log_square").sum()) + _SIZES_WORTH * (share.sd**2 + share.centre**2)
    return ReworkAndGrowthPriors(
        rework_chance=pool_chance(counts("redone"), counts("could"), built_in.rework_chance),
        rework_log_share=Normal(centre=centre, sd=float(np.sqrt(square / seen - centre**2))),
        outside_per_hour=pool_rate(counts("outside_days"), hours, built_in.outside_per_hour),
        outside_hours=_size(counts("outside_hours"), counts("outside_days"), built_in.outside_hours),
        growth_per_hour=pool_rate(counts("growth_days"), hours, built_in.growth_per_hour),
        growth_hours=_size(counts("growth_hours"), counts("growth_days"), built_in.growth_hours),
    )


def _size(hours: np.ndarray, days: np.ndarray, built_in: float) -> float:
    return float((hours.sum() + _SIZES_WORTH * built_in) / (days.sum() + _SIZES_WORTH))


def _bench(known: Sequence[BuildSummary]) -> BenchPriors:
    built_in = BenchPriors()
    chain = fit_hierarchy(
        [
            Likelihood(places=np.arange(4), precision=s.bench.chain_precision, pull=s.bench.chain_pull)
            for s in known
        ],
        np.array(built_in.chain_mean),
        np.array(built_in.chain_sd) / _HEAVY,
        np.arange(4),
        share=CLUB_SHARE,
    )
    weekly = fit_hierarchy(
        [
            Likelihood(
                places=np.array([0]),
                precision=np.array([[s.bench.weekly_precision]]),
                pull=np.array([s.bench.weekly_pull]),
            )
            for s in known
        ],
        np.array([built_in.weekly_log_hours]),
        np.array([built_in.weekly_log_sd]) / _HEAVY,
        np.array([0]),
        share=CLUB_SHARE,
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
        chain_sd=tuple((_HEAVY * chain.next_sd).tolist()),
        weekly_log_hours=float(weekly.centre[0]),
        weekly_log_sd=_HEAVY * float(weekly.next_sd[0]),
        day_chance=tuple(day_chance.tolist()),
        day_weeks=day_weeks,
    )
