"""Scores against closed forms, worked figures and a general scoring library.

Closed forms: Gneiting & Raftery 2007, JASA 102:359-378; standard and fair ensembles: Ferro 2014, QJRMS
140:1917-1923. Each figure was checked by formula, by numerical integration and by scoringrules.
"""

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.questions.scores import (
    clopper_pearson,
    crps,
    crps_censored,
    interval_score,
    pinball_loss,
)
from tests.published import published_table

BANDS = published_table("clopper_pearson")
# Draws that stand for a whole distribution: the middles of 20,000 equal parts of its probability.
STANDARD_NORMAL = ndtri((np.arange(20_000) + 0.5) / 20_000)
NORMALS = [(0, 1, 0, 0.233694977255), (0, 1, 1, 0.602441357628), (0, 1, -1.5, 0.994424003977),
           (10, 2, 13, 1.988848007955), (100, 15, 80, 12.809009698029)]  # fmt: skip
LOGNORMALS = [(0, 1, 1, 0.267405467023), (0, 0.5, 1, 0.120791962065), (2, 0.4, 10, 1.494373797966),
              (3, 0.6, 15, 3.876386487908), (np.log(40), 0.35, 55, 8.678724705799)]  # fmt: skip
TEN_MEMBERS = [2.1, 3.5, 4.7, 1.2, 1.3, 5.2, 5.3, 4.2, 3.1, 1.7]
ENSEMBLES = [([1, 2, 3, 4, 5], 2.5, 0.5, 0.3), ([8, 9, 11, 14], 12, 1.25, 0.833333333333),
             (TEN_MEMBERS, 5.4, 1.311, 1.215555555556)]  # fmt: skip


@pytest.fixture
def rng():
    return np.random.default_rng(20260930)


@pytest.fixture(scope="module")
def scoringrules():
    import scoringrules

    return scoringrules


@pytest.mark.parametrize(("mean", "sd", "observed", "closed_form"), NORMALS)
def test_many_draws_of_a_normal_score_as_its_closed_form(mean, sd, observed, closed_form):
    assert crps(mean + sd * STANDARD_NORMAL, observed) == pytest.approx(closed_form, rel=1e-4)


@pytest.mark.parametrize(("mu", "sigma", "observed", "closed_form"), LOGNORMALS)
def test_many_draws_of_a_lognormal_score_as_its_closed_form(mu, sigma, observed, closed_form):
    assert crps(np.exp(mu + sigma * STANDARD_NORMAL), observed) == pytest.approx(closed_form, rel=2e-4)


@pytest.mark.parametrize(("members", "observed", "standard", "fair"), ENSEMBLES)
def test_small_ensembles_score_as_published(members, observed, standard, fair):
    # The ten members are those of a CRPS package's description page.
    assert crps(members, observed) == pytest.approx(standard, abs=1e-12)
    assert crps(members, observed, estimator="fair") == pytest.approx(fair, abs=1e-12)


@pytest.mark.parametrize(
    ("quantile", "level", "observed", "loss"),
    [(10, 0.8, 12, 1.6), (10, 0.8, 7, 0.6), (10, 0.5, 12, 1.0), (10, 0.1, 12, 0.2), (30, 0.9, 34, 3.6)],
)
def test_pinball_losses(quantile, level, observed, loss):
    assert pinball_loss(quantile, observed, level=level) == pytest.approx(loss, rel=1e-12)


@pytest.mark.parametrize(
    ("lower", "upper", "alpha", "observed", "score"),
    [(10, 20, 0.1, 15, 10), (10, 20, 0.1, 22, 50), (10, 20, 0.2, 8, 30), (100, 180, 0.2, 200, 280)],
)
def test_interval_scores(lower, upper, alpha, observed, score):
    assert interval_score(lower, upper, observed, level=1 - alpha) == pytest.approx(score, rel=1e-12)


@pytest.mark.parametrize("row", list(BANDS.itertuples()), ids=lambda r: f"{r.successes}/{r.trials}")
def test_bands_of_clopper_and_pearson(row):
    band = clopper_pearson(row.successes, row.trials, confidence=row.confidence)
    assert band == pytest.approx((row.lower, row.upper), abs=6e-9)


def test_a_dictionary_swaps_the_ends_of_the_band():
    # One dictionary of statistics defines the lower end by P(X <= x) = a/2: for 3 of 20 that is the upper.
    from scipy.special import bdtr

    low, high = clopper_pearson(3, 20)
    assert bdtr(3, 20, high) == pytest.approx(0.025, rel=1e-9)
    assert bdtr(3, 20, low) > 0.99


@pytest.mark.parametrize(("ours", "theirs"), [("standard", "nrg"), ("fair", "fair")])
def test_the_scoring_library_gives_the_same_crps(scoringrules, rng, ours, theirs):
    draws, observed = rng.gamma(2.0, 30.0, (40, 25)), rng.gamma(2.0, 30.0, 40)
    expected = scoringrules.crps_ensemble(observed, draws, estimator=theirs, backend="numpy")
    np.testing.assert_allclose(crps(draws, observed, estimator=ours), expected, rtol=1e-10)


def test_the_scoring_library_gives_the_same_score_for_what_is_still_open(scoringrules, rng):
    # Threshold-weighted CRPS with the weight on everything up to day 50 (Gneiting & Ranjan 2011).
    draws, happened = rng.gamma(2.0, 30.0, (40, 25)), rng.gamma(2.0, 30.0, 40)
    expected = scoringrules.twcrps_ensemble(happened, draws, b=50.0, estimator="nrg", backend="numpy")
    observed = np.where(happened <= 50, happened, np.inf)
    np.testing.assert_allclose(crps_censored(draws, observed, np.full(40, 50.0)), expected, rtol=1e-10)


def test_the_scoring_library_gives_the_same_pinball_loss(scoringrules, rng):
    quantile, observed, level = rng.normal(size=40), rng.normal(size=40), rng.uniform(0.05, 0.95, 40)
    expected = scoringrules.quantile_score(observed, quantile, level, backend="numpy")
    np.testing.assert_allclose(pinball_loss(quantile, observed, level=level), expected, rtol=1e-12)


def test_the_scoring_library_gives_the_same_interval_score(scoringrules, rng):
    lower, width, observed = rng.normal(size=40), rng.gamma(2.0, size=40), 3 * rng.normal(size=40)
    expected = scoringrules.interval_score(observed, lower, lower + width, 0.2, backend="numpy")
    np.testing.assert_allclose(
        interval_score(lower, lower + width, observed, level=0.8), expected, rtol=1e-12
    )
