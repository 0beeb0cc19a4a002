"""The censored normal regression against certified values and reference output, digit by digit."""

import numpy as np
import pytest

from forecast.learn.effort.censored import fit_normal
from forecast.learn.effort.penalty import Penalty
from tests.published import published_table


def certified(dataset):
    table = published_table("nist_certified")
    return table[table["dataset"] == dataset].set_index("quantity")


def fitted(dataset, response, columns):
    table = published_table(dataset)
    x = np.column_stack([np.ones(len(table)), table[columns]])
    return fit_normal(x, table[response].to_numpy(dtype=float))


@pytest.fixture
def norris():
    return fitted("norris", "y", ["x"])


@pytest.fixture
def longley():
    return fitted("longley", "TOTEMP", ["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"])


# NIST StRD asks for as many digits as the data allow: Norris is of low, Longley of higher difficulty.
@pytest.mark.parametrize(
    ("name", "dataset", "rtol"), [("norris", "Norris", 1e-9), ("longley", "Longley", 1e-7)]
)
def test_certified_coefficients(request, name, dataset, rtol):
    fit, table = request.getfixturevalue(name), certified(dataset)
    expected = table.loc[table.index.str.startswith("b"), "certified_value"].astype(float)
    np.testing.assert_allclose(fit.coefficients, expected, rtol=rtol)


@pytest.mark.parametrize(
    ("name", "dataset", "rtol"), [("norris", "Norris", 1e-9), ("longley", "Longley", 1e-7)]
)
def test_certified_standard_deviations_of_the_coefficients(request, name, dataset, rtol):
    fit, table = request.getfixturevalue(name), certified(dataset)
    expected = table.loc[table.index.str.startswith("b"), "certified_sd"].astype(float)
    np.testing.assert_allclose(fit.standard_errors, expected, rtol=rtol)


@pytest.mark.parametrize(("name", "dataset"), [("norris", "Norris"), ("longley", "Longley")])
def test_certified_residual_standard_deviation(request, name, dataset):
    expected = float(certified(dataset).loc["residual_sd", "certified_value"])
    assert request.getfixturevalue(name).scale == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("name", "dataset"), [("norris", "Norris"), ("longley", "Longley")])
def test_certified_r_squared_and_f(request, name, dataset):
    results, table = (
        request.getfixturevalue(name).results,
        certified(dataset)["certified_value"].astype(float),
    )
    ours = (results.rsquared, results.ssr, results.fvalue)
    assert ours == pytest.approx((table["r_squared"], table["rss"], table["F"]), rel=1e-7)


@pytest.fixture
def motorettes():
    """Log hours to failure above 150 degrees; the motorettes still running are open."""
    table = published_table("motorettes")
    table = table[table["temp"] > 150]
    heat = 1000 / (273.2 + table["temp"].to_numpy(dtype=float))
    log_hours = np.log(table["time"].to_numpy(dtype=float))
    columns = np.column_stack([np.ones(len(table)), heat])
    return fit_normal(columns, log_hours, open_=table["event"].to_numpy() == 0), log_hours[
        table["event"] == 1
    ]


def test_running_motorettes_are_right_censored(motorettes):
    # Lognormal accelerated failure time in a survival package's reference output, which other programs
    # give too: -10.471 (2.772), 8.322 (1.284), log scale -.504 (.183).
    fit, _ = motorettes
    np.testing.assert_allclose(fit.coefficients, [-10.47056, 8.32208], atol=6e-6)
    np.testing.assert_allclose(fit.standard_errors, [2.772, 1.284], atol=6e-4)
    assert (np.log(fit.scale), fit.log_scale_error) == pytest.approx((-0.50412, 0.183), abs=6e-4)


def test_the_printed_likelihood_of_the_motorettes_is_that_of_hours_not_of_their_logs(motorettes):
    # -145.867 in hours, -24.4738 in log hours: the sum of the log hours of failure lies between them.
    fit, log_failures = motorettes
    assert fit.log_likelihood == pytest.approx(-24.4738, abs=6e-5)
    assert fit.log_likelihood - log_failures.sum() == pytest.approx(-145.86723, abs=6e-5)


@pytest.mark.parametrize(
    ("celsius", "hours"),
    [(130, [12033.185, 26095.677, 56592.20]), (150, [4536.877, 9838.864, 21336.98])],
)
def test_quantiles_of_a_motorettes_life(motorettes, celsius, hours):
    # The same reference output: hours by which .1, .5 and .9 have failed.
    fit, _ = motorettes
    median = fit.coefficients @ [1.0, 1000 / (273.2 + celsius)]
    ours = np.exp(median + fit.scale * np.array([-1.2815515655446004, 0.0, 1.2815515655446004]))
    np.testing.assert_allclose(ours, hours, rtol=1e-5)


def test_tobins_households_bought_nothing_below_a_threshold():
    # Tobin 1958 in a survival package's reference output: 15.14487 (16.07945), -.12906 (.21858),
    # -.04554 (.05825), log scale 1.71785 (.31032), log likelihood -28.94013.
    table = published_table("tobin")
    bought = table["durable"].to_numpy(dtype=float)
    fit = fit_normal(np.column_stack([np.ones(20), table[["age", "quant"]]]), bought, left_open=bought == 0)
    np.testing.assert_allclose(fit.coefficients, [15.14487, -0.12906, -0.04554], atol=6e-6)
    np.testing.assert_allclose(fit.standard_errors, [16.07945, 0.21858, 0.05825], atol=6e-5)
    assert (np.log(fit.scale), fit.log_scale_error) == pytest.approx((1.71785, 0.31032), abs=6e-6)
    assert fit.log_likelihood == pytest.approx(-28.94013, abs=6e-6)


@pytest.fixture
def sleepstudy():
    """Lines of 18 subjects around a common one, pooled as much as the published variances say."""
    table = published_table("sleepstudy")
    subject = table["subject"].to_numpy()[:, None] == np.unique(table["subject"])
    days = table["days"].to_numpy(dtype=float)
    columns = np.column_stack([np.ones(len(table)), days, subject, subject * days[:, None]])
    between = np.array([[24.741**2, 0.0656 * 24.741 * 5.922], [0.0656 * 24.741 * 5.922, 5.922**2]])
    precision = np.zeros((38, 38))
    precision[2:, 2:] = np.kron(np.linalg.inv(between), np.eye(18))
    belief = Penalty(
        centre=np.zeros(38), precision=precision, log_scale_centre=np.log(25.592), log_scale_sd=1e-3
    )
    return fit_normal(columns, table["reaction_ms"].to_numpy(), penalty=belief)


def test_pooling_with_the_published_variances_gives_the_published_mixed_model(sleepstudy):
    # Reaction ~ Days + (Days | Subject), REML, in the reference output of mixed-model packages:
    # 251.405 (6.825), 10.467 (1.546).
    np.testing.assert_allclose(sleepstudy.coefficients[:2], [251.405, 10.467], atol=6e-4)
    np.testing.assert_allclose(sleepstudy.standard_errors[:2], [6.825, 1.546], atol=6e-4)


def test_the_first_subject_is_pulled_as_far_as_published(sleepstudy):
    # Conditional modes of subject 308 in the same model, 2.2586 and 9.1990 (from memory).
    np.testing.assert_allclose(sleepstudy.coefficients[[2, 20]], [2.2586, 9.1990], atol=2e-3)
