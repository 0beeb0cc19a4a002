"""Would a second builder help? The rest of the build alone, by two, and with a helper for two-person work.

The three plans share all draws (hours of the tasks, days at the bench, arrivals), so that every gain is a
difference within one run.

answer         CrewAnswer: the plans side by side
compare        compare_crews: simulate the plans and compare them
findings       the comparison in sentences
shared_draws   one set of draws for many questions about the second builder's hours
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
