"""Person-hours of tasks: fitted to the log, drawn for the open tasks."""

from forecast.learn.effort.evidence import EffortEvidence
from forecast.learn.effort.model import EffortModel
from forecast.learn.effort.priors import EffortPriors, Normal, ReworkAndGrowthPriors
from forecast.learn.effort.remaining import RemainingWork
from forecast.learn.effort.tasks_frame import TaskEffort

__all__ = [
    "EffortEvidence",
    "EffortModel",
    "EffortPriors",
    "Normal",
    "RemainingWork",
    "ReworkAndGrowthPriors",
    "TaskEffort",
]
