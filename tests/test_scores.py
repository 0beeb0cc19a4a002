"""Scores: toys by pencil, then identities that any forecast must satisfy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chisquare

from forecast.questions.scores import (
    clopper_pearson,
    coverage,
    crps,
    crps_censored,
    interval_score,
    pinball_loss,
    randomised_pit,
)

DRAWS = st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=12)
NUMBERS = st.floats(-1e3, 1e3)
LEVELS = st.floats(0.05, 0.95)


@pytest.fixture
def rng():
    return np.random.default_rng(20260930)


def crps_by_pairs(draws, observed, divisor):
    x = np.asarray(draws, dtype=float)
    pairs = np.abs(x[:, None] - x).sum()
    return np.abs(x - observed).mean() - pairs / (2 * divisor)


def crps_by_integral(draws, observed, until):
    """Integral of (F - step)**2 up to `until`, exactly: both are flat between neighbouring points."""
    points = np.unique(np.concatenate([np.minimum(draws, until), [min(observed, until), until]]))
    share = (np.asarray(draws)[:, None] <= points[:-1]).mean(axis=0)
    step = points[:-1] >= observed
    return float(((share - step) ** 2 * np.diff(points)).sum())


def test_a_single_draw_is_scored_by_how_far_it_missed():
    assert crps([7.0], 10.0) == 3.0


def test_a_forecast_that_names_the_outcome_with_certainty_scores_nothing():
    assert crps([4.0, 4.0, 4.0], 4.0) == 0.0


@given(draws=DRAWS, observed=NUMBERS)
@settings(deadline=None)
def test_one_sort_gives_the_score_of_all_pairs(draws, observed):
    expected = crps_by_pairs(draws, observed, len(draws) ** 2)
    assert crps(draws, observed) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(draws=DRAWS, observed=NUMBERS)
@settings(deadline=None)
def test_the_fair_score_leaves_out_the_pairs_of_a_draw_with_itself(draws, observed):
    m = len(draws)
    expected = crps_by_pairs(draws, observed, m * (m - 1))
    assert crps(draws, observed, estimator="fair") == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(draws=DRAWS, observed=NUMBERS)
@settings(deadline=None)
def test_the_score_is_the_area_between_the_forecast_and_what_happened(draws, observed):
    area = crps_by_integral(draws, observed, until=2e3)
    assert crps(draws, observed) == pytest.approx(area, rel=1e-9, abs=1e-9)


def test_many_forecasts_are_scored_as_each_alone(rng):
    draws, observed = rng.gamma(2.0, 10.0, (3, 4, 50)), rng.gamma(2.0, 10.0, (3, 4))
    alone = [
        [crps(d, y) for d, y in zip(row, ys, strict=True)] for row, ys in zip(draws, observed, strict=True)
    ]
    np.testing.assert_allclose(crps(draws, observed), alone, rtol=1e-13)


def test_the_order_of_the_draws_does_not_matter(rng):
    draws = rng.normal(size=40)
    assert crps(draws, 0.3) == crps(draws[::-1], 0.3)


def test_scoring_leaves_the_draws_as_they_were(rng):
    draws = rng.normal(size=40)
    before = draws.copy()
    crps(draws, 0.3)
    np.testing.assert_array_equal(draws, before)


def test_few_fair_draws_score_on_average_as_many(rng):
    draws, observed = rng.normal(size=(40_000, 3)), rng.normal(size=40_000)
    scores = crps(draws, observed, estimator="fair")
    # Perfect forecast of N(0, 1): the expected CRPS is 1 / sqrt(pi).
    assert abs(scores.mean() - 1 / np.sqrt(np.pi)) < 4 * scores.std() / np.sqrt(len(scores))


def test_few_standard_draws_score_worse_on_average(rng):
    draws, observed = rng.normal(size=(40_000, 3)), rng.normal(size=40_000)
    scores = crps(draws, observed)
    expected = (1 + 1 / 3) / np.sqrt(np.pi)
    assert abs(scores.mean() - expected) < 4 * scores.std() / np.sqrt(len(scores))


def test_a_draw_past_the_horizon_has_no_plain_score():
    with pytest.raises(ValueError, match="score what is still open with crps_censored"):
        crps([1.0, np.inf], 2.0)


def test_a_forecast_without_draws_is_refused():
    with pytest.raises(ValueError, match="at least one draw"):
        crps([], 2.0)


def test_one_draw_is_too_few_to_be_fair():
    with pytest.raises(ValueError, match="two draws or more"):
        crps([1.0], 2.0, estimator="fair")


def test_an_estimator_nobody_knows_is_refused():
    with pytest.raises(ValueError, match="must be one of"):
        crps([1.0, 2.0], 2.0, estimator="pwm")


def test_a_target_still_open_when_every_draw_had_said_later_costs_nothing_yet():
    assert crps_censored([20.0, 30.0, np.inf], np.inf, 10.0) == 0.0


def test_a_target_still_open_after_every_draw_costs_the_days_since_then():
    assert crps_censored([4.0, 4.0], np.inf, 10.0) == 6.0


def test_a_finished_target_seen_from_far_later_has_the_plain_score(rng):
    draws = rng.gamma(2.0, 10.0, 30)
    assert crps_censored(draws, 12.0, 1e6) == pytest.approx(crps(draws, 12.0), rel=1e-12)


@given(draws=DRAWS, observed=NUMBERS, until=NUMBERS)
@settings(deadline=None)
def test_the_censored_score_is_the_area_up_to_what_is_known(draws, observed, until):
    area = crps_by_integral(draws, observed, until)
    assert crps_censored(draws, observed, until) == pytest.approx(area, rel=1e-9, abs=1e-9)


def test_the_score_of_an_open_target_only_grows_as_it_stays_open(rng):
    draws = rng.gamma(2.0, 10.0, 30)
    scores = crps_censored(np.tile(draws, (50, 1)), np.full(50, np.inf), np.linspace(0, 80, 50))
    assert np.all(np.diff(scores) >= 0)


def test_with_open_targets_scored_by_what_is_known_the_truth_still_beats_haste(rng):
    happened, known_until = rng.exponential(10.0, 4000), rng.uniform(1, 15, 4000)
    observed = np.where(happened <= known_until, happened, np.inf)
    fractions = (np.arange(200) + 0.5) / 200
    truth = -10.0 * np.log(1 - fractions)

    def mean_score(draws):
        return crps_censored(np.tile(draws, (4000, 1)), observed, known_until).mean()

    assert mean_score(truth) < min(mean_score(0.6 * truth), mean_score(1.6 * truth))


def test_dropping_the_open_targets_would_have_praised_haste(rng):
    happened, known_until = rng.exponential(10.0, 4000), rng.uniform(1, 15, 4000)
    finished = happened[happened <= known_until]
    truth = -10.0 * np.log(1 - (np.arange(200) + 0.5) / 200)
    hasty = np.tile(0.6 * truth, (len(finished), 1))
    assert crps(hasty, finished).mean() < crps(np.tile(truth, (len(finished), 1)), finished).mean()


def test_what_is_known_must_be_known_up_to_some_day():
    with pytest.raises(ValueError, match="must be finite"):
        crps_censored([1.0], 1.0, np.inf)


def test_an_open_target_written_as_not_a_number_is_refused():
    with pytest.raises(ValueError, match="finite"):
        crps_censored([1.0], np.nan, 3.0)


def test_being_too_low_costs_the_level_and_too_high_the_rest():
    np.testing.assert_allclose(pinball_loss([10, 14], 12, level=0.75), [1.5, 0.5])


@given(lower=NUMBERS, width=st.floats(0, 100), observed=NUMBERS, level=LEVELS)
@settings(deadline=None)
def test_an_interval_is_scored_as_its_two_quantiles(lower, width, observed, level):
    upper, alpha = lower + width, 1 - level
    ends = pinball_loss(lower, observed, level=alpha / 2)
    ends += pinball_loss(upper, observed, level=1 - alpha / 2)
    assert interval_score(lower, upper, observed, level=level) == pytest.approx(2 / alpha * ends, abs=1e-7)


@pytest.mark.parametrize("level", [0.0, 1.0, 80.0])
def test_a_level_is_a_share_not_a_percentage(level):
    with pytest.raises(ValueError, match="between 0 and 1"):
        interval_score(0, 1, 0.5, level=level)


def test_an_interval_that_ends_before_it_starts_is_refused():
    with pytest.raises(ValueError, match="must not end before it starts"):
        interval_score(2, 1, 0.5, level=0.8)


def test_an_outcome_on_the_edge_counts_as_inside():
    assert coverage([0.0, 0.0], [2.0, 2.0], [0.0, 2.0], level=0.8).inside == 2


def test_coverage_brings_the_band_that_its_small_number_deserves():
    held = coverage(np.zeros(10), np.ones(10), [0.5] * 8 + [3.0] * 2, level=0.8)
    assert (held.share, held.low, held.high) == pytest.approx((0.8, 0.44390454, 0.97478927), abs=1e-8)


def test_without_outcomes_the_share_is_unknown_and_the_band_is_everything():
    nothing = coverage([], [], [], level=0.8)
    assert np.isnan(nothing.share)
    assert (nothing.low, nothing.high) == (0.0, 1.0)


def test_an_unknown_outcome_is_refused_rather_than_counted_as_a_miss():
    with pytest.raises(ValueError, match="known outcome"):
        coverage([0.0], [1.0], [np.nan], level=0.8)


def test_more_successes_than_trials_are_refused():
    with pytest.raises(ValueError, match="between 0 and the number of trials"):
        clopper_pearson(5, 4)


def test_each_end_of_the_band_leaves_half_of_the_doubt_outside():
    # Sums of binomial terms: P(X >= 12) at the lower end and P(X <= 12) at the upper end.
    from scipy.special import bdtr, bdtrc

    low, high = clopper_pearson(12, 30, confidence=0.9)
    assert (bdtrc(11, 30, low), bdtr(12, 30, high)) == pytest.approx((0.05, 0.05), rel=1e-9)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.95])
def test_the_band_holds_the_true_share_at_least_as_often_as_it_says(share):
    from scipy.special import binom

    k = np.arange(26)
    low, high = clopper_pearson(k, 25, confidence=0.9)
    chance = binom(25, k) * share**k * (1 - share) ** (25 - k)
    assert chance[(low <= share) & (share <= high)].sum() >= 0.9


def test_the_pit_lies_in_the_gap_into_which_the_outcome_fell(rng):
    assert 0.4 <= randomised_pit([1, 2, 3, 4], 2.5, rng) <= 0.6


def test_the_pit_of_a_calibrated_forecast_is_uniform(rng):
    u = randomised_pit(rng.normal(size=(20_000, 19)), rng.normal(size=20_000), rng)
    p_value = chisquare(np.histogram(u, bins=10, range=(0, 1))[0]).pvalue
    assert p_value > 1e-4


def test_ties_do_not_bend_the_pit(rng):
    draws, observed = rng.poisson(2.0, (20_000, 19)), rng.poisson(2.0, 20_000)
    p_value = chisquare(np.histogram(randomised_pit(draws, observed, rng), bins=10, range=(0, 1))[0]).pvalue
    assert p_value > 1e-4


def test_open_targets_do_not_bend_the_pit(rng):
    draws, happened = rng.exponential(size=(20_000, 19)), rng.exponential(size=20_000)
    until = rng.exponential(size=20_000)
    u = randomised_pit(draws, np.minimum(happened, until), rng, open_=happened > until)
    p_value = chisquare(np.histogram(u, bins=10, range=(0, 1))[0]).pvalue
    assert p_value > 1e-4


def test_dropping_open_targets_would_bend_the_pit(rng):
    draws, happened = rng.exponential(size=(20_000, 19)), rng.exponential(size=20_000)
    finished = happened <= rng.exponential(size=20_000)
    u = randomised_pit(draws[finished], happened[finished], rng)
    p_value = chisquare(np.histogram(u, bins=10, range=(0, 1))[0]).pvalue
    assert p_value < 1e-9


def test_ranges_that_are_too_narrow_show_as_a_u(rng):
    u = randomised_pit(0.5 * rng.normal(size=(5000, 19)), rng.normal(size=5000), rng)
    counts = np.histogram(u, bins=10, range=(0, 1))[0]
    assert min(counts[0], counts[-1]) > 2 * counts[4:6].max()


def test_draws_past_the_horizon_count_as_later_than_any_outcome(rng):
    assert randomised_pit([np.inf, np.inf, np.inf], 5.0, rng) <= 0.25


def test_the_same_seed_breaks_ties_the_same_way():
    first, again = (randomised_pit([1, 1, 1], 1, np.random.default_rng(5)) for _ in range(2))
    assert first == again


def test_an_outcome_that_is_not_a_number_has_no_pit(rng):
    with pytest.raises(ValueError, match="Got NaN"):
        randomised_pit([1.0], np.nan, rng)
