"""Would it help if you joined? The rest of the build alone, by two, and with a helper for two-person work.

All plans are played on the same draws, so that every gain is a difference within a run: the hours of the
tasks, the days at the bench and the arrivals are the same, only the hands differ.
"""

from forecast.questions.crew.answer import SECOND, Crew, CrewAnswer, CrewPlan, HelpCurve
from forecast.questions.crew.compare import compare_crews, crew_of, per_hour, what_ifs_of

__all__ = [
    "SECOND",
    "Crew",
    "CrewAnswer",
    "CrewPlan",
    "HelpCurve",
    "compare_crews",
    "crew_of",
    "per_hour",
    "what_ifs_of",
]
