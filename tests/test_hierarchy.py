"""What builds have in common and how they differ: the fit over builds, against a reference and by hand."""

import numpy as np
import pytest

from forecast.many.hierarchy import Likelihood, fit_hierarchy


def quadratic(mean: float, sd: float) -> Likelihood:
    return Likelihood(index=np.array([0]), precision=np.array([[sd**-2.0]]), pull=np.array([mean / sd**2]))


def test_the_hierarchy_agrees_with_a_random_effects_meta_analysis():
    """Many builds drown the weak beliefs; statsmodels' iterated (Paule-Mandel) estimate is the reference."""
    from statsmodels.stats.meta_analysis import combine_effects

    rng = np.random.default_rng(5)
    sd = rng.uniform(0.1, 0.5, 400)
    seen = rng.normal(0.4, 0.2, 400) + sd * rng.standard_normal(400)
    fit = fit_hierarchy(
        [quadratic(m, s) for m, s in zip(seen, sd, strict=True)], np.zeros(1), np.array([0.35]), np.array([0])
    )
    reference = combine_effects(seen, sd**2, method_re="iterated")
    assert fit.centre[0] == pytest.approx(reference.mean_effect_re, abs=0.01)
    assert fit.between[0] == pytest.approx(np.sqrt(reference.tau2), abs=0.02)
    assert fit.centre_sd[0] == pytest.approx(reference.sd_eff_w_re, rel=0.1)


def test_few_builds_that_agree_leave_the_next_one_free():
    few = fit_hierarchy([quadratic(0.6, 0.05)] * 5, np.zeros(1), np.array([0.35]), np.array([0]))
    many = fit_hierarchy([quadratic(0.6, 0.05)] * 500, np.zeros(1), np.array([0.35]), np.array([0]))
    club = fit_hierarchy(
        [quadratic(0.6, 0.05)] * 5, np.zeros(1), np.array([0.35]), np.array([0]), between_share=0.5
    )
    assert club.centre[0] == pytest.approx(0.6, abs=0.02)
    assert few.next_sd[0] > 0.2 > 0.05 > many.next_sd[0]


@pytest.mark.parametrize("builds", [1, 5, 50])
def test_the_centre_lies_between_the_belief_and_the_mean_by_what_each_weighs(builds):
    """Pencil: builds that are known exactly weigh n / between^2, the belief 1 / sd^2."""
    exact, sd = [quadratic(0.6, 1e-5)] * builds, 0.35
    fit = fit_hierarchy(exact, np.array([0.1]), np.array([sd]), np.array([0]), between_share=0.5)
    seen, believed = builds / fit.between[0] ** 2, 1 / sd**2
    assert fit.centre[0] == pytest.approx((0.6 * seen + 0.1 * believed) / (seen + believed), abs=1e-4)


def test_what_is_integrated_out_is_not_there():
    both = Likelihood(index=np.array([0, 1]), precision=np.array([[4.0, 3.0], [3.0, 5.0]]), pull=np.ones(2))
    one = both.integrate_out(np.array([False, True]), np.array([1.0, 1e-6]))
    assert one.index.tolist() == [0]
    assert one.precision == pytest.approx(np.array([[4.0]]), abs=1e-6)
