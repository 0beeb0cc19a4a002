"""How far to trust a builder's own reports of how far a task is.

A report puts the share done at p when `h` person-hours had gone into the task. With T the total that the task
took in the end, the true share of the hours was h / T, and

    logit(p) = bias + slope * logit(h / T) + noise

for judged percents and for counted pieces, each with its own bias, slope and noise. A slope above 1 is
optimism near the end. Estimated from the reports on finished tasks, pooled with a prior; the reports on one
task together weigh as much as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logit

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EXCESS, OpenEvidence

_MOST = 0.985  # "99 %" and "100 %, only the deburring left" mean the same: nearly done
_LEAST_SLOPE = 0.2  # judgement: a report of more work done never means that less is


@dataclass(frozen=True, kw_only=True)
class ReportPrior:
    """Prior of one kind of report: means and sds of bias and slope, noise worth so many tasks."""

    bias: float
    bias_sd: float
    slope: float
    slope_sd: float
    noise: float
    worth_tasks: float


# Common practice, no source: a judged percent is within ten or fifteen points, and optimistic near the
# end; counted pieces are exact, but the first ones take longer.
REPORT_PRIORS = {
    "percent": ReportPrior(bias=0.15, bias_sd=0.4, slope=1.1, slope_sd=0.2, noise=0.7, worth_tasks=6.0),
    "quantity": ReportPrior(bias=-0.1, bias_sd=0.2, slope=1.0, slope_sd=0.1, noise=0.4, worth_tasks=6.0),
}


@dataclass(frozen=True, kw_only=True)
class ReportModel:
    """Fitted bias, slope and noise of one kind of report, from so many finished tasks."""

    bias: float
    slope: float
    noise: float
    tasks: int

    def log_density(self, fraction: np.ndarray, hours: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Log likelihood of a report, up to a constant; the shapes are broadcast.

        Parameters
        ----------
        fraction : reported share done, 0 to 1
        hours, total : person-hours at the report, and in the end
        """
        true = logit(np.minimum(hours / total, 1.0 - 1e-6))  # finite where a total is hardly above the hours
        reported = logit(np.clip(fraction, 1.0 - _MOST, _MOST))
        return -0.5 * ((reported - self.bias - self.slope * true) / self.noise) ** 2


def fit_report_model(reports: pd.DataFrame, kind: str) -> ReportModel:
    """Bias, slope and noise of one kind of report, by a conjugate regression on finished tasks.

    Parameters
    ----------
    reports : the reports frame of progress
    kind : percent or quantity
    """
    prior = REPORT_PRIORS[kind]
    # A report on the last session has its true share, 1, by definition: it tells nothing of how reports err.
    known = reports.loc[
        (reports["kind"] == kind) & (reports["hours_so_far"] < reports["total_hours"] * (1 - 1e-9))
    ]
    precision = np.diag([prior.bias_sd**-2, prior.slope_sd**-2]) * prior.noise**2
    centre = np.array([prior.bias, prior.slope])
    weight = 1.0 / known.groupby("task")["task"].transform("size").to_numpy(dtype=float)
    reported = logit(np.clip(known["fraction"].to_numpy(dtype=float), 1 - _MOST, _MOST))
    true = logit((known["hours_so_far"] / known["total_hours"]).to_numpy(dtype=float))
    x = np.column_stack([np.ones(len(known)), true])
    posterior = precision + x.T @ (weight[:, None] * x)
    mean = np.linalg.solve(posterior, precision @ centre + x.T @ (weight * reported))
    squares = (
        prior.worth_tasks * prior.noise**2
        + weight @ (reported - x @ mean) ** 2
        + (mean - centre) @ precision @ (mean - centre)
    )
    tasks = known["task"].nunique()
    return ReportModel(
        bias=float(mean[0]),
        slope=float(max(mean[1], _LEAST_SLOPE)),
        noise=float(np.sqrt(squares / (prior.worth_tasks + tasks))),
        tasks=int(tasks),
    )


def open_evidence(
    design: EffortDesign, reports: pd.DataFrame, models: dict[str, ReportModel]
) -> OpenEvidence:
    """Floor and last report of each kind for the tasks under way, on the grid of totals.

    Parameters
    ----------
    design : arrays of all tasks
    reports : the reports frame of progress
    models : kind of report -> its fitted model
    """
    rows = np.flatnonzero(design.under_way)
    log_floor = design.log_hours[rows]
    log_density = np.zeros((len(rows), len(EXCESS)))
    total = np.exp(log_floor[:, None] + EXCESS)
    place = {design.tasks[row]: i for i, row in enumerate(rows)}
    for kind, model in models.items():
        last = reports.loc[(reports["kind"] == kind) & reports["task"].isin(list(place))]
        last = last.groupby("task", sort=False).last()
        at = np.array([place[task] for task in last.index], dtype=np.int64)
        if len(at):
            log_density[at] += model.log_density(
                last["fraction"].to_numpy(dtype=float)[:, None],
                last["hours_so_far"].to_numpy(dtype=float)[:, None],
                total[at],
            )
    return OpenEvidence(log_floor=log_floor, report_log_density=log_density)
