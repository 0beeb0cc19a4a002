"""The true person-hours of each task, decided on the day on which it is started.

benchmarks/invented/effort_builds.py is another generator of effort on purpose: it follows the model's own
parameters, so that the exact posterior can be computed. This one shares nothing with the model, adds up
learning piece by piece, and knows the order in which tasks are started.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite, log, sqrt

import numpy as np

from benchmarks.invented.workshop.number_stream import NumberStream
from benchmarks.invented.workshop.truth import EffortTruth, ReportTruth

_CANDIDATES = 200  # enough to resample a total of a task under way from
_FARTHEST = 6.0  # standard deviations: the mean of a lognormal of t residuals is infinite without a limit


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueTask:
    """The truth about one task, whatever the plan says."""

    task: str
    type: str
    base_hours: float
    quantity: int
    repeat_of: str | None = None


class Totals:
    """Total person-hours of tasks, in the order in which they are started.

    A lot of pieces first..last of a type costs the mean of x ** slope over them, in units of the mean
    over all pieces of the plan: the sum is taken piece by piece, so the lot's midpoint is exact.
    """

    def __init__(self, effort: EffortTruth, tasks: Sequence[TrueTask], pair_effect: dict[str, float]) -> None:
        self.effort = effort
        self.pair_effect = pair_effect
        self.kinds = [t.type for t in tasks]
        self.quantity = [t.quantity for t in tasks]
        self.mean = [self._mean(t) for t in tasks]
        pieces = dict.fromkeys(self.kinds, 0)
        for t in tasks:
            pieces[t.type] += t.quantity
        self.curve = {k: _curve(n, effort.learning_slope.get(k, 0.0)) for k, n in pieces.items()}
        self.begun = dict.fromkeys(self.kinds, 0)
        self.drift = 0.0
        self.log_mean = [0.0] * len(tasks)
        self.first = [0] * len(tasks)

    def copy(self) -> Totals:
        """The same tasks in the same state, to be simulated apart."""
        new = object.__new__(Totals)
        new.effort, new.pair_effect, new.curve = self.effort, self.pair_effect, self.curve
        new.kinds, new.quantity, new.mean = list(self.kinds), list(self.quantity), list(self.mean)
        new.begun, new.drift = dict(self.begun), self.drift
        new.log_mean, new.first = list(self.log_mean), list(self.first)
        return new

    def redraw(self, rng: np.random.Generator) -> None:
        """Draw a new residual for every task, and use new random numbers for the drift."""
        residuals, drift, added = rng.spawn(3)
        drawn = draw_residuals(self.effort, len(self.kinds), residuals)
        sds = np.array([self.effort.residual_sd.get(k, 0.4) for k in self.kinds])
        self.residual = (drawn * sds + _disasters(self.effort, len(self.kinds), residuals)).tolist()
        self.numbers, self.added_rng = NumberStream(drift), added

    def add(self, task: TrueTask) -> None:
        """Add a task during the build."""
        self.kinds.append(task.type)
        self.quantity.append(task.quantity)
        self.mean.append(self._mean(task))
        self.log_mean.append(0.0)
        self.first.append(0)
        drawn = draw_residuals(self.effort, 1, self.added_rng) * self.effort.residual_sd.get(task.type, 0.4)
        self.residual.append(float(drawn[0]))

    def begin(self, task: int) -> float:
        """Start a task: the person-hours that it will take."""
        kind, pieces = self.kinds[task], self.quantity[task]
        first = self.begun[kind]
        self.begun[kind] = first + pieces
        self.first[task] = first
        carry = exp(-1.0 / self.effort.drift_tasks)
        shock = self.effort.drift_sd * sqrt(1.0 - carry * carry)
        self.drift = carry * self.drift + shock * self.numbers.normal()
        self.log_mean[task] = self.mean[task] + log(self._lot(kind, first, first + pieces)) + self.drift
        return exp(self.log_mean[task] + self.residual[task])

    def redraw_total(
        self,
        task: int,
        spent_hours: float,
        reported: float,
        reported_at_hours: float,
        reports: ReportTruth,
        rng: np.random.Generator,
    ) -> float:
        """Draw another total of a task under way, given its hours and reports so far.

        Parameters
        ----------
        task : its position
        spent_hours : so far
        reported, reported_at_hours : share done as last reported (0: never), and the hours spent then
        reports : how the builder reports
        rng : source of candidates, which are weighted by the likelihood of the report
        """
        effort = self.effort
        residual = draw_residuals(effort, _CANDIDATES, rng) * effort.residual_sd.get(self.kinds[task], 0.4)
        total = np.exp(self.log_mean[task] + residual + _disasters(effort, _CANDIDATES, rng))
        total = total[total > spent_hours + 0.1]
        if not len(total):
            return spent_hours * (1.0 + 0.3 * rng.random()) + 0.25
        weight = np.ones(len(total))
        if reported > 0.0:
            true = reported_at_hours / np.maximum(total, reported_at_hours * 1.001)
            miss = _logit(reported) - reports.bias - reports.stretch * _logit(true)
            weight = np.exp(-0.5 * (miss / reports.noise) ** 2) + 1e-12
        return float(rng.choice(total, p=weight / weight.sum()))

    def pieces_done(self, task: int, share: float) -> int:
        """Whole pieces done when this share of the task's hours is spent; the first pieces take longer."""
        kind, first, pieces = self.kinds[task], self.first[task], self.quantity[task]
        if share >= 1.0:
            return pieces
        costs = self.curve[kind]
        if first + pieces >= len(costs):
            return int(share * pieces)
        aim = costs[first] + share * (costs[first + pieces] - costs[first])
        return int(np.searchsorted(costs, aim + 1e-9, side="right")) - 1 - first

    def _mean(self, task: TrueTask) -> float:
        e = self.effort
        bent = log(e.typical_hours) + e.size_slope * (log(task.base_hours) - log(e.typical_hours))
        pair = self.pair_effect.get(task.task, 0.0)
        repeat = e.repeat if task.repeat_of is not None else 0.0
        return bent + e.level + e.type_effect.get(task.type, 0.0) + repeat + pair

    def _lot(self, kind: str, first: int, last: int) -> float:
        costs = self.curve.get(kind)
        if costs is None or len(costs) < 2 or self.effort.learning_slope.get(kind, 0.0) == 0.0:
            return 1.0
        most = len(costs) - 1
        if last > most:  # added work at the end of the plan costs as the last piece does
            first, last = most - 1, most
        mean = float(costs[-1]) / most
        return float(costs[last] - costs[first]) / (last - first) / mean


def _curve(pieces: int, slope: float) -> np.ndarray:
    """(pieces + 1,) cumulative cost of the first 0, 1, 2, ... pieces."""
    return np.concatenate([[0.0], np.cumsum(np.arange(1.0, pieces + 1.0) ** slope)])


def draw_residuals(effort: EffortTruth, count: int, rng: np.random.Generator) -> np.ndarray:
    """(count,) residuals of log hours in units of their sd: normal, or t clipped at +-6.

    Examples
    --------
    >>> draw_residuals(EffortTruth(), 2, np.random.default_rng(1)).shape
    (2,)
    """
    if isfinite(effort.tail_degrees):
        return np.clip(rng.standard_t(effort.tail_degrees, count), -_FARTHEST, _FARTHEST)
    return rng.standard_normal(count)


def _disasters(effort: EffortTruth, count: int, rng: np.random.Generator) -> np.ndarray:
    bad = rng.random(count) < effort.disaster_chance
    return np.where(bad, log(effort.disaster_times), 0.0)


def _logit(share: np.ndarray | float) -> np.ndarray:
    inner = np.clip(share, 0.015, 0.985)
    return np.asarray(np.log(inner / (1.0 - inner)))
