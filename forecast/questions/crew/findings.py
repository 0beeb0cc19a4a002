"""The comparison in sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.questions.crew.answer import Crew, CrewPlan, HelpCurve, median_of, quantile_of
from forecast.simulate.fitted import Fitted
from forecast.wording import capitalise, format_days, format_percent

# Judgement: below 30 % of the links, no single cause explains why more hours would not help.
_MAIN_CAUSE = 0.3
_WHY_NOT = {
    "after": "the open tasks follow one another in one lane",
    "hold": "the work waits for primer, sealant or resin",
    "delivery": "the work waits for deliveries",
    "limit": "the work waits for what the shop has too little of",
}


def findings_of(
    fitted: Fitted,
    crew: Crew,
    plans: tuple[CrewPlan, ...],
    gains: dict[str, np.ndarray],
    by_type: pd.DataFrame,
    curve: HelpCurve,
) -> tuple[str, ...]:
    """The result in sentences, then what it rests on.

    Parameters
    ----------
    fitted : what was learned from the log
    crew, plans, by_type : as in `CrewAnswer`
    gains : plan -> (run,) days by which it finishes before solo
    curve : what fewer hours would gain
    """
    if not fitted.network.tasks:
        return ("Everything in the plan is done.",)
    sentences = [_gain_sentence(crew, gains["two"], plans[1]), _helper_sentence(fitted, gains["helper"])]
    if median_of(gains["two"]) >= 1:
        sentences += [_where_sentence(by_type), _hours_sentence(curve)]
    rests_on = (*_assumptions(fitted, crew), *plans[1].outlook.notes)
    return tuple(s for s in (*sentences, *rests_on) if s)


def _gain_sentence(crew: Crew, gain: np.ndarray, two: CrewPlan) -> str:
    if median_of(gain) < 1:
        return f"{capitalise(crew.name)} would not bring the date forward: {_why_not(two)}."
    low, median, high = (quantile_of(gain, q) for q in (0.1, 0.5, 0.9))
    if not np.isfinite(median):
        return f"With {crew.name} the build gets finished; alone most runs do not finish within the horizon."
    sooner = f"With {crew.name} the build is finished {_days(median)} sooner, {_days(low)}"
    if np.isfinite(high):
        return f"{sooner} to {_days(high)} in 8 of 10 runs."
    return f"{sooner} or more in 9 of 10 runs."


def _why_not(two: CrewPlan) -> str:
    waits = {cause: two.causes.get(cause, 0.0) for cause in _WHY_NOT}
    most = max(waits, key=lambda cause: waits[cause])
    return "extra hours would change little" if waits[most] < _MAIN_CAUSE else _WHY_NOT[most]


def _helper_sentence(fitted: Fitted, gain: np.ndarray) -> str:
    tasks = int((fitted.progress.open_tasks["crew"] == "two").sum())
    if not tasks:
        return "No open task needs two people: a helper for two-person work only would have nothing to do."
    median = median_of(gain)
    work = "one two-person task" if tasks == 1 else f"{tasks} two-person tasks"
    if median < 1:
        return (
            f"A helper for only the {work} hardly moves the date: "
            "calling somebody in when two people are needed does as well."
        )
    if not np.isfinite(median):
        return f"With a helper for only the {work} the build gets finished too."
    return f"A helper for only the {work} brings the date forward by {_days(median)}."


def _where_sentence(by_type: pd.DataFrame) -> str:
    gained = by_type.loc[by_type["days_bought"] > 0]
    if gained.empty:
        return ""
    first = gained.iloc[0]
    share = first["days_bought"] / gained["days_bought"].sum()
    return (
        f"The second builder gains most time in {first['type']} ({format_percent(share)} of the days gained)."
    )


def _hours_sentence(curve: HelpCurve) -> str:
    half, most = curve.hours_for(0.5), curve.hours_for(0.8)
    if half is None or most is None:
        return ""
    return (
        f"{half:.1f} hours of help per week give half of that gain, {most:.1f} give 80 % "
        f"(of {curve.weekly_hours[-1]:.1f} in all)."
    )


def _assumptions(fitted: Fitted, crew: Crew) -> list[str]:
    sentences = []
    if crew.assumed:
        hours = "" if crew.weekly_hours is None else f" for {crew.weekly_hours:.1f} hours per week"
        sentences.append(f"The log has no session of {crew.name}: that they come{hours} is an assumption.")
    tasks = fitted.progress.tasks
    if not ((tasks["shared_fraction"] > 0) & (tasks["crew"] != "two")).any():
        penalty = fitted.effort.shared_work_penalty_
        sentences.append(
            f"No task for one has been shared by two so far: that sharing takes {penalty:.2f} times the "
            "person-hours is an assumption."
        )
    return sentences


def _days(days: float) -> str:
    return format_days(round(days))
