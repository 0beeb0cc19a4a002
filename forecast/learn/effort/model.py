"""The effort model: fit to progress, then draw the hours still to do."""

from __future__ import annotations

from typing import Self

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from forecast.learn.effort.design import build_design
from forecast.learn.effort.evidence import EffortEvidence, evidence_of
from forecast.learn.effort.finished_work import finished_work
from forecast.learn.effort.notes import OWN_FINISHED, effort_notes
from forecast.learn.effort.posterior import draw_posterior
from forecast.learn.effort.priors import EffortPriors
from forecast.learn.effort.regression import type_slopes
from forecast.learn.effort.remaining import (
    RemainingWork,
    draw_first_time_hours,
    expected_first_time_hours,
    hours_left,
)
from forecast.learn.effort.reports import fit_report_model, open_evidence
from forecast.learn.effort.rework_and_growth import fit_rework_and_growth
from forecast.learn.effort.robust_mixture import (
    log_marginal_of_effects,
    log_marginal_of_rework_and_growth,
    mixed_draws,
    mixed_rework_and_growth,
    stacked,
)
from forecast.learn.estimator import Estimator
from forecast.learn.mixture import pooled_weight
from forecast.learn.progress import Progress

_OWN_WEIGHT = 0.5  # judgement: a type rests on its own tasks once they outweigh the other types
_UNLIKE = "Hours of tasks so far are unlike those of the pooled builds: the built-in priors are used instead."


class EffortModel(Estimator):
    """Person-hours of tasks: a hierarchical regression with a learning term, fitted by Gibbs sampling.

    Parameters
    ----------
    draws, warm_up : sweeps of the sampler kept, and discarded before them
    priors : priors of the parameters; None, the default, for the built-in ones
    half_days : days without a type of work after which half of its practice is lost. None, the default,
        forgets nothing: the term helped neither on builds where 35 days is the truth nor where nothing
        is forgotten (benchmarks/skill/forgetting.md).

    Attributes
    ----------
    types_ : frame with one row per type: type, basis (own, pooled, prior), finished, under_way, tasks
    notes_ : sentences on the basis of the hours
    posterior_, design_ : posterior draws, and the arrays that they were fitted to
    rework_and_growth_ : posterior of rework, work outside the plan and growth
    expected_hours_ : (draw, task) expected first-time hours of each task
    spent_hours_ : (open task,) first-time person-hours so far
    pooled_weight_ : posterior probability of the pooled priors; 1 where they are not mixed

    Examples
    --------
    >>> from datetime import date
    >>> from forecast.files.logbook import read_sessions
    >>> from forecast.files.plan import Plan, Task
    >>> from forecast.learn.progress import read_progress
    >>> plan = Plan(tasks=(Task(task="T", stage="S", title="T", planned_hours=3),))
    >>> progress = read_progress(plan, read_sessions([], None, plan)[0], date(2026, 3, 1))
    >>> model = EffortModel(draws=100).fit(progress, np.random.default_rng(0))
    >>> model.sample_remaining(500, np.random.default_rng(1)).hours.shape
    (500, 1)
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
        self.priors = priors
        self.half_days = half_days

    def fit(self, progress: Progress, rng: np.random.Generator) -> Self:
        """Fit to the tasks so far.

        Parameters
        ----------
        progress : sessions and plan as known on one day
        rng : source of the posterior draws
        """
        self.priors_ = EffortPriors() if self.priors is None else self.priors
        # Small matrices: threads of the linear algebra would only wait for each other.
        with threadpool_limits(limits=1, user_api="blas"):
            first_design = build_design(progress, self.priors_, half_days=self.half_days)
            slopes = type_slopes(first_design, self.priors_)
            self._fit_parts(progress, slopes, rng)
            self.notes_: tuple[str, ...] = ()
            self.pooled_weight_ = 1.0
            if self.priors_.built_in_weight:
                self._mix_with_built_in(progress, slopes, rng.spawn(1)[0])
        self.types_ = self._types()
        self.notes_ += effort_notes(self.design_, self.posterior_, self.rework_and_growth_, progress)
        return self

    def _fit_parts(self, progress: Progress, slopes: dict[str, float], rng: np.random.Generator) -> None:
        """Fit every part under one set of priors."""
        design = build_design(progress, self.priors_, slopes=slopes, half_days=self.half_days)
        report_models = {kind: fit_report_model(progress.reports, kind) for kind in ("percent", "quantity")}
        self.open_evidence_ = open_evidence(design, progress.reports, report_models)
        self.posterior_ = draw_posterior(
            design, self.priors_, self.open_evidence_, rng, draws=self.draws, warm_up=self.warm_up
        )
        self.design_ = design
        self.spent_hours_ = progress.tasks["hours_first"].to_numpy(dtype=float)[design.open_rows]
        self.spent_rework_ = progress.tasks["hours_rework"].to_numpy(dtype=float)[design.open_rows]
        self.open_stage_ = pd.factorize(progress.tasks["stage"])[0][design.open_rows]
        self.expected_hours_ = expected_first_time_hours(design, self.posterior_, rng)
        self.finished_work_ = finished_work(progress, design.type_of)
        self.rework_and_growth_ = fit_rework_and_growth(
            progress,
            design.type_of,
            len(design.types),
            np.median(self.expected_hours_, axis=0),
            self.draws,
            rng,
            priors=self.priors_.beyond,
        )

    def _mix_with_built_in(
        self, progress: Progress, slopes: dict[str, float], rng: np.random.Generator
    ) -> None:
        """Mix the fit under the pooled priors with one under the built-in ones."""
        other = EffortModel(draws=self.draws, warm_up=self.warm_up, half_days=self.half_days)
        other.priors_ = EffortPriors()
        other._fit_parts(progress, slopes, rng)
        evidence = other.evidence_of_build_
        log_odds = self._log_marginal(evidence) - other._log_marginal(evidence)
        weight = pooled_weight(log_odds, self.priors_.built_in_weight)
        self.pooled_weight_ = weight
        self.posterior_ = mixed_draws(self.posterior_, other.posterior_, weight, self.design_, self.priors_)
        self.rework_and_growth_ = mixed_rework_and_growth(
            self.rework_and_growth_, other.rework_and_growth_, weight
        )
        self.expected_hours_ = stacked(self.expected_hours_, other.expected_hours_, weight)
        if weight < 0.5:
            self.notes_ = (_UNLIKE,)

    def _log_marginal(self, evidence: EffortEvidence) -> float:
        """Log marginal likelihood of the log under these priors, up to a constant."""
        beyond = self.rework_and_growth_
        events = len(beyond.outside_hours), len(beyond.growth_hours)
        return log_marginal_of_effects(
            evidence, self.design_, self.priors_
        ) + log_marginal_of_rework_and_growth(beyond.counts, *events, self.priors_.beyond)

    @property
    def evidence_of_build_(self) -> EffortEvidence:
        """Likelihood of the finished tasks, apart from the priors."""
        return evidence_of(self.design_, self.posterior_)

    @property
    def shared_work_penalty_(self) -> float:
        """Person-hours of two on one task, as a multiple of one alone (posterior median)."""
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
        draws : number of runs
        rng : source of randomness
        """
        index = rng.integers(self.posterior_.count, size=draws)
        return draw_first_time_hours(self.design_, self.posterior_, self.open_evidence_, index, rng)

    def _share_factor(self, index: np.ndarray, shared: float | None) -> np.ndarray | float:
        """(run, open task) factor on the hours left, when two share more or less of them than so far."""
        if shared is None:
            return 1.0
        design = self.design_
        effect = self.posterior_.fixed[index, design.fixed_names.index("shared_work")]
        more = (shared - design.usual_share) * design.sharable[design.open_rows]
        return np.asarray(np.exp(np.outer(effect, more)))

    def _rework(self, total: np.ndarray, index: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """(run, open task) rework ahead; of a reopened task, rework is all that is left.

        Chances were learned per task and sizes as shares of its whole first-time hours, so a task under way
        has them of its total, less the rework that it has seen already.
        """
        rows, beyond = self.design_.open_rows, self.rework_and_growth_
        rework = beyond.draw_rework(total, self.design_.type_of[rows], index, rng)
        rework = np.maximum(rework - self.spent_rework_, 0.0)
        for at in np.flatnonzero(self.design_.reopened[rows]):
            rework[:, at] = self.spent_hours_[at] * beyond.draw_rework_share(len(index), rng)
        return rework

    def _spread_over_stages(self, of_stage: np.ndarray, worked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(run, open task) hours that reopen finished tasks, carried by the open ones, and (run,) their sum.

        Those of a stage that has open tasks go to these, the others to all, in proportion to their hours.
        """
        out = np.zeros_like(worked)
        if not worked.shape[1]:
            return out, np.zeros(len(worked))
        elsewhere = np.zeros(len(worked))
        for stage in range(of_stage.shape[1]):
            mine = self.open_stage_ == stage
            if mine.any():
                out[:, mine] = (
                    worked[:, mine] / worked[:, mine].sum(axis=1, keepdims=True) * of_stage[:, [stage]]
                )
            else:
                elsewhere = elsewhere + of_stage[:, stage]
        out += worked / worked.sum(axis=1, keepdims=True) * elsewhere[:, None]
        return out, of_stage.sum(axis=1)

    def sample_remaining(
        self, draws: int, rng: np.random.Generator, *, shared: float | None = None
    ) -> RemainingWork:
        """Hours still to do in each run.

        Parameters
        ----------
        draws : number of runs
        rng : source of randomness
        shared : share, 0 to 1, of the hours on one-person tasks that two will work together; None, the
            default, for the share so far. Somebody alone shares nothing: 0.
        """
        beyond = self.rework_and_growth_
        index = rng.integers(self.posterior_.count, size=draws)
        total = draw_first_time_hours(self.design_, self.posterior_, self.open_evidence_, index, rng)
        planned = hours_left(total, self.spent_hours_) * self._share_factor(index, shared)
        rework = self._rework(total, index, rng)
        reopening, after_hours = beyond.draw_found_later(rework, index, rng.spawn(1)[0])
        reopening[:, self.design_.reopened[self.design_.open_rows]] = 0.0  # they are open already
        # Found while building or not at all: by plan order, so many hours come after each task.
        follow = np.cumsum((planned + rework)[:, ::-1], axis=1)[:, ::-1] - (planned + rework)
        never = after_hours > follow
        rework = np.where(never, rework - reopening, rework)
        reopening = np.where(never, 0.0, reopening)
        worked = planned + rework
        first_ahead = worked.sum(axis=1)
        of_stage = beyond.draw_reopening(self.finished_work_, first_ahead, index, rng.spawn(1)[0])
        again, of_finished = self._spread_over_stages(of_stage, worked)
        worked = worked + again
        ahead = worked.sum(axis=1)
        outside = beyond.draw_outside(ahead, index, rng)
        growth = beyond.draw_growth(ahead, index, rng)
        with np.errstate(invalid="ignore"):
            spread_out = np.where(ahead > 0, (outside + growth) / ahead, 0.0)
        # The hours already include the usual share of joint work: sharing all adds the rest of the penalty.
        included = self.design_.usual_share if shared is None else shared
        return RemainingWork(
            tasks=tuple(self.design_.tasks[i] for i in self.design_.open_rows),
            hours=worked * (1.0 + spread_out[:, None]),
            parts={
                "planned": planned.sum(axis=1),
                "rework": rework.sum(axis=1) + of_finished,
                "outside": outside,
                "growth": growth,
            },
            reopening_hours=reopening * (1.0 + spread_out[:, None]),
            reopening_after_hours=after_hours * (1.0 + spread_out[:, None]),
            shared_penalty=float(self.shared_work_penalty_ ** (1.0 - included)),
        )

    def _types(self) -> pd.DataFrame:
        """Basis of each type: its own tasks, pooled with those of other types, or the prior alone."""
        design, posterior = self.design_, self.posterior_
        count = len(design.types)
        finished = np.bincount(design.type_of[design.finished], minlength=count)
        under_way = np.bincount(design.type_of[design.under_way], minlength=count)
        between = np.mean(posterior.scales["level"] ** 2)
        within = np.mean(posterior.spread**2, axis=0) / np.maximum(finished, 1)
        weight = np.where(finished > 0, between / (between + within), 0.0)
        own = (finished >= OWN_FINISHED) & (weight > _OWN_WEIGHT)
        usable = design.finished & np.isfinite(design.log_hours)
        informed = (under_way > 0) | bool(usable.any() or self.priors_.builds)
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
