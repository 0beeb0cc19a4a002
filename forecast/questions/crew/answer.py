"""The answer: the plans side by side, what the second pair of hands buys, as frames and as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecast.quantiles import QUANTILES, quantile_key, sample_quantile
from forecast.simulate.outlook import Outlook

SECOND = "second builder"
PLANS = ("solo", "two", "helper")


@dataclass(frozen=True, kw_only=True)
class Crew:
    """Who builds, and who would be the second pair of hands."""

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
    """One way to man the bench.

    Attributes
    ----------
    plan : solo, two or helper
    outlook : when it finishes
    person_hours : (run,) person-hours worked until then; infinite where it does not finish
    helper_hours : (run,) of them, those of the others
    causes : what links the critical chains -> share of the links
    chain_days : (task,) mean days of the critical chain that each open task stands for
    """

    plan: str
    outlook: Outlook
    person_hours: np.ndarray
    helper_hours: np.ndarray
    causes: dict[str, float]
    chain_days: np.ndarray


@dataclass(frozen=True, kw_only=True)
class HelpCurve:
    """What fewer hours of the second builder would buy.

    Attributes
    ----------
    weekly_hours : (point,) clock hours a week of the others, ascending
    gain_days : (point,) median gain
    """

    weekly_hours: tuple[float, ...]
    gain_days: tuple[float, ...]

    def hours_for(self, share: float) -> float | None:
        """Weekly hours that buy a share of the whole gain; None when there is no gain to share."""
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
    days_per_helper_hour : plan -> (run,) of them, a day for each hour that the others work
    by_type : one row a type of open work, most days bought first: type, tasks, days_alone and
        days_by_two (mean days of the critical chain), days_bought
    by_task : the same for single tasks, with their stage
    help : what fewer hours of the second builder would buy
    findings : what it comes to, in sentences
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
        """One of the plans by its name."""
        return self.plans[PLANS.index(name)]

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON, with what the second pair of hands buys."""
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
                "gain_days": [round(g, 1) if np.isfinite(g) else None for g in self.help.gain_days],
                "weekly_hours_for_half": _rounded(self.help.hours_for(0.5)),
                "weekly_hours_for_most": _rounded(self.help.hours_for(0.8)),
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
    """A quantile of what is known; NaN when nothing is."""
    known = values[~np.isnan(values)]
    return sample_quantile(known, level) if len(known) else float("nan")


def median_of(values: np.ndarray) -> float:
    """The middle of what is known; NaN when nothing is."""
    return quantile_of(values, 0.5)


def _quantiles(values: np.ndarray, digits: int) -> dict[str, float | None]:
    return {quantile_key(q): _rounded(quantile_of(values, q), digits) for q in QUANTILES}


def _rounded(value: float | None, digits: int = 2) -> float | None:
    return round(value, digits) if value is not None and np.isfinite(value) else None
