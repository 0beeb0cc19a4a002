"""Arrays that the compiled weeks take and fill, as named tuples: numba knows their fields."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Drawn(NamedTuple):
    """(run, ...) parameters of each run: of the chain, the level, the days, company and stage ranks."""

    stop: np.ndarray
    resume: np.ndarray
    slope: np.ndarray
    link: np.ndarray
    chance_season: np.ndarray
    persistence: np.ndarray
    step_sd: np.ndarray
    shape: np.ndarray
    mean: np.ndarray
    hours_season: np.ndarray
    odds: np.ndarray
    stretch: np.ndarray
    company: np.ndarray
    visit: np.ndarray
    ranks: np.ndarray
    later: np.ndarray
    later_change: np.ndarray


class Weeks(NamedTuple):
    """(week, ...) the calendar: kinds of days, days on which anybody can come and whether there is one,
    exposure, annual terms of the season.

    `begun` describes the first week: -1 it is whole, else it has begun and was (1) or was not (0) worked
    so far; `lead` is the number of its days that are over.
    """

    kinds: np.ndarray
    free: np.ndarray
    open: np.ndarray
    exposure: np.ndarray
    season: np.ndarray
    begun: int
    lead: int


class Usual(NamedTuple):
    """What all runs have in common."""

    hours: float
    length: np.ndarray
    longest_day: float
    session_shape: float
    most_week_hours: float
    shares: np.ndarray
    visit_share: float
    parties: np.ndarray
    change_weeks: float
    gap_chance: float
    gap_link: float
    gap_log_weeks: float
    gap_log_sd: float


class State(NamedTuple):
    """(run,) silent weeks so far (0 = the last was worked), level, weeks left of a long silence."""

    silent: np.ndarray
    level: np.ndarray
    gap: np.ndarray


class Days(NamedTuple):
    """Output: (run, day) hours of the household, ranks; (run, day, person) hours of people and visitors."""

    household: np.ndarray
    people: np.ndarray
    visits: np.ndarray
    ranks: np.ndarray
