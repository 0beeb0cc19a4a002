"""What holds the date: how often each task is on the critical chain, and how much of the doubt is its own.

The criticality index is the share of runs in which a task is on the critical chain; cruciality is the
correlation of its hours with the finish; the schedule sensitivity index is the criticality index times
sd(duration) / sd(finish) (definitions: Vanhoucke 2010, Measuring Time; PMBOK, from memory). For independent
normal durations and enough hands for every task, cruciality and sensitivity are the same number, by
Stein's lemma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from forecast.simulate.network.network import Network
from forecast.simulate.network.simulation import Simulation


@dataclass(frozen=True, kw_only=True)
class Criticality:
    """How much each task, or stage, has to do with the finish of the build.

    Attributes
    ----------
    names : ids of the open tasks, or names of the stages with open tasks
    index : share of runs in which it is on the critical chain
    cruciality : correlation of its person-hours with the finish, without its sign
    sensitivity : index x sd(days from its start to its finish) / sd(finish)
    causes : what links the tasks of the critical chains -> share of the links
    runs : how many runs finished within the horizon; only those count
    """

    names: tuple[str, ...]
    index: np.ndarray
    cruciality: np.ndarray
    sensitivity: np.ndarray
    causes: dict[str, float]
    runs: int

    def most_crucial(self, count: int = 5) -> tuple[str, ...]:
        """The names whose hours the date depends on most, the first one most."""
        order = np.lexsort((np.arange(len(self.names)), -self.cruciality))
        return tuple(self.names[i] for i in order[:count])

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers for JSON, in plan order."""
        rows = zip(self.names, self.index, self.cruciality, self.sensitivity, strict=True)
        return {
            "runs": self.runs,
            "causes": {name: round(share, 4) for name, share in self.causes.items()},
            "rows": [
                {"name": n, "criticality": round(float(c), 4), "cruciality": round(float(r), 4),
                 "sensitivity": round(float(s), 4)}
                for n, c, r, s in rows
            ],
        }  # fmt: skip


def criticality_of_tasks(simulation: Simulation, hours: np.ndarray) -> Criticality:
    """Criticality of every open task.

    Parameters
    ----------
    simulation : played with `trace`
    hours : (draw, task) the person-hours that it was played with
    """
    return _criticality(simulation, simulation.tasks, np.arange(len(simulation.tasks)), hours)


def criticality_of_stages(network: Network, simulation: Simulation, hours: np.ndarray) -> Criticality:
    """Criticality of every stage with open tasks: it is on the chain when one of its tasks is."""
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
        mine = group == g
        index[g] = on_chain[:, mine].any(axis=1).mean()
        cruciality[g] = abs(_correlation(worked[:, mine].sum(axis=1), finish))
        span = simulation.finish[done][:, mine].max(axis=1) - simulation.start[done][:, mine].min(axis=1)
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
    dx, dy = x - x.mean(), y - y.mean()
    spread = float(np.sqrt((dx @ dx) * (dy @ dy)))
    return float(dx @ dy) / spread if spread > 1e-12 * (1.0 + float(y @ y)) else 0.0
