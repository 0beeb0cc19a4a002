"""How many person-hours the tasks take: learned from the log, drawn for the tasks still open."""

from forecast.learn.effort.evidence import EffortEvidence
from forecast.learn.effort.model import EffortModel
from forecast.learn.effort.priors import EffortPriors, Normal, ReworkAndGrowthPriors
from forecast.learn.effort.remaining import RemainingWork

__all__ = [
    "ReworkAndGrowthPriors",
    "EffortEvidence",
    "EffortModel",
    "EffortPriors",
    "Normal",
    "RemainingWork",
]
