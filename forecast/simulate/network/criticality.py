"""Which tasks drive the finish date: how often each is critical, and how much of the spread it explains.

The criticality index is the share of runs in which a task is on the critical chain; cruciality is the
correlation of its hours with the finish; the schedule sensitivity index is the criticality index times
sd(duration) / sd(finish) (definitions: Vanhoucke 2010, Measuring Time; PMBOK, from memory). For independent
normal durations and enough people for every task, cruciality and sensitivity are equal, by Stein's lemma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from forecast.simulate.network.network import Network
from forecast.simulate.network.simulation import Simulation


@dataclass(frozen=True, kw_only=True)
class Criticality:
    """How much the finish of the build depends on each task or stage.

    Attributes
    ----------
    names : ids of the open tasks, or names of the stages with open tasks
    index : (name,) share of runs in which it is on the critical chain, 0 to 1
    cruciality : (name,) absolute correlation of its person-hours with the finish, 0 to 1
    sensitivity : (name,) index x sd(days from its start to its finish) / sd(finish)
    causes : cause that links two tasks of a critical chain -> share of the links
    runs : runs that finished within the horizon; only those count
    """

    names: tuple[str, ...]
    index: np.ndarray
    cruciality: np.ndarray
    sensitivity: np.ndarray
    causes: dict[str, float]
    runs: int

    def most_crucial(self, count: int = 5) -> tuple[str, ...]:
        """The names on whose hours the date depends most, in descending order."""
        order = np.lexsort((np.arange(len(self.names)), -self.cruciality))
        return tuple(self.names[i] for i in order[:count])

    def to_frame(self) -> pd.DataFrame:
        """One row per task or stage, in plan order: name, criticality, cruciality, sensitivity."""
        return pd.DataFrame(
            {
                "name": pd.Series(self.names, dtype="str"),
                "criticality": self.index,
                "cruciality": self.cruciality,
                "sensitivity": self.sensitivity,
            }
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON, in plan order."""
        return {
            "runs": self.runs,
            "causes": {name: round(share, 4) for name, share in self.causes.items()},
            # Python's round, not the frame's: the two differ in the last digit of some halves.
            "rows": [
                {key: value if key == "name" else round(value, 4) for key, value in row.items()}
                for row in self.to_frame().to_dict("records")
            ],
        }


def criticality_of_tasks(simulation: Simulation, hours: np.ndarray) -> Criticality:
    """Criticality of every open task.

    Parameters
    ----------
    simulation : a simulation with `trace`
    hours : (draw, task) person-hours of that simulation

    Raises
    ------
    ValueError when the simulation ran without `trace`.
    """
    return _criticality(simulation, simulation.tasks, np.arange(len(simulation.tasks)), hours)


def criticality_of_stages(network: Network, simulation: Simulation, hours: np.ndarray) -> Criticality:
    """Criticality of every stage with open tasks; a stage is critical when one of its tasks is.

    Parameters
    ----------
    network : the simulated network
    simulation : a simulation with `trace`
    hours : (draw, task) person-hours of that simulation

    Raises
    ------
    ValueError when the simulation ran without `trace`.
    """
    open_stages = np.unique(network.stage)
    names = tuple(network.stages[s] for s in open_stages)
    return _criticality(simulation, names, np.searchsorted(open_stages, network.stage), hours)


def _criticality(
    simulation: Simulation, names: tuple[str, ...], group: np.ndarray, hours: np.ndarray
) -> Criticality:
    done = np.isfinite(simulation.build_finish)
    finish = simulation.build_finish[done]
    on_chain = simulation.chain[done] >= 0
    worked = np.asarray(hours, dtype=float)[done]
    count = len(names)
    index, cruciality, sensitivity = np.zeros(count), np.zeros(count), np.zeros(count)
    for g in range(count if len(finish) else 0):
        members = group == g
        index[g] = on_chain[:, members].any(axis=1).mean()
        cruciality[g] = abs(_correlation(worked[:, members].sum(axis=1), finish))
        begun = simulation.start[done][:, members].min(axis=1)
        span = simulation.finish[done][:, members].max(axis=1) - begun
        spread = finish.std()
        sensitivity[g] = index[g] * span.std() / spread if spread > 0 else 0.0
    return Criticality(
        names=names,
        index=index,
        cruciality=cruciality,
        sensitivity=sensitivity,
        causes=simulation.chain_causes(),
        runs=len(finish),
    )


def _correlation(x: np.ndarray, y: np.ndarray) -> float:
    """Pearson's correlation; 0 where one of the two does not vary."""
    # Rounding leaves a spread of about 1e-16 y^2 where nothing varies; 1e-12 is well above that.
    dx, dy = x - x.mean(), y - y.mean()
    spread = float(np.sqrt((dx @ dx) * (dy @ dy)))
    return float(dx @ dy) / spread if spread > 1e-12 * (1.0 + float(y @ y)) else 0.0
