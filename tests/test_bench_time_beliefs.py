"""What is believed of habits beforehand, beside what the four logs say of how builders differ.

The figures of the four logs are this project's own measurements (forecast/learn/bench_time/priors.py).
Between the two ends of a range the logs whose own figure was not kept are set evenly; some 150 worked and 50
silent weeks a log are the sampling error of each.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import norm, t

from forecast.learn.bench_time import priors

FOUR_IN_FIVE = 0.9


def next_builder(seen: np.ndarray, errors: np.ndarray) -> tuple[float, float]:
    """Quantiles .1 and .9 of one more builder: a normal hierarchy, its spread a half-t with scale .5.

    The spread is taken on a grid and the centre, with a flat prior, integrated out in closed form
    (Gelman et al., Bayesian Data Analysis, section 5.4).
    """
    spread = np.linspace(0.0025, 3.0, 1200)
    precision = 1 / (spread[:, None] ** 2 + errors**2)
    known = precision.sum(axis=1)
    centre = (precision * seen).sum(axis=1) / known
    log_weight = norm.logpdf(seen, centre[:, None], precision**-0.5).sum(axis=1) - 0.5 * np.log(known)
    weight = np.exp(log_weight - log_weight.max()) * t.pdf(spread / 0.5, 4)
    weight /= weight.sum()
    at = np.linspace(seen.min() - 4, seen.max() + 4, 4001)
    below = weight @ norm.cdf(at, centre[:, None], np.sqrt(spread**2 + 1 / known)[:, None])
    low, high = np.interp([1 - FOUR_IN_FIVE, FOUR_IN_FIVE], below, at)
    return float(low), float(high)


def believed(scale: float) -> float:
    """Half the width of the central 80 % of a belief."""
    return scale * float(t.ppf(FOUR_IN_FIVE, priors.DEGREES))


CASES = {
    # P(silent week after a worked one), 150 worked weeks a log
    "stop": (np.array([0.15, 0.16, 0.17, 0.18]), 150, priors.STOP_LOGIT, priors.STOP_SCALE),
    # P(worked after silent) = 1 - .71 ... 1 - .44, 50 silent weeks a log
    "resume": (1 - np.array([0.71, 0.62, 0.53, 0.44]), 50, None, priors.RESUME_SCALE),
}


@pytest.mark.parametrize("name", CASES)
def test_how_builders_differ_is_believed_wider_than_the_four_logs_say_but_not_by_much(name: str) -> None:
    chances, weeks, centre, scale = CASES[name]
    low, high = next_builder(logit(chances), 1 / np.sqrt(weeks * chances * (1 - chances)))
    assert 1.0 < believed(scale) / (0.5 * (high - low)) < 2.0
    if centre is not None:
        assert low < centre < high


def test_the_usual_hours_of_the_two_logs_with_known_years_lie_within_what_is_believed() -> None:
    one_builder = np.mean([382, 300, 159, 94])
    # A pair: both came on 504 of 561 days, so that a clock hour was 1 + 504/561 person-hours.
    pair = np.mean([647, 505, 1244, 1685, 524, 132]) / (1 + 504 / 561)
    usual = np.array([one_builder, pair]) / (52.18 * priors.WORKED_SHARE)
    assert (np.abs(np.log(usual / priors.WEEKLY_HOURS)) < believed(priors.WEEKLY_HOURS_LOG_SCALE)).all()


def test_single_years_lie_further_out_than_most_builders_but_not_out_of_reach() -> None:
    # 94 to 1,685 person-hours a year, 2.5 to 45 a worked week: the level of one builder moves as well.
    years = np.array([94, 1685]) / (52.18 * priors.WORKED_SHARE)
    off = np.abs(np.log(years / priors.WEEKLY_HOURS)) / priors.WEEKLY_HOURS_LOG_SCALE
    assert (off > t.ppf(FOUR_IN_FIVE, priors.DEGREES)).all()
    assert (off < t.ppf(0.99, priors.DEGREES)).all()


def test_silent_weeks_follow_silent_ones_as_often_as_in_the_four_logs() -> None:
    lasting = np.cumprod(1 - expit(priors.RESUME_LOGIT + priors.RESUME_SLOPE * np.log(np.arange(1, 200))))
    silent_after_silent = 1 - 1 / (1 + lasting.sum())
    assert 0.44 < silent_after_silent < 0.71
