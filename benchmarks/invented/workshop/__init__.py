"""Invented builds with a known truth: plan, people, habits, hours, and how the build ended.

    make_build           a build of a kind, drawn at random from a seed
    SyntheticBuild       the folder, the truth, the day of a fraction of the hours, other futures
    write_build          the same as a build folder
    play_scenario        a build with given parameters

The simulation walks over days (workshop.py) and shares no code with the forecasting kernel.
"""

from benchmarks.invented.workshop.build import PlayedOn, SyntheticBuild, play_scenario
from benchmarks.invented.workshop.kinds import EFFORT_KINDS, HABIT_KINDS
from benchmarks.invented.workshop.making import make_build
from benchmarks.invented.workshop.scenario import Scenario
from benchmarks.invented.workshop.truth import Truth
from benchmarks.invented.workshop.writer import write_build

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
