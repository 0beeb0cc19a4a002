"""Mixture of pooled and built-in priors, so that a log unlike the pooled ones falls back on the built-in.

The prior is a robust meta-analytic-predictive prior (Schmidli et al., Biometrics 70, 2014; from memory). The
posterior is a mixture too; its weights follow the marginal likelihoods of the log, computed here with the
quadratic likelihood of evidence.py, in which scales and tails stay at their posterior means.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
from scipy.special import betaln, gammaln

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EffortDraws
from forecast.learn.effort.evidence import EffortEvidence
from forecast.learn.effort.priors import EffortPriors, ReworkAndGrowthPriors
from forecast.learn.effort.rework_and_growth import ReworkAndGrowth, ReworkCounts

_PER_DRAW = ("rework_chance", "later_chance", "outside_rate", "growth_rate", "rework_share", "outside_share")
_NOT_PER_DRAW = ("rows", "scales")


def log_marginal_of_effects(evidence: EffortEvidence, design: EffortDesign, priors: EffortPriors) -> float:
    """Log marginal likelihood of the finished tasks, up to a constant.

    Parameters
    ----------
    evidence : likelihood of the effects
    design : arrays of all tasks, made with the same priors
    priors : priors that the effects are averaged over
    """
    from scipy.stats import norm, t

    # A t prior as the normal one with the same 80 % range: the average over a t has no closed form.
    wider = t.ppf(0.9, priors.degrees) / norm.ppf(0.9) if np.isfinite(priors.degrees) else 1.0
    shared = dict(zip(design.fixed_names, design.fixed_priors, strict=True))
    shared["level"] = priors.level  # the design's may have been widened by this very log
    known = {"type_level": priors.type_level, "type_learning": priors.type_learning}
    scale = {"type_level": priors.type_level_scale, "type_learning": priors.type_learning_scale}
    centre = np.array([known[k].get(n, 0.0) if k in known else shared[k].centre for k, n in evidence.effects])
    sd = np.array([scale[k] if k in scale else wider * shared[k].sd for k, _ in evidence.effects])
    root = np.linalg.cholesky(evidence.precision + np.diag(sd**-2))
    half_log_det = float(np.log(np.diag(root)).sum())
    solved = np.linalg.solve(root, evidence.pull + centre / sd**2)
    return float(0.5 * solved @ solved - half_log_det - np.log(sd).sum() - 0.5 * ((centre / sd) ** 2).sum())


def log_marginal_of_rework_and_growth(
    counts: ReworkCounts, outside: int, growth: int, priors: ReworkAndGrowthPriors
) -> float:
    """Log marginal likelihood of rework, work outside the plan and growth, up to a constant.

    Parameters
    ----------
    counts : tasks redone and hours worked
    outside, growth : days with work outside the plan, and with tasks added
    priors : priors that chances and rates are averaged over
    """
    yes, no = priors.rework_chance
    redone = betaln(yes + counts.redone, no + counts.could - counts.redone) - betaln(yes, no)
    rates = ((outside, priors.outside_per_hour), (growth, priors.growth_per_hour))
    return float(redone) + sum(_log_marginal_of_events(n, counts.worked_hours, prior) for n, prior in rates)


def _log_marginal_of_events(events: int, hours: float, prior: tuple[float, float]) -> float:
    shape, rate = prior
    seen = gammaln(shape + events) - gammaln(shape) + shape * np.log(rate)
    return float(seen - (shape + events) * np.log(rate + hours))


def mixed_draws(
    pooled: EffortDraws, built_in: EffortDraws, weight: float, design: EffortDesign, priors: EffortPriors
) -> EffortDraws:
    """Draws of both fits, mixed.

    The built-in fit attributes a type's whole effect to this build: what the pooled prior already puts into
    the offset is subtracted from it.

    Parameters
    ----------
    pooled, built_in : posterior draws under each prior
    weight : posterior probability of the pooled prior
    design, priors : of the pooled fit
    """
    rebased = replace(
        built_in,
        type_level=built_in.type_level - [priors.type_level.get(name, 0.0) for name in design.types],
        type_learning=built_in.type_learning - design.type_learning,
    )
    names = [f.name for f in fields(EffortDraws) if f.name not in _NOT_PER_DRAW]
    both: dict[str, Any] = {
        name: stacked(getattr(pooled, name), getattr(rebased, name), weight) for name in names
    }
    scales = {name: stacked(pooled.scales[name], rebased.scales[name], weight) for name in pooled.scales}
    return replace(pooled, **both, scales=scales)


def mixed_rework_and_growth(
    pooled: ReworkAndGrowth, built_in: ReworkAndGrowth, weight: float
) -> ReworkAndGrowth:
    """Chances and rates of both fits, mixed; the priors of sizes are those of the likelier fit."""
    likelier = pooled if weight >= 0.5 else built_in
    both: dict[str, Any] = {
        name: stacked(getattr(pooled, name), getattr(built_in, name), weight) for name in _PER_DRAW
    }
    return replace(likelier, **both)


def stacked(pooled: np.ndarray, built_in: np.ndarray, weight: float) -> np.ndarray:
    """As many draws as one fit has: a share `weight` from `pooled`, each fit's evenly spaced."""
    draws = len(pooled)
    first = round(weight * draws)
    places = (np.arange(n) * draws // max(n, 1) for n in (first, draws - first))
    return np.concatenate([part[at] for part, at in zip((pooled, built_in), places, strict=True)])
