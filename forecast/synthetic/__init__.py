"""Invented builds with a known truth: plan, people, habits, hours, and how it all really ended.

    make_build           a build of a kind, drawn at random from a seed
    SyntheticBuild       the folder, the truth, where a fraction of the hours is spent, other futures
    write_build          the same as a build folder
    play_scenario        a build of one's own making

The play is a plain walk over days (workshop.py), written apart from the forecasting kernel.
"""

from forecast.synthetic.build import PlayedOn, SyntheticBuild, play_scenario
from forecast.synthetic.kinds import EFFORT_KINDS, HABIT_KINDS
from forecast.synthetic.making import make_build
from forecast.synthetic.scenario import Scenario
from forecast.synthetic.truth import Truth
from forecast.synthetic.writer import write_build

__all__ = [
    "EFFORT_KINDS",
    "HABIT_KINDS",
    "PlayedOn",
    "Scenario",
    "SyntheticBuild",
    "Truth",
    "make_build",
    "play_scenario",
    "write_build",
]
