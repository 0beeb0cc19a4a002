"""What the comparison comes to, in sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.questions.crew.answer import Crew, CrewPlan, HelpCurve, median_of, quantile_of
from forecast.simulate.fitted import Fitted
from forecast.wording import format_percent


def findings_of(
    fitted: Fitted,
    crew: Crew,
    plans: tuple[CrewPlan, ...],
    gains: dict[str, np.ndarray],
    by_type: pd.DataFrame,
    curve: HelpCurve,
) -> tuple[str, ...]:
    """Sentences, the answer first, then what it rests on."""
    if not fitted.network.tasks:
        return ("Everything in the plan is done.",)
    said = [_gain_sentence(crew, gains["two"], plans[1]), _helper_sentence(fitted, gains["helper"])]
    if median_of(gains["two"]) >= 1:
        said += [_where_sentence(by_type), _hours_sentence(curve)]
    rests_on = (*_assumptions(fitted, crew), *plans[1].outlook.notes)
    return tuple(s for s in (*said, *rests_on) if s)


def _gain_sentence(crew: Crew, gain: np.ndarray, two: CrewPlan) -> str:
    who = crew.name[0].upper() + crew.name[1:]
    if median_of(gain) < 1:
        return f"{who} would not bring the date forward: {_why_not(two)}."
    low, median, high = (quantile_of(gain, q) for q in (0.1, 0.5, 0.9))
    if not np.isfinite(median):
        return f"With {crew.name} the build is finished; alone most runs do not get that far."
    sooner = f"With {crew.name} the build is finished {_days(median)} sooner, {_days(low)}"
    return (
        f"{sooner} to {_days(high)} in 8 of 10 runs."
        if np.isfinite(high)
        else f"{sooner} or more in 9 of 10 runs."
    )


def _why_not(two: CrewPlan) -> str:
    waits = {c: two.causes.get(c, 0.0) for c in ("after", "hold", "delivery", "limit")}
    most = max(waits, key=lambda c: waits[c])
    if waits[most] < 0.3:
        return "the hours that they would come change little"
    return {
        "after": "the open tasks stand one behind another, in one lane",
        "hold": "the work waits for primer, sealant or resin",
        "delivery": "the work waits for deliveries",
        "limit": "the work waits for what the shop has too little of",
    }[most]


def _helper_sentence(fitted: Fitted, gain: np.ndarray) -> str:
    tasks = int((fitted.progress.open_tasks["crew"] == "two").sum())
    if not tasks:
        return "No open task needs two: a helper for two-person work only would have nothing to do."
    median = median_of(gain)
    work = "one two-person task" if tasks == 1 else f"{tasks} two-person tasks"
    if median < 1:
        return (
            f"A helper for the {work} only hardly moves the date: asking somebody in "
            "when two are needed does as well."
        )
    if not np.isfinite(median):
        return f"With a helper for the {work} only it is finished too."
    return f"A helper for the {work} only brings it forward by {_days(median)}."


def _where_sentence(by_type: pd.DataFrame) -> str:
    bought = by_type.loc[by_type["days_bought"] > 0]
    if bought.empty:
        return ""
    first = bought.iloc[0]
    share = first["days_bought"] / bought["days_bought"].sum()
    return (
        f"The second pair of hands buys most in {first['type']} ({format_percent(share)} of the days gained)."
    )


def _hours_sentence(curve: HelpCurve) -> str:
    half, most = curve.hours_for(0.5), curve.hours_for(0.8)
    if half is None or most is None:
        return ""
    return (
        f"{half:.1f} hours of help a week buy half of that, {most:.1f} buy four fifths "
        f"(of {curve.weekly_hours[-1]:.1f} in all)."
    )


def _assumptions(fitted: Fitted, crew: Crew) -> list[str]:
    said = []
    if crew.assumed:
        hours = "" if crew.weekly_hours is None else f" of {crew.weekly_hours:.1f} hours a week"
        said.append(f"No session of {crew.name} is in the log: their coming{hours} is an assumption.")
    tasks = fitted.progress.tasks
    if not ((tasks["shared_fraction"] > 0) & (tasks["crew"] != "two")).any():
        penalty = fitted.effort.shared_work_penalty_
        said.append(
            f"No task for one was shared by two yet: that it takes {penalty:.2f} times the person-hours "
            "is an assumption."
        )
    return said


def _days(days: float) -> str:
    whole = round(days)
    return f"{whole} day" if abs(whole) == 1 else f"{whole} days"
