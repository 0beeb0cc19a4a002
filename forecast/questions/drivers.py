"""What holds the date: the tasks and stages that the finish hangs on, in figures and in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.network import Criticality, Simulation, criticality_of_stages, criticality_of_tasks
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import BASELINE, WhatIf
from forecast.wording import format_percent

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

_RUNS = 2_000
_ALWAYS = 0.95
CAUSE_WORDS = {
    "start": "work that nothing holds back",
    "after": "work that must come first",
    "hold": "primer, sealant or resin that sets",
    "delivery": "deliveries",
    "limit": "what the shop has too little of",
    "hands": "hands that are busy elsewhere",
    "two hands": "a second pair of hands",
}


@dataclass(frozen=True, kw_only=True)
class DateDrivers:
    """What the finish hangs on.

    Attributes
    ----------
    tasks, stages : criticality of each open task and of each stage with open tasks
    findings : what it comes to, in sentences
    """

    tasks: Criticality
    stages: Criticality
    findings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and sentences for JSON."""
        return {
            "tasks": self.tasks.to_dict(),
            "stages": self.stages.to_dict(),
            "findings": list(self.findings),
        }


def date_drivers(fitted: Fitted, settings: Settings, what_if: WhatIf = BASELINE) -> DateDrivers:
    """Play up to 2,000 runs and trace each back from its finish over what every task waited for."""
    few = replace(settings, runs=min(settings.runs, _RUNS))
    return simulate_with_drivers(fitted, few, what_if)[1]


def simulate_with_drivers(
    fitted: Fitted, settings: Settings, what_if: WhatIf = BASELINE
) -> tuple[Outlook, DateDrivers]:
    """The finish dates, and what holds them, from one play: every run is traced and kept."""
    simulations: list[Simulation] = []
    hours: list[np.ndarray] = []

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        simulations.append(batches[0].simulation)
        hours.append(batches[0].work.hours)

    (outlook,) = simulate_what_ifs(fitted, settings, [what_if], on_batch=collect, trace=True)
    together = Simulation.joined(simulations)
    tasks = criticality_of_tasks(together, np.concatenate(hours))
    stages = criticality_of_stages(fitted.network, together, np.concatenate(hours))
    return outlook, DateDrivers(tasks=tasks, stages=stages, findings=_findings(fitted, tasks))


def _findings(fitted: Fitted, tasks: Criticality) -> tuple[str, ...]:
    if not tasks.names:
        return ("Everything in the plan is done.",)
    if not tasks.runs:
        return ("No run finishes within the horizon.",)
    return (_causes_sentence(tasks), _hangs_on_sentence(fitted, tasks))


def _causes_sentence(tasks: Criticality) -> str:
    waits = {c: s for c, s in tasks.causes.items() if c != "start"}
    if not waits:
        return "Nothing waits for anything: the date is the hours of the longest task."
    shares = sorted(waits.items(), key=lambda cause: -cause[1])
    told = ", ".join(f"{CAUSE_WORDS[c]} ({format_percent(s)})" for c, s in shares[:3] if s >= 0.01)
    return f"On the way to the finish, tasks wait for {told}."


def _hangs_on_sentence(fitted: Fitted, tasks: Criticality) -> str:
    if (tasks.index >= _ALWAYS).all() and len(tasks.names) > 1:
        return "One lane: every open task moves the date by its own hours."
    titles = {t.task: t.title or t.task for t in fitted.build.plan.tasks}
    index = dict(zip(tasks.names, tasks.index, strict=True))
    most = [n for n in tasks.most_crucial(3) if index[n] > 0]
    told = ", ".join(f"{titles[n]} (critical in {format_percent(index[n])} of runs)" for n in most)
    return f"The date hangs most on {told}." if told else ""
