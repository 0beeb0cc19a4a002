"""How far to trust a builder's own words on how far a task is.

A report says that a share p of a task was done when `h` person-hours had gone into it. With T the
total that the task took in the end, the true share of the hours was h / T, and

    logit(p) = bias + stretch * logit(h / T) + noise

for percents and for pieces counted, each with its own bias, stretch and noise. A stretch above 1 is
optimism near the end. Learned from the reports on finished tasks, pooled with a prior; the reports on
one task count together as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logit

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EXCESS, OpenEvidence

_MOST = 0.985


@dataclass(frozen=True, kw_only=True)
class ReportPrior:
    """Belief on one kind of report: centres and sds of bias and stretch, noise as if seen on tasks."""

    bias: float
    bias_sd: float
    stretch: float
    stretch_sd: float
    noise: float
    worth_tasks: float


# Common practice, no source: a judged percent is within ten or fifteen points, and optimistic near the
# end; counted pieces are exact, but the first ones take longer.
REPORT_PRIORS = {
    "percent": ReportPrior(bias=0.15, bias_sd=0.4, stretch=1.1, stretch_sd=0.2, noise=0.7, worth_tasks=6.0),
    "quantity": ReportPrior(bias=-0.1, bias_sd=0.2, stretch=1.0, stretch_sd=0.1, noise=0.4, worth_tasks=6.0),
}


@dataclass(frozen=True, kw_only=True)
class ReportTrust:
    """What was learned about one kind of report."""

    bias: float
    stretch: float
    noise: float
    tasks: int

    def log_density(self, fraction: np.ndarray, hours: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Log likelihood of a reported `fraction` at so many `hours` when the total is `total` hours."""
        true = logit(np.minimum(hours / total, 1.0 - 1e-6))
        said = logit(np.clip(fraction, 1.0 - _MOST, _MOST))
        return -0.5 * ((said - self.bias - self.stretch * true) / self.noise) ** 2


def learn_trust(reports: pd.DataFrame, kind: str) -> ReportTrust:
    """Bias, stretch and noise of one kind of report, by a conjugate regression on finished tasks.

    Parameters
    ----------
    reports : the reports frame of progress
    kind : percent or quantity
    """
    prior = REPORT_PRIORS[kind]
    known = reports.loc[
        (reports["kind"] == kind) & (reports["hours_so_far"] < reports["total_hours"] * (1 - 1e-9))
    ]
    precision = np.diag([prior.bias_sd**-2, prior.stretch_sd**-2]) * prior.noise**2
    centre = np.array([prior.bias, prior.stretch])
    weight = 1.0 / known.groupby("task")["task"].transform("size").to_numpy(dtype=float)
    said = logit(np.clip(known["fraction"].to_numpy(dtype=float), 1 - _MOST, _MOST))
    true = logit((known["hours_so_far"] / known["total_hours"]).to_numpy(dtype=float))
    x = np.column_stack([np.ones(len(known)), true])
    after = precision + x.T @ (weight[:, None] * x)
    best = np.linalg.solve(after, precision @ centre + x.T @ (weight * said))
    squares = (
        prior.worth_tasks * prior.noise**2
        + weight @ (said - x @ best) ** 2
        + (best - centre) @ precision @ (best - centre)
    )
    tasks = known["task"].nunique()
    return ReportTrust(
        bias=float(best[0]),
        stretch=float(max(best[1], 0.2)),
        noise=float(np.sqrt(squares / (prior.worth_tasks + tasks))),
        tasks=int(tasks),
    )


def open_evidence(design: EffortDesign, reports: pd.DataFrame, trust: dict[str, ReportTrust]) -> OpenEvidence:
    """Floors and the last report of each kind for the tasks under way, on the grid of totals."""
    rows = np.flatnonzero(design.under_way)
    log_floor = design.log_hours[rows]
    log_density = np.zeros((len(rows), len(EXCESS)))
    total = np.exp(log_floor[:, None] + EXCESS)
    place = {design.tasks[row]: i for i, row in enumerate(rows)}
    for kind, learned in trust.items():
        last = reports.loc[(reports["kind"] == kind) & reports["task"].isin(list(place))]
        last = last.groupby("task", sort=False).last()
        at = np.array([place[task] for task in last.index], dtype=np.int64)
        if len(at):
            log_density[at] += learned.log_density(
                last["fraction"].to_numpy(dtype=float)[:, None],
                last["hours_so_far"].to_numpy(dtype=float)[:, None],
                total[at],
            )
    return OpenEvidence(log_floor=log_floor, report_log_density=log_density)
