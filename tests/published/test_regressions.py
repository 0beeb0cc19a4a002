"""The effort regression against certified and published fits, open tasks as right-censored.

The sampler is the one that is fitted to a build's tasks. It gets flat priors on the coefficients and
residuals without heavy tails, so that its posterior mean should be the published estimate and its sd
the published standard error, up to what few rows leave to the prior of the residual spread.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from forecast.learn.effort import posterior
from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EXCESS, EffortDraws, OpenEvidence
from forecast.learn.effort.priors import EffortPriors, Normal
from tests.published import published_table

DRAWS = 1500


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Draws of the coefficients; the first is the level, with every constant part of the model in it."""

    coefficients: np.ndarray
    draws: EffortDraws

    @property
    def centre(self):
        return self.coefficients.mean(axis=0)

    @property
    def sd(self):
        return self.coefficients.std(axis=0)


@pytest.fixture
def normal_residuals(monkeypatch):
    """All prior weight on the lightest tail of the model, since the published fits are normal."""
    monkeypatch.setattr(posterior, "TAIL_WEIGHTS", np.array([1e-300] * 5 + [1.0]))


def fit(columns, y, *, open_=None, spread, sure_of_spread=False, group=None, by_group=None):
    """Posterior of y on the columns (the first constant), rows marked open known to lie above y."""
    rows = len(y)
    open_ = np.zeros(rows, dtype=bool) if open_ is None else np.asarray(open_)
    order = np.argsort(open_, kind="stable")
    group = np.zeros(rows, dtype=int) if group is None else np.asarray(group)
    by_group = np.zeros(rows) if by_group is None else np.asarray(by_group, dtype=float)
    x, y, open_ = np.asarray(columns, dtype=float)[order], np.asarray(y, dtype=float)[order], open_[order]
    nothing = np.zeros(rows)
    design = EffortDesign(
        tasks=tuple(str(i) for i in range(rows)),
        types=tuple(str(g) for g in np.unique(group)),
        log_hours=y,
        finished=~open_,
        under_way=open_,
        fixed=x,
        fixed_names=tuple(f"b{i}" for i in range(x.shape[1])),
        fixed_priors=(Normal(centre=0.0, sd=1e3),) * x.shape[1],
        offset=nothing,
        pooled_offset=nothing,
        type_learning=np.zeros(len(np.unique(group))),
        type_of=group[order],
        log_piece=by_group[order],
        unplanned=np.zeros(rows, dtype=bool),
        pair_of=np.full(rows, -1),
        reopened=np.zeros(rows, dtype=bool),
        pairs=0,
        size=nothing,
        narrower=nothing,
        block_of=np.zeros(rows, dtype=int),
        block_tasks=1,
        sharable=np.zeros(rows, dtype=bool),
        usual_share=0.0,
    )
    evidence = OpenEvidence(log_floor=y[open_], report_log_density=np.zeros((int(open_.sum()), len(EXCESS))))
    priors = EffortPriors(
        log_spread=Normal(centre=np.log(spread), sd=0.03 if sure_of_spread else 1.0),
        type_spread_scale=0.01 if sure_of_spread else 0.3,
    )
    draws = posterior.draw_posterior(
        design, priors, evidence, np.random.default_rng(20260930), draws=DRAWS, warm_up=300
    )
    coefficients = draws.fixed.copy()
    coefficients[:, 0] += draws.drift[:, -1] + (draws.type_level[:, 0] if len(design.types) == 1 else 0.0)
    return Posterior(coefficients=coefficients, draws=draws)


def certified(dataset):
    table = published_table("nist_certified")
    rows = table[(table["dataset"] == dataset) & table["quantity"].str.startswith("b")]
    return rows["certified_value"].astype(float).to_numpy(), rows["certified_sd"].astype(float).to_numpy()


def in_certified_sds(found, values, sds):
    return (found - values) / sds


def norris():
    table = published_table("norris")
    return np.column_stack([np.ones(len(table)), table["x"]]), table["y"].to_numpy()


def test_norris_coefficients_within_a_sixth_of_their_certified_sd(normal_residuals):
    columns, y = norris()
    values, sds = certified("Norris")
    found = fit(columns, y, spread=0.88)
    np.testing.assert_allclose(in_certified_sds(found.centre, values, sds), 0.0, atol=0.16)
    np.testing.assert_allclose(found.sd / sds, 1.0, atol=0.15)


def test_norris_residuals_have_the_certified_spread(normal_residuals):
    columns, y = norris()
    found = fit(columns, y, spread=0.88)
    assert np.median(found.draws.spread) == pytest.approx(0.884796396144373, rel=0.05)


def test_longley_coefficients_within_a_sixth_of_their_certified_sd(normal_residuals):
    # The columns are nearly one another's sums; centred and scaled here, and certified values with them.
    table = published_table("longley")
    names = ["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]
    raw = table[names].to_numpy()
    middle, width, unit = raw.mean(axis=0), raw.std(axis=0), 304.854073561965
    values, sds = certified("Longley")
    columns = np.column_stack([np.ones(len(raw)), (raw - middle) / width])
    found = fit(columns, table["TOTEMP"] / unit, spread=1.0)
    slopes = found.coefficients[:, 1:] * unit / width
    np.testing.assert_allclose(in_certified_sds(slopes.mean(axis=0), values[1:], sds[1:]), 0.0, atol=0.16)
    # Nine degrees of freedom: a posterior is wider than a standard error by sqrt(9 / 7).
    np.testing.assert_allclose(slopes.std(axis=0) / sds[1:], np.sqrt(9 / 7), atol=0.25)


def motorettes():
    """Hours to failure at 170 degrees and more; the motorettes still running are open."""
    table = published_table("motorettes")
    table = table[table["temp"] > 150]
    heat = 1000 / (273.2 + table["temp"].to_numpy())
    return heat, np.log(table["time"].to_numpy(dtype=float)), table["event"].to_numpy() == 0


def heat_effect(rows, *, open_=None):
    heat, log_hours, _ = motorettes()
    columns = np.column_stack([np.ones(len(heat)), heat - heat.mean()])[rows]
    return fit(columns, log_hours[rows], open_=open_, spread=0.6)


def test_running_motorettes_are_right_censored(normal_residuals):
    # Lognormal accelerated failure time, right-censored, in a survival package's reference output:
    # intercept -10.471 (2.772), slope 8.322 (1.284), scale .604, also given by other programs.
    heat, _, running = motorettes()
    found = heat_effect(slice(None), open_=running)
    slope = found.coefficients[:, 1]
    intercept = found.coefficients[:, 0] - heat.mean() * slope
    assert abs(slope.mean() - 8.322) < 0.2 * 1.284
    assert abs(intercept.mean() - -10.471) < 0.2 * 2.772
    # Seventeen failures: the posterior is a little wider than the standard errors.
    assert 1.0 < slope.std() / 1.284 < 1.3
    assert 1.0 < np.median(found.draws.spread) / 0.604 < 1.2


@pytest.mark.parametrize(("celsius", "median_hours"), [(130, 26095.677), (150, 9838.864)])
def test_the_median_life_of_a_motorette(normal_residuals, celsius, median_hours):
    # The same reference output: medians at 130 and 150 degrees.
    heat, _, running = motorettes()
    found = heat_effect(slice(None), open_=running)
    log_median = found.coefficients @ [1.0, 1000 / (273.2 + celsius) - heat.mean()]
    assert abs(np.median(log_median) - np.log(median_hours)) < 0.2 * log_median.std()


def test_dropping_the_running_motorettes_would_make_the_others_look_short_lived(normal_residuals):
    heat, _, running = motorettes()
    kept = heat_effect(slice(None), open_=running)
    dropped = heat_effect(~running)
    at_170 = [1.0, 1000 / (273.2 + 170) - heat.mean()]
    assert (dropped.coefficients @ at_170).mean() < (kept.coefficients @ at_170).mean() - 0.2


def test_tobins_households_bought_nothing_below_a_threshold(normal_residuals):
    # Tobin 1958, left-censored at 0, mirrored so that "nothing bought" is a floor: age -.12906 (.21858),
    # quant -.04554 (.05825), scale 5.57254. Seven buyers cannot tell the scale: a posterior that averages
    # over it is wider and lopsided, so the coefficients are compared at the published scale.
    table = published_table("tobin")
    raw = table[["age", "quant"]].to_numpy(dtype=float)
    middle, width, unit = raw.mean(axis=0), raw.std(axis=0), 5.57254
    columns = np.column_stack([np.ones(len(raw)), (raw - middle) / width])
    bought = table["durable"].to_numpy(dtype=float)
    found = fit(columns, -bought / unit, open_=bought == 0, spread=1.0, sure_of_spread=True)
    slopes = -np.median(found.coefficients[:, 1:], axis=0) * unit / width
    np.testing.assert_allclose(
        in_certified_sds(slopes, [-0.12906, -0.04554], [0.21858, 0.05825]), 0, atol=0.2
    )


def sleepstudy(unit):
    table = published_table("sleepstudy")
    subject = np.unique(table["subject"], return_inverse=True)[1]
    columns = np.column_stack([np.ones(len(table)), table["days"]])
    return fit(columns, table["reaction_ms"] / unit, spread=0.5, group=subject, by_group=table["days"])


def test_sleepstudy_subjects_are_pooled_as_in_the_published_mixed_model(normal_residuals):
    # Reaction ~ Days + (Days | Subject), REML: 251.405 (6.825), 10.467 (1.546), sds 24.741 and 5.922,
    # residual 25.592, in the reference output of mixed-model packages. Subjects stand for task types, the
    # spread of the residuals is each one's own, and heavy-tailed priors of scales pull little with 18 groups.
    unit = 50.0
    found = sleepstudy(unit)
    assert abs(found.centre[0] * unit - 251.405) < 0.2 * 6.825
    assert abs(found.centre[1] * unit - 10.467) < 0.2 * 1.546
    assert found.sd[1] * unit == pytest.approx(1.546, rel=0.15)
    assert np.median(found.draws.scales["level"]) * unit == pytest.approx(24.741, rel=0.25)
    assert np.median(found.draws.scales["learning"]) * unit == pytest.approx(5.922, rel=0.2)
