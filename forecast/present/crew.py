"""The comparison of crews as a table."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.present.finish import format_middle_80
from forecast.quantiles import sample_quantile
from forecast.questions.crew import CrewAnswer, CrewPlan
from forecast.wording import format_short_date


def plan_name(answer: CrewAnswer, plan: CrewPlan) -> str:
    """A plan as a title."""
    names = {"solo": "Alone", "two": f"With {answer.crew.name}", "helper": "Helper for two-person work"}
    return names[plan.plan]


def crew_rows(answer: CrewAnswer) -> pd.DataFrame:
    """One row per plan, every cell a text; ranges are the central 80 % of the runs."""
    columns = ["Plan", "Even odds", "80 % sure", "Days gained", "Person-hours", "Hours of help"]
    return pd.DataFrame([_crew_row(answer, plan) for plan in answer.plans], columns=columns)


def _crew_row(answer: CrewAnswer, plan: CrewPlan) -> tuple[str, ...]:
    gain = answer.gain_days.get(plan.plan)
    return (
        plan_name(answer, plan),
        format_short_date(plan.outlook.date_at(0.50, None)),
        format_short_date(plan.outlook.date_at(0.80, None)),
        "" if gain is None else _format_gain(gain),
        _format_total(plan.person_hours),
        "" if gain is None else format_middle_80(plan.helper_hours),
    )


def _format_total(hours: np.ndarray) -> str:
    return format_middle_80(hours) if np.isfinite(sample_quantile(hours, 0.90)) else "past horizon"


def _format_gain(days: np.ndarray) -> str:
    """The central 80 % of the days gained, among the runs in which either plan finishes."""
    known = days[~np.isnan(days)]
    if not len(known):
        return "not known"
    low, high = sample_quantile(known, 0.10), sample_quantile(known, 0.90)
    return f"{low:,.0f} to {high:,.0f}" if np.isfinite(high) else f"{low:,.0f} or more"
