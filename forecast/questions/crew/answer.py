"""The plans side by side, and what the second builder gains, as frames and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.quantiles import QUANTILES, quantile_key, rounded, sample_quantile
from forecast.simulate.outlook import Outlook

SECOND = "second builder"
PLANS = ("solo", "two", "helper")


@dataclass(frozen=True, kw_only=True)
class Crew:
    """The first builder, and who would be the second.

    Attributes
    ----------
    first, others : ids; `others` is SECOND alone where build.toml names one builder
    weekly_hours : clock hours per week of an assumed second builder; None where the others are named
    assumed : True where the log does not show how often the others come
    """

    first: str
    others: tuple[str, ...]
    weekly_hours: float | None
    assumed: bool

    @property
    def name(self) -> str:
        """The others in words."""
        return "a second builder" if self.others == (SECOND,) else " and ".join(self.others)


@dataclass(frozen=True, kw_only=True)
class CrewPlan:
    """One plan of who builds.

    Attributes
    ----------
    plan : solo, two or helper
    outlook : when it finishes
    person_hours : (run,) person-hours worked until then; infinite where it does not finish
    helper_hours : (run,) clock hours of the others among them
    causes : cause that links two tasks of a critical chain -> share of the links
    chain_days : (task,) mean days of the critical chain that each open task accounts for
    """

    plan: str
    outlook: Outlook
    person_hours: np.ndarray
    helper_hours: np.ndarray
    causes: dict[str, float]
    chain_days: np.ndarray


@dataclass(frozen=True, kw_only=True)
class HelpCurve:
    """What fewer hours of the second builder would gain.

    Attributes
    ----------
    weekly_hours : (point,) clock hours per week of the others, ascending
    gain_days : (point,) median gain
    """

    weekly_hours: tuple[float, ...]
    gain_days: tuple[float, ...]

    def hours_for(self, share: float) -> float | None:
        """Weekly hours that gain a share of the whole gain, by linear interpolation; None without a gain."""
        whole = self.gain_days[-1]
        if not (np.isfinite(whole) and whole > 0):
            return None
        gains = np.maximum.accumulate([0.0, *self.gain_days])
        at = int(np.searchsorted(gains, share * whole))
        low, high = gains[at - 1], gains[at]
        hours = (0.0, *self.weekly_hours)
        part = (share * whole - low) / (high - low)
        return float(hours[at - 1] + part * (hours[at] - hours[at - 1]))


@dataclass(frozen=True, kw_only=True)
class CrewAnswer:
    """The plans side by side.

    Attributes
    ----------
    crew : who is who
    plans : solo, two, helper
    gain_days : plan -> (run,) days by which it finishes before solo; NaN where neither finishes,
        infinite where only the plan does
    days_per_helper_hour : plan -> (run,) days gained per hour that the others work
    by_type : one row per type of open work, in descending order of days gained: type, tasks, days_alone
        and days_by_two (mean days of the critical chain), days_bought (their difference)
    by_task : the same per task, with its stage
    help : what fewer hours of the second builder would gain
    findings : the result in sentences
    """

    crew: Crew
    plans: tuple[CrewPlan, ...]
    gain_days: dict[str, np.ndarray]
    days_per_helper_hour: dict[str, np.ndarray]
    by_type: pd.DataFrame
    by_task: pd.DataFrame
    help: HelpCurve
    findings: tuple[str, ...]

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.plans[0].outlook.as_of

    def plan(self, name: str) -> CrewPlan:
        """One of the plans by its name.

        Raises
        ------
        UsageError for a name that is none of PLANS.
        """
        if name not in PLANS:
            raise UsageError(f"plan must be one of {', '.join(PLANS)}. Got {name!r} instead.")
        return self.plans[PLANS.index(name)]

    def __repr__(self) -> str:
        dates = ", ".join(f"{p.plan} {p.outlook.date_at(0.5) or 'past the horizon'}" for p in self.plans)
        return (
            f"<CrewAnswer {self.plans[0].outlook.fitted.build.name}: as of {self.as_of}, even odds {dates}>"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row per plan.

        Returns
        -------
        Columns plan, those of `Outlook.to_frame` for the whole build, person_hours_p50, helper_hours_p50,
        and gain_days_p10, _p50 and _p90 (days before solo; NaN for solo)
        """
        rows = []
        for plan in self.plans:
            gains = self.gain_days.get(plan.plan, np.full(1, np.nan))
            rows.append(
                {
                    "plan": plan.plan,
                    **plan.outlook.to_frame().drop(columns="stage").iloc[-1],
                    "person_hours_p50": median_of(plan.person_hours),
                    "helper_hours_p50": median_of(plan.helper_hours),
                    **{f"gain_days_{quantile_key(q)}": quantile_of(gains, q) for q in (0.1, 0.5, 0.9)},
                }
            )
        return pd.DataFrame(rows)

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON."""
        half, most = self.help.hours_for(0.5), self.help.hours_for(0.8)
        return {
            "as_of": self.as_of.isoformat(),
            "plans": [_plan_answer(p) for p in self.plans],
            "gain_days": {p: _quantiles(g, 1) for p, g in self.gain_days.items()},
            "days_gained_per_helper_hour": {
                p: _quantiles(g, 4) for p, g in self.days_per_helper_hour.items()
            },
            "by_type": self.by_type.round(2).to_dict("records"),
            "by_task": self.by_task.round(2).to_dict("records"),
            "help": {
                "weekly_hours": [round(h, 2) for h in self.help.weekly_hours],
                "gain_days": [rounded(g, 1) for g in self.help.gain_days],
                "weekly_hours_for_half": None if half is None else rounded(half, 2),
                "weekly_hours_for_most": None if most is None else rounded(most, 2),
            },
            "findings": list(self.findings),
        }


def _plan_answer(plan: CrewPlan) -> dict[str, Any]:
    answer = plan.outlook.to_dict()
    return {
        "plan": plan.plan,
        "stages": answer["stages"],
        "build": answer["build"],
        "person_hours": _quantiles(plan.person_hours, 1),
        "helper_hours": _quantiles(plan.helper_hours, 1),
    }


def quantile_of(values: np.ndarray, level: float) -> float:
    """A quantile of the values that are not NaN; NaN when all are.

    Parameters
    ----------
    values : (run,)
    level : from 0 to 1
    """
    known = values[~np.isnan(values)]
    return sample_quantile(known, level) if len(known) else float("nan")


def median_of(values: np.ndarray) -> float:
    """The median of the values that are not NaN; NaN when all are."""
    return quantile_of(values, 0.5)


def _quantiles(values: np.ndarray, digits: int) -> dict[str, float | None]:
    return {quantile_key(q): rounded(quantile_of(values, q), digits) for q in QUANTILES}
