"""Rework, work outside the plan and growth against the textbook laws that they are built from.

Beta-binomial chances, Gamma-Poisson rates, compound Poisson sums, branching growth. Means and variances
are in closed form, and draws agree with them within five standard errors or a stated tolerance.
"""

from dataclasses import replace
from datetime import date
from math import exp

import numpy as np
import pytest
from scipy.special import ndtr

from forecast.learn.effort.priors import ReworkAndGrowthPriors
from forecast.learn.effort.rework_and_growth import ReworkAndGrowth, ReworkCounts, fit_rework_and_growth
from tests.effort_cases import plan_of, progress_of

DRAWS = 40_000
PRIORS = ReworkAndGrowthPriors()
BUNCHING = exp(0.5**2) - 1  # variance of the factor by which a rate wanders: lognormal of mean 1 and sd 0.5
SQUARE = 1 + 1 / 1.5  # E[X^2] over E[X]^2 of sizes that are Gamma of shape 1.5
GENERATIONS = 5
TYPICAL = np.array([0, 0, 0, 1])


def session(task, day, hours=2.0, **more) -> dict:
    return {"task": f"T{task:03d}", "date": f"2026-01-{day:02d}", "hours": hours, **more}


def learned(rows, tasks=4, draws=DRAWS, **plan) -> ReworkAndGrowth:
    """What four tasks teach, of which the last one is of a type of its own."""
    progress = progress_of(plan_of(tasks, **plan), rows)
    type_of = np.array([*TYPICAL, *[0] * (tasks - 4)])
    hours = np.arange(1.0, tasks + 1)
    return fit_rework_and_growth(progress, type_of, 2, hours, draws, np.random.default_rng(3), priors=PRIORS)


def written(**parts) -> ReworkAndGrowth:
    """Beliefs written by hand for one draw: what a test does not name never happens."""
    none, never = np.empty(0), np.zeros(1)
    plain = {
        "rework_chance": np.zeros((1, 2)), "rework_shares": none, "later_chance": never, "later_hours": none,
        "outside_rate": never, "outside_hours": none, "growth_rate": never, "growth_hours": none,
        "growth_rise": never, "progress": 0.0, "batch": 1.0,
        "rework_share": np.zeros((1, 2)), "outside_share": never,
        "counts": ReworkCounts(redone=0, could=0, worked_hours=0.0), "priors": PRIORS,
    }  # fmt: skip
    return ReworkAndGrowth(**(plain | parts))


def has_moments(draws, mean, variance):
    """Mean within five standard errors, variance within a tenth."""
    assert draws.mean() == pytest.approx(mean, abs=5 * np.sqrt(variance / len(draws)))
    assert draws.var() == pytest.approx(variance, rel=0.1)


# Chances: a common Beta, and each type's own chance as if ten of its tasks had shown the common one ------

DONE = [session(0, 1, done=True), session(1, 2, done=True), session(3, 4, done=True)]


@pytest.mark.parametrize(
    ("rows", "redone", "could"),
    [
        ([], (0, 0), (0, 0)),
        (DONE, (0, 0), (2, 1)),
        ([*DONE, session(0, 9, rework=True, done=True)], (1, 0), (2, 1)),
        # Rework on a task that is still open counts: it has been redone.
        ([*DONE, session(2, 8), session(2, 9, rework=True)], (1, 0), (3, 1)),
        # A task under way without rework could still bring some: it does not count yet.
        ([*DONE, session(2, 8)], (0, 0), (2, 1)),
        ([*DONE, session(3, 9, rework=True, done=True)], (0, 1), (2, 1)),
    ],
)
def test_the_chance_of_rework_is_the_beta_posterior_of_the_tasks_redone(rows, redone, could):
    found = learned(rows)
    assert (found.counts.redone, found.counts.could) == (sum(redone), sum(could))
    has_chances(found, redone, could)


def has_chances(found, redone, could):
    """Beta posteriors of the types' chances around the common one, given effective counts."""
    yes, no = 0.5 + sum(redone), 5.5 + sum(could) - sum(redone)
    common = yes / (yes + no)
    spread = common * (1 - common) / (yes + no + 1)
    for kind in range(2):
        tasks = 10 + could[kind]
        mean = (10 * common + redone[kind]) / tasks
        # Total variance: within a common chance, and of the common chance.
        of_mean = (10 / tasks) ** 2 * spread
        variance = (mean * (1 - mean) - of_mean) / (tasks + 1) + of_mean
        has_moments(found.rework_chance[:, kind], mean, variance)


def test_the_chance_that_rework_is_found_later_is_a_beta_posterior():
    """Of four tasks redone, one was called done 11 hours of work before, one just before, two not before.

    What is redone twice was found when it was first redone. The two found later are one event, within a
    fortnight, so that four tasks are worth three.
    """
    rows = [
        session(0, 1, done=True), session(0, 15, rework=True), session(0, 20, rework=True, done=True),
        session(3, 6, done=True), session(3, 7, rework=True, done=True),
        session(1, 3, done=True), session(1, 3, hours=1, rework=True, done=True),
        session(2, 4), session(2, 9, rework=True),
    ]  # fmt: skip
    found = learned(rows)
    # Days 3 to 14: 3 + 2 + 2 + 2 + 2 hours. Found on the day after, with no work between, counts as 0.1.
    assert found.later_hours.tolist() == [11.0, 0.1]
    assert found.batch == 2.0
    has_moments(found.later_chance, 3.5 / 7, (3.5 / 7) * (3.5 / 7) / 8)


@pytest.mark.parametrize(("last", "events"), [(20, 1), (30, 2)])
def test_tasks_that_one_event_reopens_weigh_as_much_as_one_event(last, events):
    """Tasks 0, 1 and 3 are reopened, within a fortnight or not; 2 is redone while open, 4 is not redone."""
    rows = [*DONE, session(4, 5, done=True), session(2, 6), session(2, 7, rework=True)]
    rows += [session(t, d, rework=True, done=True) for t, d in [(0, 10), (1, 11), (3, last)]]
    found = learned(rows, tasks=5)
    worth = (events + 1) / 4
    assert found.batch == 3 / events
    assert (found.counts.redone, found.counts.could) == (4, 5)
    has_chances(found, (3 * worth, worth), (4 * worth, worth))
    yes, no = 2 + 3 * worth, 2 + worth
    has_moments(found.later_chance, yes / (yes + no), yes * no / (yes + no) ** 2 / (yes + no + 1))


def test_shares_are_rework_over_first_time_hours_and_three_times_at_most():
    rows = [
        session(0, 1, hours=4, done=True), session(0, 2, hours=1, rework=True, done=True),
        session(1, 3, hours=1, done=True), session(1, 4, hours=5, rework=True, done=True),
        session(2, 5, hours=9, rework=True), session(3, 6, hours=1, done=True),
    ]  # fmt: skip
    found = learned(rows)
    assert found.rework_shares.tolist() == [0.25, 3.0]
    assert found.counts.worked_hours == 21.0


# Rates: Gamma posteriors per person-hour of planned work -------------------------------------------------


def test_rates_are_gamma_posteriors_of_the_days_seen():
    """Ten planned hours; two days with work outside the plan, and two on which tasks were added."""
    added = [None, *(date(2026, 1, day) for day in (1, 5, 5, 6))]
    rows = [
        session(0, 1, hours=10, done=True), {"date": "2026-01-02", "hours": 1.0},
        {"date": "2026-01-02", "hours": 0.5}, {"date": "2026-01-07", "hours": 2.0},
    ]  # fmt: skip
    found = learned(rows, tasks=5, added=added)
    assert found.outside_hours.tolist() == [1.5, 2.0]
    has_moments(found.outside_rate, (0.8 + 2) / (50 + 10), (0.8 + 2) / (50 + 10) ** 2)
    # The task added on the day of the first session was there from the start; the next two came together.
    assert found.growth_hours.tolist() == [3.0 + 4.0, 5.0]
    # One hour of the fifteen planned is done; 11.5 of 13.5 hours were logged when tasks were added.
    assert found.progress == pytest.approx(1 / 15)
    has_growth_posterior(found, worked=10.0, places=[11.5 / 13.5 / 15] * 2)


@pytest.mark.parametrize("grown", [(2, 3, 4, 5), (6, 7, 8, 9), ()])
def test_additions_early_or_late_show_how_the_rate_of_growth_rises(grown):
    """Nine of ten tasks are done, 100 hours each, one per day; tasks were added early, late or never."""
    added = [None] * (10 - len(grown)) + [date(2026, 1, day) for day in grown]
    rows = [session(i, 1 + i, hours=100.0, done=True) for i in range(9)]
    found = learned(rows, tasks=10, added=added)
    assert found.progress == pytest.approx(45 / 55)
    has_growth_posterior(found, worked=900.0, places=[45 / 55 * day / 9 for day in grown])


def has_growth_posterior(found, worked, places):
    """Rate r exp(b p) at share p: r is Gamma given b, and b has a Normal prior on a grid from -1 to 3."""
    rise = np.arange(-1.0, 3.1, 0.25)
    shape = 0.6 + len(places)
    exposure = 60 + worked * mean_rise(rise, 0.0, found.progress)
    weight = np.exp(rise * sum(places) - 0.5 * ((rise - 0.3) / 0.7) ** 2) / exposure**shape
    weight /= weight.sum()
    mean = weight @ (shape / exposure)
    has_moments(found.growth_rate, mean, weight @ (shape * (shape + 1) / exposure**2) - mean**2)
    has_moments(found.growth_rise, weight @ rise, weight @ rise**2 - (weight @ rise) ** 2)


def mean_rise(rise, begin, end):
    """Mean of exp(rise p) between two shares of the build: the integral over the distance."""
    safe = np.where(rise == 0, 1.0, rise)
    mean = (np.exp(safe * end) - np.exp(safe * begin)) / (safe * (end - begin))
    return np.where(rise == 0, 1.0, mean)


def test_before_the_first_session_nothing_has_grown():
    assert learned([], added=date(2026, 1, 5)).growth_hours.tolist() == []


def test_the_share_of_rework_to_expect_is_the_chance_times_the_mean_share():
    """Without rework seen, the mean of four believed shares: lognormal, of which few exceed the bound."""
    found = learned(DONE)
    mean_share = 0.25 * exp(0.8**2 / 2)
    expected = found.rework_chance.mean(axis=0) * mean_share
    assert found.rework_share.mean(axis=0) == pytest.approx(expected, rel=0.03)


def test_the_hours_outside_the_plan_to_expect_are_the_rate_times_the_mean_size():
    """Two days of six hours beside four believed ones of 2.5: 22 hours on six days."""
    rows = [*DONE, *({"date": f"2026-01-{d}", "hours": 6.0} for d in (20, 21))]
    found = learned(rows)
    assert found.outside_share.mean() == pytest.approx(found.outside_rate.mean() * 22 / 6, rel=0.02)


# Draws ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate", "worked"), [(0.02, 100.0), (0.5, 20.0)])
def test_hours_outside_the_plan_are_a_compound_poisson_sum(rate, worked):
    """The bunched rate adds to the variance of the sum."""
    beliefs = written(outside_rate=np.full(1, rate))
    pick, rng = np.zeros(DRAWS, dtype=int), np.random.default_rng(5)
    draws = beliefs.draw_outside(np.full(DRAWS, worked), pick, rng)
    events = rate * worked
    variance = events * 2.5**2 * SQUARE + events**2 * BUNCHING * 2.5**2
    has_moments(draws, events * 2.5, variance)


def growth_moments(rate, worked, size, square):
    """Mean and variance of the sum of all generations, while none comes near its cap.

    Given M hours, a generation has mean r M and variance c M + b M^2; `mean`, `line` and `bend` are the
    coefficients of the mean and of the variance of the sum of the generations to come.
    """
    r, c, b = rate * size, rate * square, (rate * size) ** 2 * BUNCHING
    mean = line = bend = 0.0
    for _ in range(GENERATIONS):
        line = line * r + bend * c + (1 + mean) ** 2 * c
        bend = bend * (r**2 + b) + (1 + mean) ** 2 * b
        mean = r * (1 + mean)
    return mean * worked, line * worked + bend * worked**2


def grown(beliefs, worked, seed, count=DRAWS):
    rng = np.random.default_rng(seed)
    return beliefs.draw_growth(np.full(count, worked), np.zeros(count, dtype=int), rng)


@pytest.mark.parametrize(("rate", "worked"), [(0.002, 1_000.0), (0.001, 10_000.0)])
def test_growth_is_a_compound_poisson_sum_in_each_generation(rate, worked):
    draws = grown(written(growth_rate=np.full(1, rate)), worked, 5)
    has_moments(draws, *growth_moments(rate, worked, 4.0, 4.0**2 * SQUARE))


@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.6])
def test_growth_of_growth_is_a_geometric_sum_with_a_cap(ratio):
    """With very many events a generation is min(ratio L, 0.8) times the last, L the lognormal factor."""
    draws = grown(written(growth_rate=np.full(1, ratio / 4.0)), 1e6, 14, count=10_000) / 1e6
    top = np.log(0.8 / ratio)
    over = 1 - ndtr((top + 0.125) / 0.5)
    first = ratio * ndtr((top - 0.125) / 0.5) + 0.8 * over
    second = ratio**2 * (1 + BUNCHING) * ndtr((top - 0.375) / 0.5) + 0.8**2 * over
    mean = square = 0.0
    for _ in range(GENERATIONS):
        mean, square = first * (1 + mean), second * (1 + 2 * mean + square)
    assert mean == pytest.approx(first * (1 - first**GENERATIONS) / (1 - first))
    has_moments(draws, mean, square - mean**2)


def test_growth_without_bounds_is_capped_in_each_of_five_generations():
    draws = grown(written(growth_rate=np.full(1, 10.0)), 1_000.0, 15, count=1_000)
    assert draws == pytest.approx(1_000.0 * 0.8 * (1 - 0.8**GENERATIONS) / (1 - 0.8))


@pytest.mark.parametrize("rise", [-1.0, 2.0])
def test_growth_to_come_has_the_mean_rate_of_the_rest_of_the_build(rise):
    beliefs = written(growth_rate=np.full(1, 0.0005), growth_rise=np.full(1, rise), progress=0.4)
    rate = 0.0005 * (exp(rise) - exp(0.4 * rise)) / (0.6 * rise)
    has_moments(grown(beliefs, 10_000.0, 16), *growth_moments(rate, 10_000.0, 4.0, 4.0**2 * SQUARE))


def test_sizes_seen_weigh_against_four_believed_ones():
    """Twelve days of 10 hours beside four of 4: 8.5 hours expected per day on which tasks are added."""
    beliefs = written(growth_rate=np.full(1, 0.0003), growth_hours=np.full(12, 10.0))
    square = 0.75 * 10.0**2 + 0.25 * 4.0**2 * SQUARE
    has_moments(grown(beliefs, 10_000.0, 6), *growth_moments(0.0003, 10_000.0, 8.5, square))


def test_a_thousand_events_bring_a_thousand_sizes():
    """Only some of so many are drawn singly; the sum is still that of all."""
    beliefs = written(outside_rate=np.ones(1))
    rng = np.random.default_rng(7)
    draws = beliefs.draw_outside(np.full(2_000, 1_000.0), np.zeros(2_000, dtype=int), rng)
    assert draws.mean() == pytest.approx(2_500.0, rel=0.06)


def test_each_run_has_the_rate_of_its_own_draw():
    beliefs = written(growth_rate=np.array([0.0, 0.001]), growth_rise=np.zeros(2))
    rng = np.random.default_rng(8)
    draws = beliefs.draw_growth(np.full(2_000, 10_000.0), np.repeat([0, 1], 1_000), rng)
    assert not draws[:1_000].any()
    assert draws[1_000:].mean() == pytest.approx(10 * 4.0, rel=0.1)


def test_tasks_are_redone_with_the_chance_of_their_type_for_a_share_of_their_hours():
    beliefs = written(rework_chance=np.array([[0.1, 0.6]]))
    hours = np.tile([2.0, 10.0], (DRAWS, 1))
    again = beliefs.draw_rework(hours, np.array([0, 1]), np.zeros(DRAWS, dtype=int), np.random.default_rng(9))
    redone = again > 0
    for task, (chance, first) in enumerate([(0.1, 2.0), (0.6, 10.0)]):
        has_moments(redone[:, task], chance, chance * (1 - chance))
        assert np.median(again[redone[:, task], task]) == pytest.approx(0.25 * first, rel=0.05)


def test_shares_of_rework_are_lognormal_up_to_three():
    shares = written().draw_rework_share(DRAWS, np.random.default_rng(10))
    assert shares.max() <= 3.0
    has_moments(np.log(shares[shares < 3.0]), np.log(0.25), 0.8**2)


def test_shares_seen_weigh_against_four_believed_ones():
    shares = written(rework_shares=np.array([2.0, 2.5])).draw_rework_share(DRAWS, np.random.default_rng(11))
    # Each of the two is drawn in one of six cases.
    for seen in (2.0, 2.5):
        has_moments(shares == seen, 1 / 6, 5 / 36)


def test_some_rework_is_found_twelve_hours_of_work_later_and_none_where_there_is_none():
    beliefs = written(later_chance=np.array([0.3, 0.0]))
    rework = np.tile([5.0, 0.0], (DRAWS, 1))
    pick = np.repeat([0, 1], DRAWS // 2)
    later, hours = beliefs.draw_found_later(rework, pick, np.random.default_rng(12))
    opened = later > 0
    has_moments(opened[pick == 0, 0], 0.3, 0.21)
    assert not opened[pick == 1].any()
    assert not opened[:, 1].any()
    assert set(later[opened]) == {5.0}
    assert not hours[~opened].any()
    has_moments(np.log(hours[opened]), np.log(12.0), 1.3**2)


def test_hours_until_rework_seen_weigh_against_four_believed_ones():
    beliefs = replace(written(), later_chance=np.ones(1), later_hours=np.full(4, 365.0))
    _, hours = beliefs.draw_found_later(
        np.ones((DRAWS, 1)), np.zeros(DRAWS, dtype=int), np.random.default_rng(13)
    )
    has_moments(hours == 365.0, 0.5, 0.25)
