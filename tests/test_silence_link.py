"""The chain of worked and silent weeks is a plain logistic regression, and who does less comes less."""

from datetime import date

import numpy as np
import pytest
from scipy.special import expit
from statsmodels.discrete.discrete_model import Logit

from forecast.learn.bench_time import priors
from forecast.learn.bench_time.kernel import Days, State, simulate_weeks
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.bench_time.season import season_terms
from forecast.learn.bench_time.silences import Silences, fit_silences
from tests.bench_time_parts import calendar, steady, usual

FLAT = BenchPriors(chain_mean=(0.0,) * 4, chain_sd=(1e4,) * 4, degrees=np.inf)
STOP, RESUME, SLOPE, LINK, WAVES = -1.2, 0.3, -0.5, 0.9, np.array([0.6, -0.4])


def simulated(weeks, rng, waves):
    """(week,) worked weeks of the chain as its definition has it, and the levels that lean on them."""
    x = rng.normal(0, 1, weeks)
    worked, silent = np.ones(weeks, dtype=bool), 0
    for week in range(1, weeks):
        logit = -STOP if silent == 0 else RESUME + SLOPE * np.log(silent)
        worked[week] = rng.random() < expit(logit + LINK * x[week] + waves[week] @ WAVES[: waves.shape[1]])
        silent = 0 if worked[week] else silent + 1
    return worked, x


def plain_rows(worked, x, waves):
    """(row, coefficient) and (row,) of one regression on "this week was worked", in a plain loop."""
    rows, silent = [], 0
    for week in range(1, len(worked)):
        first = [-1.0, 0.0, 0.0] if silent == 0 else [0.0, 1.0, np.log(silent)]
        rows.append([*first, x[week], *waves[week]])
        silent = 0 if worked[week] else silent + 1
    return np.array(rows), worked[1:].astype(float)


@pytest.mark.parametrize("season", [False, True])
def test_with_a_flat_prior_it_is_the_maximum_of_the_likelihood(season, monkeypatch):
    """statsmodels' Logit on "worked" throughout; the module turns the rows after a worked week round."""
    weeks = 400
    monkeypatch.setattr(priors, "SEASON_CHANCE_SD", 1e4)
    waves = season_terms(date(2020, 1, 6), weeks, seasonal=season)
    worked, x = simulated(weeks, np.random.default_rng(4), waves)
    design, success = plain_rows(worked, x, waves)
    expected = Logit(success, design).fit(disp=False)
    found = fit_silences(worked, x, waves, FLAT)
    assert found.mean == pytest.approx(expected.params, abs=1e-4)
    assert found.covariance == pytest.approx(expected.cov_params(), rel=1e-3, abs=1e-6)


@pytest.mark.parametrize("every", [1, 2])
def test_who_does_less_comes_less_after_worked_weeks_and_after_silent_ones(every):
    """Weeks at a high level are worked and weeks at a low one are not; turned round, the link is negative."""
    x = np.tile(np.repeat([1.0, -1.0], every), 60)
    worked = np.random.default_rng(6).random(len(x)) < expit(2.0 * x)
    worked[0] = True
    found = fit_silences(worked, x, season_terms(date(2020, 1, 6), len(x), seasonal=False))
    assert found.mean[3] > 3 * np.sqrt(found.covariance[3, 3])
    assert fit_silences(worked, -x, season_terms(date(2020, 1, 6), len(x), seasonal=False), FLAT).mean[3] < 0


def test_in_draws_a_low_level_never_helps_and_a_long_silence_never_does():
    mean = np.array([5.0, -5.0, 0.0, 0.0])
    flat = Silences(mean=mean, covariance=np.eye(4), silent_weeks=0, observed=0, evidence=0.0)
    drawn = flat.sample(10_000, np.random.default_rng(1))
    assert (drawn.link >= 0).all()
    assert (drawn.slope <= 0).all()
    # Half of a centred normal is cut off at 0: the mean of the other half is 1 / sqrt(2 pi).
    for half in (drawn.link, -drawn.slope):
        assert half.mean() == pytest.approx(1 / np.sqrt(2 * np.pi), abs=0.02)
    assert (drawn.stop.mean(), drawn.resume.mean()) == pytest.approx((5.0, -5.0), abs=0.05)


@pytest.mark.parametrize("silent", [0, 1, 8])
@pytest.mark.parametrize("level", [-1.0, 0.0, 1.0])
def test_simulated_weeks_follow_the_chain(silent, level):
    """The first week of each run is worked with the chance of the formula, within five standard errors."""
    runs = 4_000
    chain = {"stop": STOP, "resume": RESUME, "slope": SLOPE, "link": LINK, "keep": 1.0}
    drawn = steady(runs, **{name: np.full(runs, value) for name, value in chain.items()})
    state = State(np.full(runs, float(silent)), np.full(runs, level), np.zeros(runs, dtype=np.uint8))
    out = Days(
        np.zeros((runs, 7), dtype=np.float32), np.zeros((runs, 7, 1), dtype=np.float32),
        np.zeros((runs, 7), dtype=np.float32), np.zeros((runs, 7), dtype=np.uint8),
    )  # fmt: skip
    rng = np.random.default_rng(2)
    simulate_weeks(rng, np.arange(runs), 0, 1, drawn, calendar(1), usual(), state, out)
    logit = (RESUME + SLOPE * np.log(silent) if silent else -STOP) + LINK * level
    chance = expit(logit)
    worked = out.household.sum(axis=1) > 0
    assert worked.mean() == pytest.approx(chance, abs=5 * np.sqrt(chance * (1 - chance) / runs))
    assert np.array_equal(state.silent, np.where(worked, 0, silent + 1))
