"""The truth about an invented build and its builders: every parameter of the simulation."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from math import inf

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortTruth:
    """How many person-hours a task takes.

    Log hours of a task = log planned hours, scaled by `size_slope` around `typical_hours`, + level + the
    type's effect + the learning on the pieces of its lot (piece x of a type costs in proportion to
    x ** slope, and the mean piece of the plan costs as planned) + the repeat effect + the pair's own
    effect + a drifting common term + a residual.

    Attributes
    ----------
    type_effect, learning_slope, residual_sd : type -> log ratio, exponent (<= 0), sd of the residual
    repeat, pair_sd : log effect of being a repeat, and the sd of the effect that a pair shares
    drift_sd, drift_tasks : sd of the drift, and the number of tasks over which it fades to 1/e
    tail_degrees : degrees of freedom of the t residual; infinite = normal
    disaster_chance, disaster_times : chance that a task goes badly wrong, and by what factor
    shared_penalty : person-hours of two on one task as a multiple of one alone
    """

    level: float = 0.0
    size_slope: float = 1.0
    typical_hours: float = 4.0
    type_effect: dict[str, float] = field(default_factory=dict)
    learning_slope: dict[str, float] = field(default_factory=dict)
    residual_sd: dict[str, float] = field(default_factory=dict)
    repeat: float = 0.0
    pair_sd: float = 0.0
    drift_sd: float = 0.0
    drift_tasks: float = 40.0
    tail_degrees: float = inf
    disaster_chance: float = 0.0
    disaster_times: float = 1.0
    shared_penalty: float = 1.14


@dataclass(frozen=True, slots=True, kw_only=True)
class BeyondTruth:
    """Work that is not in the plan: rework, work outside the plan, added tasks.

    Attributes
    ----------
    rework_chance, rework_share, rework_log_sd : chance per task; median share of its hours, and log sd
    rework_later_chance : share of the rework that is found only days after the task was finished
    outside_per_hour, outside_hours : pieces of outside work per planned person-hour, and their mean hours
    added_per_hour, added_hours : tasks added per planned person-hour, and their mean planned hours
    """

    rework_chance: float = 0.0
    rework_share: float = 0.25
    rework_log_sd: float = 0.7
    rework_later_chance: float = 0.4
    outside_per_hour: float = 0.0
    outside_hours: float = 2.0
    added_per_hour: float = 0.0
    added_hours: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportTruth:
    """How the builder reports on a task under way.

    logit(reported share) = bias + stretch * logit(true share of the hours) + noise, rounded to 5 %.

    Attributes
    ----------
    percent_chance : chance of such a report at the end of a session on a task of six hours or more
    count_chance : share of the tasks whose pieces are counted session by session
    """

    percent_chance: float = 0.0
    bias: float = 0.2
    stretch: float = 1.15
    noise: float = 0.4
    count_chance: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HabitTruth:
    """When the household is at the bench, and who of it.

    Attributes
    ----------
    day_chance : Monday to Sunday, chance of a session in a week of building
    session_hours, session_shape : mean and gamma shape of a session at the usual level
    stop_chance : chance per week that a building spell ends
    short_silence_weeks, long_silence_weeks, long_chance : mean lengths, and the share of long ones
    level_sd, level_weeks : of the level (log hours per week): long-run sd, weeks until it fades to 1/e
    both_chance : chance that both builders come to a session, when there are two
    helper_chance, helper_hours : chance per session of a helper without a name, and mean hours; the chance
        doubles when two-person work is ready
    call_chance : the same for somebody alone with only two-person work to do, who calls in help
    """

    day_chance: tuple[float, ...]
    session_hours: float
    session_shape: float = 4.2
    stop_chance: float = 0.14
    short_silence_weeks: float = 1.5
    long_silence_weeks: float = 8.0
    long_chance: float = 0.06
    level_sd: float = 0.5
    level_weeks: float = 30.0
    both_chance: float = 0.88
    helper_chance: float = 0.06
    helper_hours: float = 2.0
    call_chance: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderTruth:
    """In which order a builder takes ready tasks.

    Attributes
    ----------
    run_ahead : share of the sessions that go to a later stage than the first open one
    stick : chance that a session continues with the stage of the last one
    wander : chance that another task than the next in the plan is started
    order_ahead : share of the stage before that is finished when the next delivery is ordered
    """

    run_ahead: float = 0.15
    stick: float = 0.6
    wander: float = 0.12
    order_ahead: float = 0.3


@dataclass(frozen=True, kw_only=True)
class Truth:
    """The truth about one invented build, its outcome included.

    Attributes
    ----------
    effort, beyond, reports, habit, order : the parameters
    types : task -> its true type, whatever the plan says
    base_hours : task -> planned hours behind the truth, also where the plan lacks them
    total_hours : task -> person-hours without rework
    rework_hours : task -> person-hours of rework
    outside_hours : person-hours outside the plan
    stage_finish : stage -> the day on which it was finished
    build_finish : the day on which the last stage was finished
    weekly_hours : (week,) person-hours from the Monday of the first session to the end
    """

    effort: EffortTruth
    beyond: BeyondTruth
    reports: ReportTruth
    habit: HabitTruth
    order: OrderTruth
    types: dict[str, str]
    base_hours: dict[str, float]
    total_hours: dict[str, float]
    rework_hours: dict[str, float]
    outside_hours: float
    stage_finish: dict[str, date]
    build_finish: date
    weekly_hours: np.ndarray
