"""How many person-hours the tasks take: learned from the log, drawn for the tasks still open."""

from forecast.effort.evidence import EffortEvidence
from forecast.effort.model import EffortModel
from forecast.effort.priors import BeyondPriors, EffortPriors, Normal
from forecast.effort.remaining import RemainingWork

__all__ = ["BeyondPriors", "EffortEvidence", "EffortModel", "EffortPriors", "Normal", "RemainingWork"]
