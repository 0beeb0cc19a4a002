"""Earned schedule: progress along the planned curve, in time rather than in money.

Lipke, "Schedule is Different", The Measurable News, March 2003; the forms with the index of time are
those of Lipke & Henderson 2006. Unlike the classic index of earned value, SPI(t) does not return to 1
on a project that ends late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class EarnedSchedule:
    """Progress along the planned curve; all times in periods of that curve.

    The forecasts use `performance_index` only; the other figures are checked against published ones.

    Attributes
    ----------
    periods : ES, the time at which the plan has earned as much as the work has now
    actual_time : AT, the time that the work took
    planned_duration : PD, the time at which the plan has earned everything

    Examples
    --------
    >>> planned = [0, 100, 250, 450, 700, 900, 1000]
    >>> found = earned_schedule(planned, earned=600, actual_time=4)
    >>> found.periods, round(found.performance_index, 3), round(found.estimate_at_completion, 3)
    (3.6, 0.9, 6.667)
    """

    periods: float
    actual_time: float
    planned_duration: float

    @property
    def schedule_variance(self) -> float:
        """SV(t) = ES - AT; below zero: late."""
        return self.periods - self.actual_time

    @property
    def performance_index(self) -> float:
        """SPI(t) = ES / AT."""
        return self.periods / self.actual_time

    @property
    def estimate_at_completion(self) -> float:
        """IEAC(t) = PD / SPI(t): the duration at the same pace; infinite before any progress."""
        return self.planned_duration / self.performance_index if self.periods > 0 else float("inf")


def earned_schedule(planned_value: ArrayLike, *, earned: float, actual_time: float) -> EarnedSchedule:
    """Earned schedule on a planned curve.

    Parameters
    ----------
    planned_value : (period + 1,) planned to be earned by the end of each period, from 0, never falling;
        the plan ends with the first period that reaches the last value
    earned : earned so far, in the same unit
    actual_time : elapsed periods, above 0

    Raises
    ------
    ValueError for a curve that falls, or does not begin at 0 and end above it, or for no elapsed time.
    """
    pv = np.asarray(planned_value, dtype=float)
    if pv.ndim != 1 or len(pv) < 2 or pv[0] != 0 or pv[-1] <= 0 or np.any(np.diff(pv) < 0):
        raise ValueError("planned_value must begin at 0, never fall, and end above 0.")
    if not actual_time > 0:
        raise ValueError(f"actual_time must be above 0. Got {actual_time!r} instead.")
    pv = pv[: int(np.searchsorted(pv, pv[-1])) + 1]
    return EarnedSchedule(
        periods=time_of(pv, earned), actual_time=float(actual_time), planned_duration=float(len(pv) - 1)
    )


def time_of(planned_value: np.ndarray, value: float) -> float:
    """ES = C + (EV - PV_C) / (PV_C+1 - PV_C), C the last whole period with PV_C <= EV.

    Parameters
    ----------
    planned_value : (period + 1,) from 0, never falling
    value : EV, in the same unit

    Examples
    --------
    >>> time_of(np.array([0.0, 100.0, 250.0]), 175.0)
    1.5
    """
    whole = int(np.searchsorted(planned_value, value, side="right")) - 1
    if whole >= len(planned_value) - 1:
        return float(len(planned_value) - 1)
    step = planned_value[whole + 1] - planned_value[whole]
    return float(whole + (value - planned_value[whole]) / step)
