"""The log as days and weeks: who was at the bench on each day, and who could have been.

Weeks run from Monday to Sunday (ISO 8601). The household's hours of a day are those of whoever stayed
longest: a pair shares one habit, and who of them came is modelled apart (see people.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import pandas as pd

import forecast.learn.bench_time.priors as priors
from forecast.files.logbook import Away, Builder

SUNDAY = 6
_LONGEST_DAY = 24.0


@dataclass(frozen=True, kw_only=True)
class History:
    """One row per day, from the Monday of the first session's week to the Sunday of `as_of`'s week.

    Attributes
    ----------
    origin : the first Monday
    as_of : the last day that counts; later days are unknown
    people : ids of the named people, in the order of build.toml
    hours : (day, person) clock hours
    helper_hours : (day,) clock hours of the longest row with visitors without a name
    helpers : (day,) how many of them, weighted by their hours
    spread : (day,) True where the hours come from a row over several days
    kinds : (day,) 0 Monday to 6 Sunday; a public holiday counts as a Sunday
    available : (day, person) False while away or not yet joined
    main : (person,) True for those with at least half of the household's recent hours: while none of
        them can come, the household has no session
    """

    origin: date
    as_of: date
    people: tuple[str, ...]
    hours: np.ndarray
    helper_hours: np.ndarray
    helpers: np.ndarray
    spread: np.ndarray
    kinds: np.ndarray
    available: np.ndarray
    main: np.ndarray

    @property
    def known_days(self) -> int:
        """Days up to and including `as_of`."""
        return (self.as_of - self.origin).days + 1

    @property
    def known(self) -> np.ndarray:
        """(day,) True from the first session to `as_of`."""
        days = np.arange(len(self.kinds))
        first = int(np.argmax(self.household > 0)) if self.household.any() else len(days)
        return np.asarray((days >= first) & (days < self.known_days))

    @property
    def household(self) -> np.ndarray:
        """(day,) clock hours of whoever stayed longest."""
        return np.asarray(self.hours.max(axis=1, initial=0.0))

    @property
    def age_weeks(self) -> np.ndarray:
        """(day,) weeks before `as_of`; negative after it."""
        return np.asarray((self.known_days - 1 - np.arange(len(self.kinds))) / 7)

    @property
    def weeks(self) -> int:
        """Weeks from the first session's to that of `as_of`, both included."""
        return len(self.kinds) // 7

    @property
    def open_days(self) -> np.ndarray:
        """(day,) True where one of the main people could have come."""
        return np.asarray(self.available[:, self.main].any(axis=1))


def read_history(
    sessions: pd.DataFrame,
    builders: Sequence[Builder],
    away: Sequence[Away],
    as_of: date,
    country: str | None,
) -> History:
    """The sessions by day; a row over several days is spread evenly over the days that anybody could come.

    Parameters
    ----------
    sessions : the sessions frame of the logbook
    builders, away : of the build folder
    as_of : the last day that counts; rows that end later are left out
    country : ISO 3166 code of the public holidays; None = none
    """
    rows = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)]
    people = _people(rows, builders)
    first = as_of if rows.empty else min(rows["date"].min().date(), as_of)
    origin = first - timedelta(days=first.weekday())
    days = (as_of - origin).days // 7 * 7 + 7
    available = availability(origin, days, people, builders, away)
    hours, helper_hours, helpers, spread = _spread_rows(rows, origin, days, people, available)
    hours = np.minimum(hours, _LONGEST_DAY)
    return History(
        origin=origin,
        as_of=as_of,
        people=people,
        hours=hours,
        helper_hours=np.minimum(helper_hours, _LONGEST_DAY),
        helpers=helpers,
        spread=spread,
        kinds=day_kinds(origin, days, country),
        available=available,
        main=_main_people(hours, available, (as_of - origin).days),
    )


def _people(rows: pd.DataFrame, builders: Sequence[Builder]) -> tuple[str, ...]:
    known = [b.id for b in builders]
    logged = {name for text in rows["builders"].unique() for name in text.split("+")}
    return (*known, *sorted(logged - set(known))) or ("A",)


def _main_people(hours: np.ndarray, available: np.ndarray, last_day: int) -> np.ndarray:
    """(person,) who has at least half of the recent hours; before any session, whoever joined first."""
    if not hours.any():
        return np.arange(hours.shape[1]) == np.argmax(available.sum(axis=0))
    age_weeks = (last_day - np.arange(len(hours))) / 7
    fade = 0.5 ** (np.maximum(age_weeks, 0.0) / priors.COMPANY_HALF_LIFE_WEEKS)
    own, all_of_them = fade @ hours, float(fade @ hours.max(axis=1))
    return np.asarray(own >= min(0.5 * all_of_them, own.max()))


def _spread_rows(
    rows: pd.DataFrame, origin: date, days: int, people: tuple[str, ...], available: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(day, person) hours; (day,) hours and number of visitors; (day,) whether a row of several days."""
    first = _day_numbers(rows["date"], origin)
    span = _day_numbers(rows["until"], origin) - first + 1
    row = np.repeat(np.arange(len(rows)), span)
    day = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(span) - span, span)
    codes, names = pd.factorize(rows["builders"].to_numpy(dtype=object))
    member = np.array([[p in text.split("+") for p in people] for text in names], dtype=bool)
    member = member.reshape(len(names), len(people))[codes]
    can = (available[day] & member[row]).any(axis=1)
    usable = np.bincount(row, weights=can, minlength=len(rows))
    share = np.where(usable[row] > 0, can / np.maximum(usable[row], 1.0), 1.0 / span[row])
    each = rows["hours"].to_numpy(dtype=float)[row] * share
    hours = np.stack(
        [np.bincount(day, weights=each * member[row, p], minlength=days) for p in range(len(people))], axis=1
    )
    helpers = rows["helpers"].to_numpy(dtype=float)[row]
    helper_hours = np.bincount(day, weights=each * (helpers > 0), minlength=days)
    number = np.bincount(day, weights=each * helpers, minlength=days) / np.maximum(helper_hours, 1e-9)
    spread = np.bincount(day, weights=(span[row] > 1) & (each > 0), minlength=days) > 0
    return hours, helper_hours, number, spread


def _day_numbers(days: pd.Series, origin: date) -> np.ndarray:
    return (days.to_numpy().astype("datetime64[D]") - np.datetime64(origin, "D")).astype(np.int64)


def availability(
    start: date,
    days: int,
    people: tuple[str, ...],
    builders: Sequence[Builder],
    away: Sequence[Away],
) -> np.ndarray:
    """(day, person) True where a person is not away and has joined.

    Parameters
    ----------
    start, days : the first day, and the number of days
    people : ids of the columns
    builders, away : of the build folder
    """
    free = np.ones((days, len(people)), dtype=bool)
    for absence in away:
        lo, hi = (absence.start - start).days, (absence.end - start).days + 1
        who = [p for p, name in enumerate(people) if absence.builder in (None, name)]
        free[max(lo, 0) : max(hi, 0), who] = False
    for builder in builders:
        if builder.joins is not None:
            free[: max((builder.joins - start).days, 0), people.index(builder.id)] = False
    return free


def day_kinds(start: date, days: int, country: str | None) -> np.ndarray:
    """(day,) 0 Monday to 6 Sunday; a public holiday of `country` counts as a Sunday.

    Parameters
    ----------
    start, days : the first day, and the number of days
    country : ISO 3166 code; None = no public holidays

    Examples
    --------
    >>> day_kinds(date(2026, 12, 24), 4, "GB").tolist()
    [3, 6, 6, 6]
    """
    kinds = (start.weekday() + np.arange(days)) % 7
    if country is None:
        return kinds
    end = start + timedelta(days=days - 1)
    for year in range(start.year, end.year + 1):
        for day in _public_holidays(country, year):
            if start <= day <= end:
                kinds[(day - start).days] = SUNDAY
    return kinds


@lru_cache(maxsize=512)
def _public_holidays(country: str, year: int) -> tuple[date, ...]:
    import holidays

    return tuple(holidays.country_holidays(country, years=year))
