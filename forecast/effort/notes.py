"""What a reader must know about the basis of the hours, in sentences."""

from __future__ import annotations

import numpy as np

from forecast.effort.beyond import Beyond
from forecast.effort.design import PLAN_IS_OFF, EffortDesign
from forecast.effort.draws import EffortDraws
from forecast.progress import Progress

OWN_FINISHED = 5
_FAR_OUT = 4.0
_MUCH_GROWTH = 0.25


def effort_notes(
    design: EffortDesign, posterior: EffortDraws, beyond: Beyond, progress: Progress
) -> tuple[str, ...]:
    """Sentences on thin data, missing plans, odd entries and a growing plan."""
    found = [
        _thin(design),
        _unplanned(design),
        _plan_is_off(design),
        _all_alike(design),
        _far_out(design, posterior),
        _without_hours(design),
        _growing(beyond, progress),
    ]
    return tuple(sentence for sentence in found if sentence)


def _tasks(count: int) -> str:
    return "1 task is" if count == 1 else f"{count} tasks are"


def _thin(design: EffortDesign) -> str:
    finished = int(design.finished.sum())
    if finished == 0:
        return (
            "No task is finished yet: hours rest on the plan and on published learning rates, and the "
            "ranges are wide."
        )
    if finished < OWN_FINISHED:
        return f"Only {_tasks(finished)} finished: hours rest mostly on the plan."
    return ""


def _unplanned(design: EffortDesign) -> str:
    count = int(design.unplanned.sum())
    if not count:
        return ""
    if count == len(design.tasks):
        return "No task has planned hours: hours come from the log and the pieces alone."
    have = "has" if count == 1 else "have"
    return f"{count} of {len(design.tasks)} tasks {have} no planned hours: their type and pieces stand in."


def _log_ratios(design: EffortDesign) -> np.ndarray:
    rows = design.finished & np.isfinite(design.log_hours) & ~design.unplanned
    return (design.log_hours - design.offset + design.elsewhere)[rows]


def _plan_is_off(design: EffortDesign) -> str:
    ratios = _log_ratios(design)
    if not len(ratios) or abs(float(np.median(ratios))) < PLAN_IS_OFF:
        return ""
    times = float(np.exp(np.median(ratios)))
    words = f"{times:.0f} times" if times > 1 else f"one {1 / times:.0f}th of"
    return f"Finished tasks took about {words} their planned hours: look at the unit of planned_hours."


def _all_alike(design: EffortDesign) -> str:
    ratios = _log_ratios(design)
    if len(ratios) < 3 or float(np.std(ratios)) > 0.01:
        return ""
    return (
        "All finished tasks took the same share of their planned hours: how much tasks differ comes "
        "from experience elsewhere."
    )


def _far_out(design: EffortDesign, posterior: EffortDraws) -> str:
    """Hours so far from what was expected that they count for less."""
    luck = posterior.residual.mean(axis=0)
    names = [design.tasks[row] for row in posterior.rows[np.abs(luck) > _FAR_OUT]]
    if not names:
        return ""
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return f"The hours of {shown} lie far from what the rest suggests, and count for less."


def _without_hours(design: EffortDesign) -> str:
    count = int((design.finished & ~np.isfinite(design.log_hours)).sum())
    return (
        f"{_tasks(count)} done without first-time hours in the log and cannot teach anything."
        if count
        else ""
    )


def _growing(beyond: Beyond, progress: Progress) -> str:
    worked = float(progress.tasks["hours_first"].sum())
    if not len(beyond.growth_hours) or beyond.growth_hours.sum() < _MUCH_GROWTH * worked:
        return ""
    return (
        f"The plan grew by about {beyond.growth_hours.sum():.0f} hours while {worked:.0f} were worked, and "
        "the forecast has it grow on."
    )
