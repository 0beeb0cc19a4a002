"""How many person-hours the tasks take: learned from the log, drawn for the tasks still open."""

from forecast.effort.model import EffortModel
from forecast.effort.priors import EffortPriors
from forecast.effort.remaining import RemainingWork

__all__ = ["EffortModel", "EffortPriors", "RemainingWork"]
