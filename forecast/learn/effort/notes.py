"""What a reader must know about the basis of the hours, in sentences."""

from __future__ import annotations

import numpy as np

from forecast.learn.effort.design import PLAN_IS_OFF, EffortDesign
from forecast.learn.effort.draws import EffortDraws
from forecast.learn.effort.rework_and_growth import ReworkAndGrowth
from forecast.learn.progress import Progress

OWN_FINISHED = 5
_FAR_OUT = 4.0
_MUCH_GROWTH = 0.25
_LUMP_HOURS = 16.0  # in one row of the log: more than one day's work, whatever it says of the days
_LUMP_TIMES = 3.0


def effort_notes(
    design: EffortDesign, posterior: EffortDraws, beyond: ReworkAndGrowth, progress: Progress
) -> tuple[str, ...]:
    """Sentences on thin data, missing plans, odd entries and a growing plan."""
    found = [
        _thin(design),
        _unplanned(design),
        _plan_is_off(design),
        _all_alike(design),
        _far_out(design, posterior),
        _lumped(design, progress),
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
    return (design.log_hours - design.offset + design.pooled_offset)[rows]


def _plan_is_off(design: EffortDesign) -> str:
    ratios = _log_ratios(design)
    if not len(ratios) or abs(float(np.median(ratios))) < PLAN_IS_OFF:
        return ""
    times = float(np.exp(np.median(ratios)))
    words = f"{times:.0f} times" if times > 1 else f"1/{1 / times:.0f} of"
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


def _lumped(design: EffortDesign, progress: Progress) -> str:
    """One long entry that makes a task far longer than the others: a catch-up entry for several?"""
    rows = np.flatnonzero(design.finished & np.isfinite(design.log_hours))
    if len(rows) < OWN_FINISHED:
        return ""
    ratio = np.exp((design.log_hours - design.offset)[rows])
    times = dict(zip((design.tasks[r] for r in rows), ratio / np.median(ratio), strict=True))
    found = progress.sessions.loc[progress.sessions["person_hours"] >= _LUMP_HOURS]
    found = found.loc[found["task"].map(times).fillna(0.0) >= _LUMP_TIMES]
    if found.empty:
        return ""
    odd = found.sort_values("person_hours", kind="stable").iloc[-1]
    return (
        f"{odd['task']} took {times[odd['task']]:.0f} times what the other tasks suggest, with an entry of "
        f"{odd['person_hours']:.0f} hours: if that stands for other work too, split it."
    )


def _without_hours(design: EffortDesign) -> str:
    count = int((design.finished & ~np.isfinite(design.log_hours)).sum())
    return (
        f"{_tasks(count)} done without first-time hours in the log and cannot teach anything."
        if count
        else ""
    )


def _growing(beyond: ReworkAndGrowth, progress: Progress) -> str:
    worked = float(progress.tasks["hours_first"].sum())
    if not len(beyond.growth_hours) or beyond.growth_hours.sum() < _MUCH_GROWTH * worked:
        return ""
    return (
        f"The plan grew by about {beyond.growth_hours.sum():.0f} hours while {worked:.0f} were worked, and "
        "the forecast has it grow on."
    )
