"""Priors of the bench-time model, used while a log is too short.

Figures with "four logs" are this project's own measurements on four long kit-build logs (8,185 hours,
2017-2026, one to eight people); the others are assumptions, marked as such.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Builders differ by a t distribution of few degrees: close to what the logs have in common, and quickly
# outweighed for a builder who is unlike them. Its scales are wider than a normal hierarchy fitted to the four
# logs gives (tests/test_bench_time_beliefs.py), since four are few.
DEGREES = 4.0

# Four logs: P(silent week after a worked one) .15-.18, P(silent after silent) .44-.71, streaks up to
# 18 weeks. The chance to resume after d silent weeks: logit = RESUME + RESUME_SLOPE log d. The slope is an
# assumption.
STOP_LOGIT, STOP_SCALE = float(np.log(0.165 / 0.835)), 0.3
RESUME_LOGIT, RESUME_SCALE = 0.0, 0.5
RESUME_SLOPE, RESUME_SLOPE_SCALE = -0.6, 0.25
# Weeks are silent more often while the level is low: on the logit of a worked week, for one unit of the
# log of the level. An assumption, checked by out-of-sample score (benchmarks/skill/bench_time.py).
LEVEL_LINK, LEVEL_LINK_SCALE = 0.3, 0.25

# Four logs: 62-79 % of weeks worked. Single years had 94 to 1,685 person-hours, but most of that is how the
# level of one builder moves; over all years two of them had 234 and 416 clock hours a year, which is 6 and 11
# a worked week. How far builders differ is an assumption in keeping with that: a factor of 2.5, four in five.
WORKED_SHARE = 0.72
WEEKLY_HOURS, WEEKLY_HOURS_LOG_SCALE = 8.0, 0.6
# Builders' own guesses of their weekly hours: no published figure; an assumption.
STATED_HOURS_LOG_SD = 0.5
# How many weeks of log weigh as much as a stated figure; an assumption.
STATED_WEEKS = 6.0

# Four logs: the spread of 13-week totals is .54-.70, yearly hours vary by factors of 2 to 5, the
# autocorrelation of weekly hours is .5-.6 at one week and up to .27 at 13 weeks.
LEVEL_WEEKS = np.array([6.0, 15.0, 35.0, 80.0, 180.0])
LEVEL_WEEKS_PRIOR = np.array([0.1, 0.2, 0.3, 0.25, 0.15])
LEVEL_SD = np.array([0.12, 0.25, 0.4, 0.6, 0.85, 1.15])
LEVEL_SD_PRIOR = np.array([0.04, 0.1, 0.22, 0.3, 0.22, 0.12])
WEEK_SHAPE = np.array([1.2, 2.0, 3.3, 5.5, 9.0, 18.0])
WEEK_SHAPE_PRIOR = np.array([0.05, 0.18, 0.3, 0.27, 0.13, 0.07])

# Four logs: a session on .32-.40 of Saturdays and Sundays, .13-.31 of weekdays, in worked weeks
# (about .72 of all) therefore about .5 and .3. Habits differ, so the prior weighs half a week.
DAY_CHANCE = np.array([0.3, 0.3, 0.3, 0.3, 0.3, 0.5, 0.5])
DAY_PRIOR_WEEKS = 0.5
# Four logs: median session 2.5-3 hours a person, gamma with shape about 4.2.
SESSION_HOURS, SESSION_SHAPE = 2.9, 4.2
LONGEST_DAY_HOURS = 12.0

# Four logs: of the days of a pair, both came on 504 of 561; who came alone on the rest was not
# recorded, so it is split evenly. Weighs as much as PAIR_PRIOR_DAYS days of log.
BOTH_PRESENT = 504 / 561
PAIR_PRIOR_DAYS = 4.0

# Visitors for two-person tasks: on one session in twelve, weighing as much as twelve sessions of log; an
# assumption, used only where somebody builds alone and open tasks need two.
HELPER_PRIOR = (1.0, 11.0)

# A builder whose two-person work has waited calls somebody in: after a month while there is other work (80 %
# range 6 to 140 days, until the log shows it), after two weeks when there is none (6 to 34 days).
# Assumptions: no figure was found.
CALL_DAYS, CALL_LOG_SD = 30.0, 1.2
IDLE_CALL_DAYS, IDLE_CALL_LOG_SD = 14.0, 0.7

# Where sessions go: in two logs the stages that were worked on last got .58/.24/.09/.05 and .59/.21/.09/.05
# of the hours (the rest went to stages left longer ago). Weighs as much as eight days of log: a judgement.
RANK_SHARE = np.array([0.62, 0.23, 0.09, 0.06])
RANK_PRIOR_DAYS = 8.0

# Half-life, in weeks, of the weight of old weeks for habits and company; an assumption.
HABIT_HALF_LIFE_WEEKS = 52.0
COMPANY_HALF_LIFE_WEEKS = 39.0

# Annual terms, on the log of weekly hours and on the logit of a worked week: four logs share no season, so a
# log must show it beyond doubt (at least two years of it, and odds of twenty to one).
SEASON_HOURS_SD, SEASON_CHANCE_SD = 0.4, 0.7
SEASON_LEAST_WEEKS = 104
SEASON_LOG_ODDS = 3.0

# Later change of the hours, on the log scale, once and for all: mean, sd, and the weeks after which 63 % of
# it has come. Of two of the four logs the yearly hours are known: 382, 300, 159, 94, and 647, 505, 1,244,
# 1,685, 524, 132. Both ended at a fifth to a quarter of where they began, and one doubled in between. Two
# logs are few, so the mean is a fifth of that: a judgement.
LATER_CHANGE_MEAN, LATER_CHANGE_SD, LATER_CHANGE_WEEKS = -0.3, 0.4, 130.0

# Long silences (a child, a move, an illness): how many begin per year of building, and the median and log
# sd of their weeks. Common practice, no source; the longest silence of four logs was 18 weeks. They begin
# more often while hours are low.
LONG_SILENCES_PER_YEAR, LONG_SILENCE_WEEKS, LONG_SILENCE_LOG_SD = 0.07, 26.0, 0.6
LONG_SILENCE_LINK = 0.7

_WIDTHS = 9  # normals that approximate a t distribution: its quantiles to 2 % up to the 95th percentile


@dataclass(frozen=True, kw_only=True)
class BenchPriors:
    """The priors above that other builders' logs may replace.

    How the level drifts is not among them: weeks say much about how it moves from one to the next and
    little about how it moves over years, which is what a forecast depends on; pooled over many logs, that
    made ranges too narrow.

    Attributes
    ----------
    chain_mean, chain_sd : of stop, resume, slope and link (see silences.py)
    weekly_log_hours, weekly_log_sd : long mean of the log of the hours of a worked week
    day_chance : Monday to Sunday, chance of a session in a worked week, worth `day_weeks` weeks of log
    degrees : of the t distribution that has the `sd` of the chain and of the long mean as its scale;
        infinite = normal
    builds : number of builds it was pooled from; 0 = built in
    built_in_weight : prior probability that a builder is unlike those pooled and the built-in priors hold;
        the log changes it (see robust_mixture.py)
    """

    chain_mean: tuple[float, ...] = (STOP_LOGIT, RESUME_LOGIT, RESUME_SLOPE, LEVEL_LINK)
    chain_sd: tuple[float, ...] = (STOP_SCALE, RESUME_SCALE, RESUME_SLOPE_SCALE, LEVEL_LINK_SCALE)
    weekly_log_hours: float = float(np.log(WEEKLY_HOURS))
    weekly_log_sd: float = WEEKLY_HOURS_LOG_SCALE
    day_chance: tuple[float, ...] = tuple(DAY_CHANCE.tolist())
    day_weeks: float = DAY_PRIOR_WEEKS
    degrees: float = DEGREES
    builds: int = 0
    built_in_weight: float = 0.0

    @property
    def widths(self) -> np.ndarray:
        """(width,) factors on the sd, all equally likely: a t distribution as a few normals."""
        if not np.isfinite(self.degrees):
            return np.ones(1)
        from scipy.stats import chi2

        middles = (np.arange(_WIDTHS) + 0.5) / _WIDTHS
        return np.asarray(np.sqrt(self.degrees / chi2.ppf(middles, self.degrees)))


BUILT_IN = BenchPriors()
