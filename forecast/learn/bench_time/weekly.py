"""The log as weeks, for the chain and the level: what each week shows, and what it cannot show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.learn.bench_time.habit import Habit
from forecast.learn.bench_time.history import SUNDAY, History

# Judgements. Scaling up a week with less exposure would multiply its hours by more than three; a silent week
# counts as silence once half of the usual sessions could have been.
_LEAST_EXPOSURE = 0.3
_CHAIN_EXPOSURE = 0.5
# A week of minutes means "hardly anything", not a twentieth of the usual level: its log would dominate.
_LEAST_OF_MEDIAN = 0.15


@dataclass(frozen=True, kw_only=True)
class WeeklyLog:
    """(week,) arrays over the weeks of the log.

    Attributes
    ----------
    hours : clock hours of the household
    exposure : share of the habit's sessions that fall on free days up to `as_of`, 0..1
    tells : False for a silent week in which hardly anybody could come, or which is not over
    log_hours : log of the hours scaled up to a whole week, NaN where silent
    noise_scale : noise variance of `log_hours` relative to that of a whole week
    """

    hours: np.ndarray
    exposure: np.ndarray
    tells: np.ndarray
    log_hours: np.ndarray
    noise_scale: np.ndarray

    @property
    def worked(self) -> np.ndarray:
        """True where there was a session."""
        return np.asarray(self.hours > 0)


def weekly_log(history: History, habit: Habit) -> WeeklyLog:
    """The weeks of a log; one cut short by absence, the first session or `as_of` weighs less.

    Parameters
    ----------
    history : the log as days
    habit : share of a week's sessions by kind of day
    """
    hours = history.household.reshape(-1, 7).sum(axis=1)
    # From the Monday of the first week: that a log starts on the day of a session is no chance.
    counted = history.open_days & (np.arange(len(history.kinds)) < history.known_days)
    exposure = exposure_of(history.kinds.reshape(-1, 7), counted.reshape(-1, 7), habit)
    worked = hours > 0
    tells = worked | (exposure >= _CHAIN_EXPOSURE)
    if history.as_of.weekday() != SUNDAY and not worked[-1]:
        tells[-1] = False
    use = worked & (exposure >= _LEAST_EXPOSURE)
    floor = _LEAST_OF_MEDIAN * float(np.median(hours[use])) if use.any() else 1.0
    whole = np.maximum(hours, floor) / np.maximum(exposure, _LEAST_EXPOSURE)
    return WeeklyLog(
        hours=hours,
        exposure=exposure,
        tells=tells,
        log_hours=np.where(use, np.log(whole), np.nan),
        noise_scale=1 / np.clip(exposure, _LEAST_EXPOSURE, 1.0),
    )


def exposure_of(kinds: np.ndarray, free: np.ndarray, habit: Habit) -> np.ndarray:
    """(week,) share of the habit's sessions that fall on free days; `kinds` and `free` are (week, 7)."""
    chance = habit.chance[kinds]
    return np.asarray((chance * free).sum(axis=1) / chance.sum(axis=1))
