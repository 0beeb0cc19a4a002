"""The coming weeks, compiled: one week of one run at a time, all random numbers from the generator given.

A session takes the same number of random numbers whoever comes to it, so that visitors leave the days of
the household as they are.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from forecast.compiled import compile_cached
from forecast.learn.bench_time.records import Days, Drawn, State, Usual, Weeks


@njit(inline="always")
def week_hours(
    rng: Any,
    run: int,
    week: int,
    drawn: Drawn,
    weeks: Weeks,
    state: State,
    usual: Usual,
) -> float:
    """Clock hours of one whole week, 0 in a silent one; updates the state."""
    begun = weeks.begun if week == 0 else -1
    if begun < 0:
        # A week that has begun is part of the log, so its level is already the current one.
        state.level[run] = (
            drawn.persistence[run] * state.level[run] + drawn.step_sd[run] * rng.standard_normal()
        )
    if not weeks.open[week]:
        return 0.0
    silent = state.silent[run]
    level = state.level[run] + drawn.later_change[run] * (1.0 - np.exp(-week / usual.change_weeks))
    if state.gap[run] > 0.0:
        state.gap[run] -= 1.0
        state.silent[run] = 1.0
        return 0.0
    if begun < 0 and rng.random() < usual.gap_chance * np.exp(-usual.gap_link * level):
        state.gap[run] = np.exp(usual.gap_log_weeks + usual.gap_log_sd * rng.standard_normal())
        state.silent[run] = 1.0
        return 0.0
    logit = drawn.link[run] * level
    log_hours = drawn.mean[run] + level
    for k in range(weeks.season.shape[1]):
        logit += drawn.chance_season[run, k] * weeks.season[week, k]
        log_hours += drawn.hours_season[run, k] * weeks.season[week, k]
    logit += (
        drawn.resume[run] + drawn.slope[run] * np.log(max(silent, 1.0)) if silent > 0 else -drawn.stop[run]
    )
    chance = 1.0 / (1.0 + np.exp(-logit))
    if begun == 1:
        chance = 1.0
    elif begun == 0:
        # Its first days have passed without a session.
        chance = chance * drawn.later[run] / (1.0 - chance + chance * drawn.later[run])
    if rng.random() >= chance:
        state.silent[run] = silent + 1.0
        return 0.0
    state.silent[run] = 0.0
    shape = drawn.shape[run]
    return min(np.exp(log_hours) * rng.standard_gamma(shape) / shape, usual.most_week_hours)


@njit(inline="always")
def place_on_days(
    rng: Any, run: int, hours: float, kinds: np.ndarray, free: np.ndarray, drawn: Drawn, usual: Usual,
    out: np.ndarray,
) -> None:  # fmt: skip
    """Spread the hours of a worked week over its 7 days.

    They add up to the week's, unless no day is free or a day would exceed the longest.
    """
    out[:] = 0.0
    # 0.05: three minutes, so that the odds of a tiny week stay above nothing; 1e13: odds within floats.
    fuller = (max(hours, 0.05) / usual.hours) ** drawn.stretch[run]
    total, likeliest, best = 0.0, -1, -1.0
    for day in range(7):
        if not free[day]:
            continue
        odds = min(max(drawn.odds[run, kinds[day]] * fuller, 1e-13), 1e13)
        u = rng.random()
        if odds / (u + 1e-6) > best:
            likeliest, best = day, odds / (u + 1e-6)
        if u * (1.0 + odds) < odds:
            out[day] = usual.length[kinds[day]] * rng.standard_gamma(usual.session_shape)
            total += out[day]
    if likeliest < 0:
        return
    if total <= 0.0:
        # A worked week has a session: if none was drawn, it is on the day that came closest to one.
        out[likeliest] = total = 1.0
    for day in range(7):
        out[day] = min(out[day] * hours / total, usual.longest_day)


@njit(inline="always")
def stage_rank(u: float, run: int, drawn: Drawn) -> int:
    """Rank of a session's stage by recency: 0 = the stage of the session before."""
    rank = 0
    for k in range(drawn.ranks.shape[1] - 1):
        rank += u >= drawn.ranks[run, k]
    return rank


@njit(inline="always")
def _pattern(u: float, run: int, drawn: Drawn) -> int:
    """Index of a day's pattern of company; the likeliest come first, so that few are tried."""
    last = drawn.company.shape[1] - 1
    k = 0
    while k < last and u >= drawn.company[run, k]:
        k += 1
    return k


@compile_cached
def simulate_weeks(
    rng: Any, runs: np.ndarray, first: int, last: int, drawn: Drawn, weeks: Weeks, usual: Usual,
    state: State, out: Days,
) -> None:  # fmt: skip
    """Simulate some runs from one generator, week by week, so that more weeks leave the first as they are.

    Row i of `out` is that of the i-th of `runs`, its first day the Monday of week `first`.
    """
    day_hours = np.zeros(7)
    for week in range(first, last):
        for row in range(len(runs)):
            run = runs[row]
            hours = week_hours(rng, run, week, drawn, weeks, state, usual)
            hours *= weeks.exposure[week]
            if hours > 0:
                place_on_days(rng, run, hours, weeks.kinds[week], weeks.free[week], drawn, usual, day_hours)
            rank = 0
            for day in range(7):
                at = 7 * (week - first) + day
                if hours > 0 and day_hours[day] > 0 and (week > 0 or day >= weeks.lead):
                    there = day_hours[day]
                    u_company, u_visit, u_party = rng.random(), rng.random(), rng.random()
                    rank = stage_rank(rng.random(), run, drawn)
                    pattern = _pattern(u_company, run, drawn)
                    for person in range(usual.shares.shape[1]):
                        out.people[row, at, person] = there * usual.shares[pattern, person]
                    if u_visit < drawn.visit[run]:
                        for visitor in range(len(usual.parties)):
                            if u_party < usual.parties[visitor]:
                                out.visits[row, at, visitor] = there * usual.visit_share
                    out.household[row, at] = there
                out.ranks[row, at] = rank


@compile_cached
def newcomer_days(
    rng: Any, household: np.ndarray, together: np.ndarray, alone: np.ndarray, day_chance: np.ndarray,
    session_scale: float, session_shape: float, longest_day: float, out: np.ndarray,
) -> None:  # fmt: skip
    """(run, day) hours of somebody without a log, day by day: with the household, or now and then alone.

    `together` is the (run,) chance of coming when the household does, `alone` the (run,) sessions of their
    own per week and `day_chance` the (day,) share of them that falls on a day. The same random numbers are
    drawn whatever the expected hours, so that more of them never mean fewer on any day.
    """
    for day in range(household.shape[1]):
        for run in range(household.shape[0]):
            u_joined, u_alone = rng.random(), rng.random()
            rate = alone[run] * day_chance[day]
            length = session_scale * rng.standard_gamma(session_shape) * max(rate, 1.0)
            there = 0.0
            if u_joined < together[run]:
                there = household[run, day]
            if u_alone < rate:
                there = max(there, min(length, longest_day))
            out[run, day] = there
