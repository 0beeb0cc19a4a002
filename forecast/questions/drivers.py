"""Which tasks and stages drive the finish date, in figures and in sentences."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import Criticality, Simulation, criticality_of_stages, criticality_of_tasks
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import BASELINE, WhatIf
from forecast.wording import format_percent

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

# The standard error of a share is then at most 1.1 %.
_RUNS = 2_000
# Not 1: in a few runs of a single lane the last work is reopened work on an earlier task.
_ALWAYS = 0.95
CAUSE_WORDS = {
    "start": "work without any constraint",
    "after": "work that must come first",
    "hold": "primer, sealant or resin to set",
    "delivery": "deliveries",
    "limit": "what the shop has too little of",
    "hands": "people who are busy elsewhere",
    "two hands": "a second pair of hands",
}


@dataclass(frozen=True, kw_only=True)
class DateDrivers:
    """What the finish date depends on.

    Attributes
    ----------
    tasks, stages : criticality of each open task and of each stage with open tasks
    findings : the result in sentences
    """

    tasks: Criticality
    stages: Criticality
    findings: tuple[str, ...]

    def __repr__(self) -> str:
        crucial = ", ".join(self.tasks.most_crucial(3))
        return f"<DateDrivers: {self.tasks.runs} finished runs, most crucial {crucial}>"

    def to_frame(self) -> pd.DataFrame:
        """One row per open task, in plan order: name, criticality, cruciality, sensitivity."""
        return self.tasks.to_frame()

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and sentences for JSON."""
        return {
            "tasks": self.tasks.to_dict(),
            "stages": self.stages.to_dict(),
            "findings": list(self.findings),
        }


def date_drivers(fitted: Fitted, settings: Settings, what_if: WhatIf = BASELINE) -> DateDrivers:
    """Simulate up to 2,000 runs and trace each back from its finish over what every task waited for.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    what_if : what is different from the build as it is
    """
    few = replace(settings, runs=min(settings.runs, _RUNS))
    return simulate_with_drivers(fitted, few, what_if)[1]


def simulate_with_drivers(
    fitted: Fitted, settings: Settings, what_if: WhatIf = BASELINE
) -> tuple[Outlook, DateDrivers]:
    """The finish dates and their drivers from the same runs, all of which are traced.

    Parameters
    ----------
    fitted, settings, what_if : as in `date_drivers`, but with `settings.runs` runs
    """
    simulations: list[Simulation] = []
    hours: list[np.ndarray] = []

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        simulations.append(batches[0].simulation)
        hours.append(batches[0].work.hours)

    (outlook,) = simulate_what_ifs(fitted, settings, [what_if], on_batch=collect, trace=True)
    simulation = Simulation.joined(simulations)
    tasks = criticality_of_tasks(simulation, np.concatenate(hours))
    stages = criticality_of_stages(fitted.network, simulation, np.concatenate(hours))
    return outlook, DateDrivers(tasks=tasks, stages=stages, findings=_findings(fitted, tasks))


def _findings(fitted: Fitted, tasks: Criticality) -> tuple[str, ...]:
    if not tasks.names:
        return ("Everything in the plan is done.",)
    if not tasks.runs:
        return ("No run finishes within the horizon.",)
    return (_causes_sentence(tasks), _tasks_sentence(fitted, tasks))


def _causes_sentence(tasks: Criticality) -> str:
    waits = {cause: share for cause, share in tasks.causes.items() if cause != "start"}
    if not waits:
        return "No task waits for anything: the date follows from the hours of the longest task."
    shares = sorted(waits.items(), key=lambda cause: -cause[1])
    listed = ", ".join(f"{CAUSE_WORDS[c]} ({format_percent(s)})" for c, s in shares[:3] if s >= 0.01)
    return f"On the critical path, tasks wait for {listed}."


def _tasks_sentence(fitted: Fitted, tasks: Criticality) -> str:
    if (tasks.index >= _ALWAYS).all() and len(tasks.names) > 1:
        return "One lane: every open task moves the date by its own hours."
    titles = {t.task: t.title or t.task for t in fitted.build.plan.tasks}
    index = dict(zip(tasks.names, tasks.index, strict=True))
    most = [name for name in tasks.most_crucial(3) if index[name] > 0]
    listed = ", ".join(f"{titles[n]} (critical in {format_percent(index[n])} of runs)" for n in most)
    return f"The date depends most on {listed}." if listed else ""
