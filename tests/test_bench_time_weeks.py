"""Weeks worked and silent, and the level of their hours."""

import numpy as np
import pytest
from scipy.special import digamma, expit
from statsmodels.datasets import spector
from statsmodels.tsa.statespace.structural import UnobservedComponents

from forecast.learn.bench_time import priors
from forecast.learn.bench_time.level import filter_level, fit_level
from forecast.learn.bench_time.logistic import logistic_posterior
from forecast.learn.bench_time.season import season_terms
from forecast.learn.bench_time.silences import fit_silences
from tests.bench_time_parts import calendar, played, steady, usual
from tests.test_bench_time import MONDAY

PRIOR = (float(np.log(8)), 0.8)


def no_season(weeks):
    return season_terms(MONDAY, weeks, seasonal=False)


def chain(worked):
    worked = np.array(worked, dtype=bool)
    return fit_silences(worked, np.zeros(len(worked)), no_season(len(worked)))


def chance_after(silences, silent, draws=4000):
    chain = steady(draws, **silences.sample(draws, np.random.default_rng(1)))
    hours, _ = weeks_of(chain, [True], silent=silent)
    return (hours > 0).mean()


def test_logistic_regression_gives_the_published_coefficients():
    # Spector and Mazzeo (1980) as printed by Greene, Econometric Analysis, table of the logit model:
    # constant -13.021, GPA 2.826, TUCE 0.095, PSI 2.379.
    data = spector.load_pandas()
    design = np.column_stack([np.ones(len(data.endog)), data.exog[["GPA", "TUCE", "PSI"]]])
    mean, _, _ = logistic_posterior(design, data.endog.to_numpy(), np.zeros(4), np.full(4, 1e3))
    assert mean == pytest.approx([-13.021, 2.826, 0.095, 2.379], abs=2e-3)


def test_the_evidence_agrees_with_numerical_integration():
    rng = np.random.default_rng(3)
    success = (rng.random(60) < 0.3).astype(float)
    _, _, evidence = logistic_posterior(np.ones((60, 1)), success, np.array([0.0]), np.array([1.0]))
    grid = np.linspace(-6, 6, 20001)
    log_chance = success.sum() * np.log(expit(grid)) + (1 - success).sum() * np.log(expit(-grid))
    density = np.exp(log_chance - grid**2 / 2) / np.sqrt(2 * np.pi)
    assert evidence == pytest.approx(np.log(np.trapezoid(density, grid)), abs=0.02)


def test_without_a_log_the_chain_is_that_of_other_builders():
    assert 1 - chance_after(chain([True]), 0) == pytest.approx(0.165, abs=0.02)


def test_a_log_of_steady_weeks_makes_a_stop_rare():
    assert chance_after(chain([True] * 100), 0) > 0.95


def test_a_log_of_every_other_week_is_learned():
    steady = chain([True, False] * 60)
    assert chance_after(steady, 0) < 0.25
    assert chance_after(steady, 1) > 0.85


@pytest.mark.parametrize("longer", [2, 4, 13, 52])
def test_a_longer_silence_is_never_easier_to_end(longer):
    mixed = chain(([True] * 5 + [False] * 3) * 10)
    assert chance_after(mixed, longer) < chance_after(mixed, 1)


def test_silent_weeks_at_the_end_of_the_log_are_counted():
    assert chain([True, True, False, False, False]).silent_weeks == 3


def test_a_low_level_makes_a_silent_week_likelier():
    rng = np.random.default_rng(8)
    x = np.repeat(rng.normal(0, 1, 40), 10)
    worked = rng.random(400) < expit(1 + 1.5 * x)
    worked[0] = True
    assert fit_silences(worked, x, no_season(400)).mean[3] > 0.7


def test_half_a_week_without_a_session_lowers_the_chance_of_the_week():
    draws = 20_000
    even = steady(draws, stop=np.full(draws, -np.log(0.8 / 0.2)), later=np.full(draws, 0.5))
    hours, _ = weeks_of(even, [True], begun=0)
    assert (hours > 0).mean() == pytest.approx(0.4 / 0.6, abs=0.02)


def test_the_filter_has_the_likelihood_of_statsmodels():
    rng = np.random.default_rng(4)
    y = rng.normal(0, 1, 120)
    y[rng.random(120) < 0.3] = np.nan
    persistence, step_sd, noise = 0.9, 0.3, 0.5
    passed = filter_level(
        y[:, None],
        np.ones((120, 1)),
        np.ones(120),
        np.array([persistence]),
        np.array([step_sd]),
        np.array([noise]),
    )
    ours = -0.5 * (passed.log_variance[0] + passed.products[0, 0, 0])
    other = UnobservedComponents(y, irregular=True, autoregressive=1)
    assert ours == pytest.approx(other.loglike([noise, step_sd**2, persistence]), abs=1e-6)


def test_the_long_mean_is_integrated_out_exactly():
    rng = np.random.default_rng(6)
    y = rng.normal(2.0, 0.7, 30)
    persistence, step_sd, noise = np.array([0.8]), np.array([0.2]), np.array([0.3])
    passed = filter_level(y[:, None], np.ones((30, 1)), np.ones(30), persistence, step_sd, noise)
    grid = np.linspace(-5, 9, 4001)
    p = passed.products[0]
    square = p[0, 0] - 2 * grid * p[0, 1] + grid**2 * p[1, 1]
    log_joint = -0.5 * (passed.log_variance[0] + square) - 0.5 * ((grid - 2.1) / 0.8) ** 2
    by_grid = np.log(np.trapezoid(np.exp(log_joint), grid) / (0.8 * np.sqrt(2 * np.pi)))
    from forecast.learn.bench_time.level import _integrate_out

    exact = _integrate_out(passed, np.array([2.1]), np.array([0.8]))[2][0]
    assert exact == pytest.approx(by_grid, abs=1e-8)


def test_a_steady_level_is_found():
    rng = np.random.default_rng(2)
    hours = 6 * rng.gamma(5, 1 / 5, 150)
    level = fit_level(np.log(hours), np.ones(150), PRIOR, no_season(150))
    drawn, x = level.sample(4000, np.random.default_rng(0))
    assert np.median(np.exp(drawn["mean"] + x)) == pytest.approx(6, rel=0.15)


def test_a_level_that_has_halved_lately_is_followed():
    rng = np.random.default_rng(2)
    hours = np.repeat([8.0, 4.0], [120, 20]) * rng.gamma(5, 1 / 5, 140)
    level = fit_level(np.log(hours), np.ones(140), PRIOR, no_season(140))
    drawn, x = level.sample(4000, np.random.default_rng(0))
    assert np.median(np.exp(drawn["mean"] + x)) == pytest.approx(4, rel=0.3)


def test_silent_weeks_make_the_level_less_sure():
    rng = np.random.default_rng(2)
    y = np.log(8 * rng.gamma(5, 1 / 5, 160)) + np.cumsum(rng.normal(0, 0.15, 160))
    ended = fit_level(y, np.ones(160), PRIOR, no_season(160))
    y[130:] = np.nan
    silent = fit_level(y, np.ones(160), PRIOR, no_season(160))
    spread = [lv.sample(4000, np.random.default_rng(0))[1].std() for lv in (ended, silent)]
    assert spread[1] > 1.2 * spread[0]


def test_the_grid_finds_the_shape_of_the_weekly_hours():
    rng = np.random.default_rng(11)
    level = fit_level(np.log(8 * rng.gamma(5.5, 1 / 5.5, 600)), np.ones(600), PRIOR, no_season(600))
    likeliest = level.shape[np.argmax(level.weight)]
    assert likeliest in (3.3, 5.5, 9.0)


def test_no_season_is_seen_in_hours_without_one():
    rng = np.random.default_rng(12)
    y = np.log(8 * rng.gamma(5, 1 / 5, 208))
    season = season_terms(MONDAY, 208, seasonal=True)
    assert (
        fit_level(y, np.ones(208), PRIOR, season).evidence
        < fit_level(y, np.ones(208), PRIOR, no_season(208)).evidence
    )


def test_a_strong_season_in_the_hours_is_seen():
    rng = np.random.default_rng(12)
    season = season_terms(MONDAY, 208, seasonal=True)
    y = np.log(8 * rng.gamma(5, 1 / 5, 208)) - 0.7 * season[:, 0]
    gain = (
        fit_level(y, np.ones(208), PRIOR, season).evidence
        - fit_level(y, np.ones(208), PRIOR, no_season(208)).evidence
    )
    assert gain > priors.SEASON_LOG_ODDS


def weeks_of(drawn, open_weeks, silent=0, most=1000.0, **begun):
    """(run, week) hours and the state after them."""
    free = np.repeat(np.array(open_weeks)[:, None], 7, axis=1)
    hours, _, state = played(
        drawn, calendar(len(open_weeks), free, **begun), usual(most_week_hours=most, longest_day=1e9),
        silent=silent,
    )  # fmt: skip
    return hours.reshape(len(hours), -1, 7).sum(axis=2), state


def test_a_chain_that_never_stops_works_every_week():
    hours, _ = weeks_of(steady(3), [True] * 20)
    assert hours == pytest.approx(8, rel=0.01)


def test_the_chain_stands_still_while_nobody_can_come():
    hours, state = weeks_of(steady(3), [False] * 20)
    assert hours.sum() == 0
    assert state.silent.tolist() == [0, 0, 0]


def test_a_week_that_was_worked_already_stays_worked():
    stopping = steady(3, stop=np.full(3, 50.0), later=np.zeros(3))
    hours, _ = weeks_of(stopping, [True], begun=1)
    assert (hours > 0).all()


def test_no_week_is_longer_than_the_longest():
    hours, _ = weeks_of(steady(3, mean=np.full(3, np.log(500))), [True] * 5, most=60.0)
    assert hours.max() == pytest.approx(60)


def test_the_spread_of_the_level_is_bounded_however_far_the_horizon():
    draws = 2000
    hours, _ = weeks_of(steady(draws, step_sd=np.full(draws, 0.2)), [True] * 700)
    spread = np.log(hours).std(axis=0)
    bound = 0.2 / np.sqrt(1 - 0.9**2)
    assert spread[-1] == pytest.approx(bound, rel=0.1)


def test_the_noise_of_the_hours_keeps_the_mean():
    draws = 50_000
    hours, _ = weeks_of(steady(draws, shape=np.full(draws, 3.3)), [True])
    assert hours.mean() == pytest.approx(8, rel=0.01)
    assert np.log(hours / 8).mean() == pytest.approx(digamma(3.3) - np.log(3.3), abs=0.02)
