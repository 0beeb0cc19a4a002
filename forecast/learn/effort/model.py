"""The effort model: fit to progress, then draw the hours still to do."""

from __future__ import annotations

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from forecast.learn.effort.design import EffortDesign, build_design
from forecast.learn.effort.evidence import EffortEvidence, evidence_of
from forecast.learn.effort.notes import OWN_FINISHED, effort_notes
from forecast.learn.effort.posterior import draw_posterior
from forecast.learn.effort.priors import EffortPriors
from forecast.learn.effort.regression import build_regression, fit_penalised, type_slopes
from forecast.learn.effort.remaining import (
    RemainingWork,
    draw_first_time_hours,
    expected_first_time_hours,
    hours_left,
)
from forecast.learn.effort.reports import learn_trust, open_evidence
from forecast.learn.effort.rework_and_growth import fit_rework_and_growth
from forecast.learn.effort.robust_mixture import (
    log_chance_of_effects,
    log_chance_of_rework_and_growth,
    mixed_draws,
    mixed_rework_and_growth,
    stacked,
)
from forecast.learn.mixture import pooled_weight
from forecast.learn.progress import Progress

_OWN_WEIGHT = 0.5
_UNLIKE = "Hours of tasks so far are unlike those of the pooled builds: they lean on the built-in priors."


class EffortModel:
    """Person-hours of tasks: a pooled regression with a learning term, fit as posterior draws.

    Parameters
    ----------
    draws, warm_up : sweeps of the sampler kept, and thrown away before
    priors : beliefs before the log
    half_days : days without a type of work after which half of its practice is gone. None, the default,
        forgets nothing: the term helped neither on builds where 35 days is the truth nor where nothing
        is forgotten (benchmarks/skill/forgetting.md).

    Attributes
    ----------
    types_ : one row a type: type, basis (own, pooled, prior), finished, under_way, tasks
    notes_ : what a reader must know about the basis, in sentences
    posterior_ : the draws
    pooled_weight_ : how likely the pooled beliefs are beside the built-in ones; 1 where they are not mixed
    shared_work_penalty_ : person-hours of two on one task, as a multiple of one alone (median)
    """

    def __init__(
        self,
        *,
        draws: int = 400,
        warm_up: int = 150,
        priors: EffortPriors | None = None,
        half_days: float | None = None,
    ) -> None:
        self.draws = draws
        self.warm_up = warm_up
        self.priors = priors or EffortPriors()
        self.half_days = half_days

    def fit(self, progress: Progress, rng: np.random.Generator) -> EffortModel:
        """Learn from the tasks so far.

        Parameters
        ----------
        progress : sessions and plan as they stood on one day
        rng : source of the posterior draws
        """
        with threadpool_limits(limits=1, user_api="blas"):
            self._fit(progress, rng)
        return self

    def _fit(self, progress: Progress, rng: np.random.Generator) -> None:
        design = build_design(progress, self.priors, half_days=self.half_days)
        slopes = self._slopes(design)
        self._learn(progress, slopes, rng)
        self.notes_: tuple[str, ...] = ()
        self.pooled_weight_ = 1.0
        if self.priors.built_in_weight:
            self._mix_with_built_in(progress, slopes, rng.spawn(1)[0])
        self.types_ = self._types()
        self.notes_ += effort_notes(self.design_, self.posterior_, self.rework_and_growth_, progress)

    def _learn(self, progress: Progress, slopes: dict[str, float], rng: np.random.Generator) -> None:
        """Everything that follows from one set of beliefs."""
        design = build_design(progress, self.priors, slopes=slopes, half_days=self.half_days)
        self.trust_ = {kind: learn_trust(progress.reports, kind) for kind in ("percent", "quantity")}
        self.evidence_ = open_evidence(design, progress.reports, self.trust_)
        self.posterior_ = draw_posterior(
            design, self.priors, self.evidence_, rng, draws=self.draws, warm_up=self.warm_up
        )
        self.design_ = design
        self.begun_hours_ = progress.tasks["hours_first"].to_numpy(dtype=float)[design.open_rows]
        self.expected_hours_ = expected_first_time_hours(design, self.posterior_, rng)
        self.rework_and_growth_ = fit_rework_and_growth(
            progress,
            design.type_of,
            len(design.types),
            np.median(self.expected_hours_, axis=0),
            self.draws,
            rng,
            priors=self.priors.beyond,
        )

    def _mix_with_built_in(
        self, progress: Progress, slopes: dict[str, float], rng: np.random.Generator
    ) -> None:
        """Mix what was learned from the pooled beliefs with what the built-in ones would have taught."""
        other = EffortModel(draws=self.draws, warm_up=self.warm_up, half_days=self.half_days)
        other._learn(progress, slopes, rng)
        said, (with_, without) = other.evidence_of_build_, (self._log_chance, other._log_chance)
        weight = pooled_weight(with_(said) - without(said), self.priors.built_in_weight)
        self.pooled_weight_ = weight
        self.posterior_ = mixed_draws(self.posterior_, other.posterior_, weight, self.design_, self.priors)
        self.rework_and_growth_ = mixed_rework_and_growth(
            self.rework_and_growth_, other.rework_and_growth_, weight
        )
        self.expected_hours_ = stacked(self.expected_hours_, other.expected_hours_, weight)
        if weight < 0.5:
            self.notes_ = (_UNLIKE,)

    def _log_chance(self, said: EffortEvidence) -> float:
        """Log of the chance of the log with these beliefs, up to a constant."""
        beyond = self.rework_and_growth_
        effects = log_chance_of_effects(said, self.design_, self.priors)
        events = len(beyond.outside_hours), len(beyond.growth_hours)
        return effects + log_chance_of_rework_and_growth(beyond.counts, *events, self.priors.beyond)

    def _slopes(self, design: EffortDesign) -> dict[str, float]:
        """A first learning exponent of each type, for the lot midpoints."""
        regression = build_regression(design)
        at = design.fixed_names.index("learning")
        return type_slopes(regression, fit_penalised(regression, self.priors), design, at)

    @property
    def evidence_of_build_(self) -> EffortEvidence:
        """What the finished tasks alone say, told apart from the beliefs before the log."""
        return evidence_of(self.design_, self.posterior_)

    @property
    def shared_work_penalty_(self) -> float:
        """Person-hours that two on one task need, as a multiple of one alone (posterior median)."""
        at = self.design_.fixed_names.index("shared_work")
        return float(np.exp(np.median(self.posterior_.fixed[:, at])))

    @property
    def learning_slopes_(self) -> np.ndarray:
        """(draw, type) exponent of the learning curve, unit theory: log2 of the rate per doubling."""
        at = self.design_.fixed_names.index("learning")
        return self.posterior_.fixed[:, at, None] + self.design_.type_learning + self.posterior_.type_learning

    def sample_first_time_hours(self, draws: int, rng: np.random.Generator) -> np.ndarray:
        """(run, open task) total first-time person-hours of each open task, hours so far included.

        Parameters
        ----------
        draws : how many runs
        rng : source of randomness
        """
        return self._first_time_hours(rng.integers(self.posterior_.count, size=draws), rng)

    def _share_factor(self, pick: np.ndarray, shared: float | None) -> np.ndarray | float:
        """(run, open task) what another share of work by two does to the hours still to do."""
        if shared is None:
            return 1.0
        design = self.design_
        effect = self.posterior_.fixed[pick, design.fixed_names.index("shared_work")]
        more = (shared - design.usual_share) * design.sharable[design.open_rows]
        return np.asarray(np.exp(np.outer(effect, more)))

    def _penalty_left(self, shared: float | None) -> float:
        """What sharing all of a task still costs when the hours hold that this share of it is shared."""
        held = self.design_.usual_share if shared is None else shared
        return float(self.shared_work_penalty_ ** (1.0 - held))

    def _rework(self, planned: np.ndarray, pick: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run, open task) rework ahead; of a task that was reopened the rework is all that is left."""
        rows = self.design_.open_rows
        rework = self.rework_and_growth_.draw_rework(planned, self.design_.type_of[rows], pick, rng)
        for at in np.flatnonzero(self.design_.reopened[rows]):
            rework[:, at] = self.begun_hours_[at] * self.rework_and_growth_.draw_rework_share(len(pick), rng)
        return rework

    def _opened_again(
        self, rework: np.ndarray, pick: np.ndarray, rng: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """(run, open task) rework found later, and after how many days; none on what is open again now."""
        again, after = self.rework_and_growth_.draw_found_later(rework, pick, rng)
        again[:, self.design_.reopened[self.design_.open_rows]] = 0.0
        return again, after

    def _first_time_hours(self, pick: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        return draw_first_time_hours(self.design_, self.posterior_, self.evidence_, pick, rng)

    def sample_remaining(
        self, draws: int, rng: np.random.Generator, *, shared: float | None = None
    ) -> RemainingWork:
        """Hours still to do in each run.

        Parameters
        ----------
        draws : how many runs
        rng : source of randomness
        shared : share of the hours on tasks that one can do that two will work together; as in the log
            when not given. Somebody alone shares nothing: 0.
        """
        pick = rng.integers(self.posterior_.count, size=draws)
        total = self._first_time_hours(pick, rng)
        planned = hours_left(total, self.begun_hours_) * self._share_factor(pick, shared)
        rework = self._rework(planned, pick, rng)
        worked = planned + rework
        ahead = worked.sum(axis=1)
        outside = self.rework_and_growth_.draw_outside(ahead, pick, rng)
        growth = self.rework_and_growth_.draw_growth(ahead, pick, rng)
        with np.errstate(invalid="ignore"):
            spread_out = np.where(ahead > 0, (outside + growth) / ahead, 0.0)
        again, again_after = self._opened_again(rework, pick, rng.spawn(1)[0])
        return RemainingWork(
            tasks=tuple(self.design_.tasks[i] for i in self.design_.open_rows),
            hours=worked * (1.0 + spread_out[:, None]),
            parts={
                "planned": planned.sum(axis=1),
                "rework": rework.sum(axis=1),
                "outside": outside,
                "growth": growth,
            },
            again_hours=again * (1.0 + spread_out[:, None]),
            again_after=again_after,
            shared_penalty=self._penalty_left(shared),
        )

    def _types(self) -> pd.DataFrame:
        """Basis of each type: its own tasks; pooled with those of other types; a prior where none is."""
        design, posterior = self.design_, self.posterior_
        count = len(design.types)
        finished = np.bincount(design.type_of[design.finished], minlength=count)
        under_way = np.bincount(design.type_of[design.under_way], minlength=count)
        between = np.mean(posterior.scales["level"] ** 2)
        within = np.mean(posterior.spread**2, axis=0) / np.maximum(finished, 1)
        weight = np.where(finished > 0, between / (between + within), 0.0)
        own = (finished >= OWN_FINISHED) & (weight > _OWN_WEIGHT)
        teaches = design.finished & np.isfinite(design.log_hours)
        informed = (under_way > 0) | bool(teaches.any() or self.priors.builds)
        basis = np.where(own, "own", np.where(informed, "pooled", "prior"))
        return pd.DataFrame(
            {
                "type": pd.Series(design.types, dtype="str"),
                "basis": pd.Series(basis, dtype="str"),
                "finished": finished,
                "under_way": under_way,
                "tasks": np.bincount(design.type_of, minlength=count),
            }
        )
