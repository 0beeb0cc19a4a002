"""Notes on the basis of the hours, for the reader of a forecast."""

from __future__ import annotations

import numpy as np

from forecast.learn.effort.design import PLAN_IS_OFF, EffortDesign
from forecast.learn.effort.draws import EffortDraws
from forecast.learn.effort.rework_and_growth import ReworkAndGrowth
from forecast.learn.progress import Progress

# Thresholds of a note, all judgements: it should be rare in a sound log, and come before a forecast is off.
OWN_FINISHED = 5  # finished tasks from which a type may rest on its own
_OUTLIER = 4.0  # in spreads
_ALIKE_SD = 0.01  # of log(actual / planned): hours filled in from the plan, not measured
_MUCH_GROWTH = 0.25  # of the hours worked
_LUMP_HOURS = 16.0  # in one row of the log: more than a day's work, whatever dates it carries
_LUMP_TIMES = 3.0  # times what the other tasks suggest


def effort_notes(
    design: EffortDesign, posterior: EffortDraws, beyond: ReworkAndGrowth, progress: Progress
) -> tuple[str, ...]:
    """Sentences on short logs, missing plans, odd entries and a growing plan.

    Parameters
    ----------
    design, posterior, beyond : of one fit
    progress : sessions and plan that it was fitted to
    """
    notes = [
        _few_finished(design),
        _unplanned(design),
        _plan_is_off(design),
        _all_alike(design),
        _outliers(design, posterior),
        _lumped(design, progress),
        _without_hours(design),
        _growing(beyond, progress),
    ]
    return tuple(sentence for sentence in notes if sentence)


def _tasks_are(count: int) -> str:
    return "1 task is" if count == 1 else f"{count} tasks are"


def _few_finished(design: EffortDesign) -> str:
    finished = int(design.finished.sum())
    if finished == 0:
        return (
            "No task is finished yet: hours rest on the plan and on published learning rates, and the "
            "ranges are wide."
        )
    if finished < OWN_FINISHED:
        return f"Only {_tasks_are(finished)} finished: hours rest mostly on the plan."
    return ""


def _unplanned(design: EffortDesign) -> str:
    count = int(design.unplanned.sum())
    if not count:
        return ""
    if count == len(design.tasks):
        return "No task has planned hours: all hours are estimated from the log and the number of pieces."
    have = "has" if count == 1 else "have"
    return (
        f"{count} of {len(design.tasks)} tasks {have} no planned hours: they are estimated from their type "
        "and number of pieces."
    )


def _log_ratios(design: EffortDesign) -> np.ndarray:
    """(finished task,) log of actual over planned hours."""
    rows = design.finished & np.isfinite(design.log_hours) & ~design.unplanned
    return (design.log_hours - design.offset + design.pooled_offset)[rows]


def _plan_is_off(design: EffortDesign) -> str:
    ratios = _log_ratios(design)
    if not len(ratios) or abs(float(np.median(ratios))) < PLAN_IS_OFF:
        return ""
    times = float(np.exp(np.median(ratios)))
    words = f"{times:.0f} times" if times > 1 else f"1/{1 / times:.0f} of"
    return f"Finished tasks took about {words} their planned hours: check the unit of planned_hours."


def _all_alike(design: EffortDesign) -> str:
    ratios = _log_ratios(design)
    if len(ratios) < 3 or float(np.std(ratios)) > _ALIKE_SD:
        return ""
    return (
        "All finished tasks took the same share of their planned hours: the spread between tasks is "
        "taken from other logs."
    )


def _outliers(design: EffortDesign, posterior: EffortDraws) -> str:
    """Hours so far off that the heavy tail gives them less weight."""
    residual = posterior.residual.mean(axis=0)
    names = [design.tasks[row] for row in posterior.rows[np.abs(residual) > _OUTLIER]]
    if not names:
        return ""
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return f"The hours of {shown} are far from what the other tasks suggest and get less weight."


def _lumped(design: EffortDesign, progress: Progress) -> str:
    """A long entry on a task that took far longer than the others: probably a catch-up for several."""
    rows = np.flatnonzero(design.finished & np.isfinite(design.log_hours))
    if len(rows) < OWN_FINISHED:
        return ""
    ratio = np.exp((design.log_hours - design.offset)[rows])
    times = dict(zip((design.tasks[r] for r in rows), ratio / np.median(ratio), strict=True))
    long = progress.sessions.loc[progress.sessions["person_hours"] >= _LUMP_HOURS]
    long = long.loc[long["task"].map(times).fillna(0.0) >= _LUMP_TIMES]
    if long.empty:
        return ""
    longest = long.sort_values("person_hours", kind="stable").iloc[-1]
    return (
        f"{longest['task']} took {times[longest['task']]:.0f} times what the other tasks suggest, with an "
        f"entry of {longest['person_hours']:.0f} hours: if that covers other work too, split it."
    )


def _without_hours(design: EffortDesign) -> str:
    count = int((design.finished & ~np.isfinite(design.log_hours)).sum())
    if not count:
        return ""
    have, them = ("has", "it") if count == 1 else ("have", "them")
    return (
        f"{_tasks_are(count)} marked done but {have} no first-time hours in the log, so the model cannot "
        f"learn from {them}."
    )


def _growing(beyond: ReworkAndGrowth, progress: Progress) -> str:
    worked = float(progress.tasks["hours_first"].sum())
    if not len(beyond.growth_hours) or beyond.growth_hours.sum() < _MUCH_GROWTH * worked:
        return ""
    return (
        f"The plan grew by about {beyond.growth_hours.sum():.0f} hours while {worked:.0f} were worked; the "
        "forecast assumes that it keeps growing at that rate."
    )
