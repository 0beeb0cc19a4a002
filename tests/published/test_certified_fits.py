"""The censored normal regression against certified values and reference output, digit by digit."""

import numpy as np
import pytest

from forecast.learn.effort.censored import Penalty, fit_normal
from tests.published import published_table


def certified(dataset):
    table = published_table("nist_certified")
    return table[table["dataset"] == dataset].set_index("quantity")


def flat(columns):
    """No prior at all."""
    return Penalty(centre=np.zeros(columns), precision=np.zeros((columns, columns)))


def least_squares(x, y):
    """Coefficients, their standard errors and the residual sd, over n - p as least squares has it."""
    fit = fit_normal(x, y, np.zeros(len(y), dtype=bool), flat(x.shape[1]))
    spare = np.sqrt(len(y) / (len(y) - x.shape[1]))
    return fit.coefficients, fit.standard_errors * spare, fit.scale * spare


@pytest.fixture
def norris():
    table = published_table("norris")
    x = np.column_stack([np.ones(len(table)), table["x"]])
    return *least_squares(x, table["y"].to_numpy(dtype=float)), table["y"]


@pytest.fixture
def longley():
    """The columns are nearly sums of one another: fitted centred and scaled, and turned back."""
    table = published_table("longley")
    raw = table[["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]].to_numpy(dtype=float)
    basis, turn = np.linalg.qr((raw - raw.mean(axis=0)) / raw.std(axis=0))
    unit = table["TOTEMP"].std()
    x = np.column_stack([np.ones(len(raw)), basis])
    coefficients, errors, sd = least_squares(x, table["TOTEMP"].to_numpy(dtype=float) / unit)
    back = np.eye(7)
    back[1:, 1:] = np.diag(1 / raw.std(axis=0)) @ np.linalg.inv(turn)
    back[0, 1:] = -raw.mean(axis=0) @ back[1:, 1:]
    # The constant and the orthonormal columns are uncorrelated, so variances add up.
    return unit * back @ coefficients, unit * np.sqrt(back**2 @ errors**2), unit * sd, table["TOTEMP"]


# NIST StRD asks for as many digits as the data allow: Norris is of low, Longley of higher difficulty.
DATASETS = pytest.mark.parametrize(
    ("name", "dataset", "rtol"), [("norris", "Norris", 1e-9), ("longley", "Longley", 1e-7)]
)


@DATASETS
def test_certified_coefficients(request, name, dataset, rtol):
    found, table = request.getfixturevalue(name)[0], certified(dataset)
    expected = table.loc[table.index.str.startswith("b"), "certified_value"].astype(float)
    np.testing.assert_allclose(found, expected, rtol=rtol)


@DATASETS
def test_certified_standard_deviations_of_the_coefficients(request, name, dataset, rtol):
    found, table = request.getfixturevalue(name)[1], certified(dataset)
    expected = table.loc[table.index.str.startswith("b"), "certified_sd"].astype(float)
    np.testing.assert_allclose(found, expected, rtol=rtol)


@pytest.mark.parametrize(("name", "dataset"), [("norris", "Norris"), ("longley", "Longley")])
def test_certified_residual_standard_deviation(request, name, dataset):
    expected = float(certified(dataset).loc["residual_sd", "certified_value"])
    assert request.getfixturevalue(name)[2] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("name", "dataset"), [("norris", "Norris"), ("longley", "Longley")])
def test_certified_r_squared_and_f(request, name, dataset):
    coefficients, _, sd, y = request.getfixturevalue(name)
    table = certified(dataset)["certified_value"].astype(float)
    columns, total = len(coefficients) - 1, float(((y - y.mean()) ** 2).sum())
    residual = sd**2 * (len(y) - columns - 1)
    ours = (1 - residual / total, residual, (total - residual) / columns / sd**2)
    assert ours == pytest.approx((table["r_squared"], table["rss"], table["F"]), rel=1e-7)


@pytest.fixture
def motorettes():
    """Log hours to failure above 150 degrees; the motorettes still running are open."""
    table = published_table("motorettes")
    table = table[table["temp"] > 150]
    heat = 1000 / (273.2 + table["temp"].to_numpy(dtype=float))
    log_hours = np.log(table["time"].to_numpy(dtype=float))
    columns = np.column_stack([np.ones(len(table)), heat])
    running = table["event"].to_numpy() == 0
    return fit_normal(columns, log_hours, running, flat(2)), log_hours[~running]


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
    # Below a threshold is above it with every sign turned: the coefficients stay the same.
    columns = np.column_stack([np.ones(20), table[["age", "quant"]]])
    fit = fit_normal(-columns, -bought, bought == 0, flat(3))
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
    prior = Penalty(
        centre=np.zeros(38), precision=precision, log_scale_centre=np.log(25.592), log_scale_sd=1e-3
    )
    return fit_normal(columns, table["reaction_ms"].to_numpy(), np.zeros(len(table), dtype=bool), prior)


def test_pooling_with_the_published_variances_gives_the_published_mixed_model(sleepstudy):
    # Reaction ~ Days + (Days | Subject), REML, in the reference output of mixed-model packages:
    # 251.405 (6.825), 10.467 (1.546).
    np.testing.assert_allclose(sleepstudy.coefficients[:2], [251.405, 10.467], atol=6e-4)
    np.testing.assert_allclose(sleepstudy.standard_errors[:2], [6.825, 1.546], atol=6e-4)


def test_the_first_subject_is_pulled_as_far_as_published(sleepstudy):
    # Conditional modes of subject 308 in the same model, 2.2586 and 9.1990 (from memory).
    np.testing.assert_allclose(sleepstudy.coefficients[[2, 20]], [2.2586, 9.1990], atol=2e-3)
