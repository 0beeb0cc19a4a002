"""True person-hours of a task: bias of person and type, drift, learning with forgetting, skewed luck."""

from __future__ import annotations

import math

import numpy as np

from benchmarks.invented.lives.kit import Task
from benchmarks.invented.lives.traits import Traits

Generator = np.random.Generator
STEP = 7  # days between values of the drift
ALIKE = 0.7  # how far the second of a pair takes after the first, judgement
BOUND = 0.9  # largest lasting log-bias, judgement


class TrueEffort:
    """Effort of one household over the years.

    log(hours / basis) = bias + type + stage + drift(day) + learning(type) + luck. Luck is a mixture: a normal
    middle, a share of tasks far below plan (done along with something else) and a share far above it.
    """

    def __init__(self, traits: Traits, days: int, rng: Generator) -> None:
        self._traits = traits.effort
        self._rng = rng
        self._types: dict[str, float] = {}
        self._stages: dict[int, float] = {}
        self._seen: dict[str, tuple[float, int]] = {}
        self._drift = self._draw_drift(days)
        self.shift = 0.0
        self.primed = False

    def _draw_drift(self, days: int) -> np.ndarray:
        """Ornstein-Uhlenbeck path, one value per week, started at zero: the bias is the start's."""
        count = days // STEP + 2
        keep = math.exp(-STEP / (365.25 * self._traits.drift_years))
        push = self._traits.drift * math.sqrt(1 - keep * keep) * self._rng.standard_normal(count)
        path = np.zeros(count)
        for k in range(1, count):
            path[k] = keep * path[k - 1] + push[k]
        return path

    def type_bias(self, kind: str) -> float:
        """Lasting log-bias of one type of work, drawn when it is first met."""
        if kind not in self._types:
            self._types[kind] = float(self._rng.normal(0, self._traits.type_spread))
        return self._types[kind]

    def stage_bias(self, stage: int) -> float:
        """Lasting log-bias of one stage's planned hours, drawn when it is first met."""
        if stage not in self._stages:
            self._stages[stage] = float(self._rng.normal(0, self._traits.stage_spread))
        return self._stages[stage]

    def total(self, task: Task, day: int) -> float:
        """Person-hours that the task will take, fixed when it is begun on ``day``."""
        e = self._traits
        if self._rng.random() < e.exact:
            self._practise(task.true_type, day)
            return task.basis
        common = e.bias + self.shift + self.type_bias(task.true_type) + self.stage_bias(task.stage)
        common += float(self._drift[day // STEP])
        # nobody works at three times the guide's hours for long without looking for another way
        log = BOUND * math.tanh(common / BOUND) + self._learning(task.true_type, day) + self._luck()
        first = task.repeat_of
        if first is not None and first.total is not None and first.finished:
            # the other wing is like the first one, faults of the guide included, and goes faster
            alike = math.log(first.total / first.basis)
            log = math.log(e.repeat) + ALIKE * alike + (1 - ALIKE) * common
            log += e.repeat_spread * float(self._rng.standard_normal())
        return max(0.2, task.basis * math.exp(log))

    def _luck(self) -> float:
        e, draw = self._traits, self._rng.random()
        if draw < e.left:
            return -float(self._rng.exponential(1.0))
        if draw > 1 - e.right:
            return float(self._rng.exponential(0.45))
        return float(self._rng.normal(0, e.luck))

    def _learning(self, kind: str, day: int) -> float:
        """Log of the learning factor: 1.17 at first, falling by ``learning`` per doubling of practice."""
        done = self._practise(kind, day)
        return math.log(1.17) + math.log2(self._traits.learning) * math.log2(1 + done / 2)

    def _practise(self, kind: str, day: int) -> float:
        done, last = self._seen.get(kind, (0.0, day))
        done *= 0.5 ** ((day - last) / (365.25 * self._traits.forget_years))
        self._seen[kind] = (done + 1, day)
        return done
