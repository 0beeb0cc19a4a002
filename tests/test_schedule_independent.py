"""The kernel against a plain model of the same rules, a solver, and what must hold of any schedule."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.files.plan import Plan, Task
from forecast.simulate.network import network_of_untouched, simulate_schedule
from tests.schedule_cases import random_draws, random_network


@pytest.fixture
def rng():
    return np.random.default_rng(20261125)


_OF_EACH_RUN = ("call_after_days", "idle_call_after_days", "reopening_hours", "reopening_after_hours")


def _both(network, draws, only_two, penalty, **asking):
    """The kernel's runs, and the same runs by the plain model."""
    events = pytest.importorskip("benchmarks.yardsticks.discrete_events", reason="needs simpy")
    result = simulate_schedule(network, **draws, only_two=only_two, shared_penalty=penalty, **asking)
    plain = []
    for r in range(len(draws["hours"])):
        inputs = (draws[k][r] for k in ("hours", "bench", "stage_rank", "release"))
        calls = {k: v[r] if k in _OF_EACH_RUN else v for k, v in asking.items()}
        plain.append(events.play_once(network, *inputs, only_two, penalty, **calls))
    return result, plain


@pytest.mark.parametrize(
    ("only_two", "penalty"),
    [([False], 1.0), ([False, False], 1.14), ([False, True], 1.0), ([False, False, True], 1.14),
     ([False] * 4, 1.3)],
    ids=["one builder", "two builders", "a builder and a helper", "two and a helper", "four builders"],
)  # fmt: skip
def test_two_hundred_runs_equal_those_of_a_plain_model(rng, only_two, penalty):
    finished = 0
    for _ in range(4):
        network = random_network(25, rng)
        # Some stages were worked on before, and not in the order of the plan.
        idle = rng.choice([np.inf, 2.0, 30.0, 400.0], len(network.stages))
        network = replace(network, idle_days=idle)
        draws = random_draws(network, 10, 120, len(only_two), rng)
        result, plain = _both(network, draws, np.array(only_two), penalty)
        np.testing.assert_allclose(result.start, [p.start for p in plain], atol=1e-6)
        np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-6)
        np.testing.assert_allclose(result.worked_hours, [p.worked_hours for p in plain], atol=1e-6)
        finished += np.isfinite(result.finish).sum()
    assert finished > 500


@pytest.mark.parametrize("only_two", [[False, True], [False, False]], ids=["for two only", "a visitor"])
def test_a_helper_who_is_asked_comes_as_in_the_plain_model(rng, only_two):
    network = random_network(25, rng)
    draws = random_draws(network, 20, 150, 2, rng)
    draws["bench"][:, :, 1] *= rng.random((20, 150)) < 0.1
    asking = {"on_call": np.array([False, True]), "call_after_days": rng.uniform(0, 30, 20)}
    result, plain = _both(network, draws, np.array(only_two), 1.0, **asking)
    np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-6)
    without = simulate_schedule(network, **draws, only_two=np.array(only_two))
    assert result.worked_hours[:, 1].sum() > without.worked_hours[:, 1].sum()


def test_a_visitor_lends_a_hand_as_in_the_plain_model(rng):
    for people in (2, 3, 3):
        network = random_network(25, rng)
        network = replace(network, waited_days=rng.uniform(0, 20, 25))
        draws = random_draws(network, 10, 150, people, rng)
        draws["bench"][:, :, -1] *= rng.random((10, 150)) < 0.3
        visitor = np.arange(people) == people - 1
        asking = {"call_after_days": rng.uniform(5, 60, 10), "idle_call_after_days": rng.uniform(0, 20, 10)}
        asking |= {"on_call": visitor, "lends": visitor, "expected_hours": draws["hours"].mean(axis=0)}
        result, plain = _both(network, draws, np.zeros(people, dtype=bool), 1.14, **asking)
        np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-9)
        np.testing.assert_allclose(result.worked_hours, [p.worked_hours for p in plain], atol=1e-9)
        del asking["lends"]
        alone = simulate_schedule(network, **draws, shared_penalty=1.14, **asking)
        assert (alone.finish != result.finish).any()


def test_what_pays_to_share_is_shared_as_in_the_plain_model(rng):
    changed = 0
    for people in (2, 2, 2, 2, 3, 3, 3, 3):
        network = random_network(20, rng)
        draws = random_draws(network, 5, 150, people, rng)
        only_two, expected = np.array([False] * 2 + [True] * (people - 2)), draws["hours"].mean(axis=0)
        result, plain = _both(network, draws, only_two, 1.14, expected_hours=expected)
        np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-9)
        np.testing.assert_allclose(result.worked_hours, [p.worked_hours for p in plain], atol=1e-9)
        never = simulate_schedule(network, **draws, only_two=only_two, shared_penalty=1.14)
        changed += np.sum(never.finish != result.finish)
    assert changed > 10


def test_what_is_opened_again_is_done_again_as_in_the_plain_model(rng):
    for people in (1, 2, 3):
        network = random_network(25, rng)
        draws = random_draws(network, 10, 150, people, rng)
        shape = draws["hours"].shape
        again = {
            "reopening_hours": draws["hours"] * rng.random(shape) * (rng.random(shape) < 0.3),
            "reopening_after_hours": rng.choice([0.0, 5.0, 40.0, 1e6], shape) * rng.random(shape),
        }
        only_two = np.array([False] * min(people, 2) + [True] * (people - 2))
        result, plain = _both(network, draws, only_two, 1.14, **again)
        np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-9)
        np.testing.assert_allclose(result.worked_hours, [p.worked_hours for p in plain], atol=1e-9)
        once = simulate_schedule(network, **draws, only_two=only_two, shared_penalty=1.14)
        assert (result.finish > once.finish + 1).any()


def test_a_hand_is_asked_for_what_is_opened_again_as_in_the_plain_model(rng):
    for _ in range(4):
        network = random_network(20, rng)
        draws = random_draws(network, 6, 150, 3, rng)
        draws["bench"][:, :, 1] *= rng.random((6, 150)) < 0.1
        shape = draws["hours"].shape
        result, plain = _both(
            network,
            draws,
            np.zeros(3, dtype=bool),
            1.14,
            on_call=np.array([False, True, False]),
            call_after_days=rng.uniform(0, 20, 6),
            expected_hours=draws["hours"].mean(axis=0),
            reopening_hours=draws["hours"] * rng.random(shape) * (rng.random(shape) < 0.2),
            reopening_after_hours=60 * rng.random(shape),
        )
        np.testing.assert_allclose(result.finish, [p.finish for p in plain], atol=1e-9)


def test_nine_tenths_are_done_when_the_plain_model_says(rng):
    network = random_network(20, rng, limits=False)
    draws = random_draws(network, 10, 200, 2, rng)
    result, plain = _both(network, draws, np.array([False, False]), 1.14)
    for s in range(len(network.stages)):
        left = draws["hours"][:, network.stage == s].sum(axis=1)
        expected = [p.first_90(0.0, h, s) for p, h in zip(plain, left, strict=True)]
        np.testing.assert_allclose(result.stage_first_90[:, s], expected, atol=1e-6)


def test_the_rule_is_near_the_optimum_and_never_better(rng):
    optimum = pytest.importorskip("benchmarks.yardsticks.optimum", reason="needs ortools")
    ratios = []
    for two_share in (0.0, 0.0, 0.0, 0.1, 0.1):
        case = optimum.random_case(30, rng, two_share=two_share)
        best, _ = optimum.least_makespan(case)
        ratios.append(optimum.played_makespan(optimum.by_longest_path(case)) / best)
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) <= 1.05


def _draws_of(seed: int, people: int, **options):
    rng = np.random.default_rng(seed)
    network = random_network(int(rng.integers(2, 25)), rng, **options)
    return network, random_draws(network, 3, 150, people, rng)


@given(seed=st.integers(0, 10**6), people=st.integers(1, 3))
@settings(deadline=None, max_examples=40)
def test_nothing_starts_before_what_it_waits_for(seed, people):
    network, draws = _draws_of(seed, people)
    result = simulate_schedule(network, **draws)
    for i, after in enumerate(network.after):
        for j in after:
            ready = result.finish[:, j] + network.hold_days[j]
            assert (result.start[:, i] >= ready - 1e-6)[np.isfinite(ready)].all()
        for d in network.needs[i]:
            assert (result.start[:, i] >= draws["release"][:, d] - 1e-6).all()


@given(seed=st.integers(0, 10**6), people=st.integers(1, 3))
@settings(deadline=None, max_examples=40)
def test_hours_worked_are_hours_done(seed, people):
    network, draws = _draws_of(seed, people)
    result = simulate_schedule(network, **draws, grid=[150])
    np.testing.assert_allclose(
        result.worked_hours.sum(axis=1), result.hours_done[:, :, 0].sum(axis=1), rtol=1e-5
    )
    assert (result.worked_hours <= result.present_hours + 1e-6).all()


@given(seed=st.integers(0, 10**6))
@settings(deadline=None, max_examples=40)
def test_a_finished_build_has_had_all_its_hours(seed):
    network, draws = _draws_of(seed, 2)
    result = simulate_schedule(network, **draws)
    done = np.isfinite(result.build_finish)
    np.testing.assert_allclose(
        result.worked_hours[done].sum(axis=1), draws["hours"][done].sum(axis=1), rtol=1e-6
    )


@given(seed=st.integers(0, 10**6))
@settings(deadline=None, max_examples=40)
def test_shared_work_takes_its_penalty_at_the_most(seed):
    network, draws = _draws_of(seed, 2)
    result = simulate_schedule(network, **draws, shared_penalty=1.3)
    done = np.isfinite(result.build_finish)
    worked, hours = result.worked_hours[done].sum(axis=1), draws["hours"][done].sum(axis=1)
    assert (worked >= hours - 1e-6).all()
    assert (worked <= 1.3 * hours + 1e-6).all()


@given(seed=st.integers(0, 10**6), more=st.floats(0, 3))
@settings(deadline=None, max_examples=40)
def test_more_hours_never_make_a_single_lane_later(seed, more):
    rng = np.random.default_rng(seed)
    plan = Plan(
        tasks=tuple(
            Task(task=f"T{i}", stage="all", title="", crew="one", after=(f"T{i - 1}",) if i else (),
                 hold_days=float(rng.integers(0, 3)))
            for i in range(8)
        )
    )  # fmt: skip
    bench = rng.gamma(2.0, 1.0, (1, 60, 2)) * (rng.random((1, 60, 2)) < 0.5)
    extra = bench + more * rng.random(bench.shape) * (bench > 0)
    hours = rng.gamma(2.0, 2.0, (1, 8))
    network = network_of_untouched(plan)
    # a day's fraction depends on the longest presence of that day, so whole days are compared
    before = np.ceil(simulate_schedule(network, hours, bench).finish - 1e-6)
    assert (np.ceil(simulate_schedule(network, hours, extra).finish - 1e-6) <= before).all()


@given(seed=st.integers(0, 10**6))
@settings(deadline=None, max_examples=25)
def test_more_days_give_the_same_first_days(seed):
    network, draws = _draws_of(seed, 2)
    long = simulate_schedule(network, **draws)
    short = simulate_schedule(
        network, draws["hours"], draws["bench"][:, :60], draws["stage_rank"][:, :60], draws["release"]
    )
    soon = long.finish <= 60
    np.testing.assert_array_equal(short.finish[soon], long.finish[soon])


def test_threads_at_once_give_the_same_bytes(rng):
    network = random_network(60, rng)
    draws = random_draws(network, 300, 300, 2, rng)
    alone = simulate_schedule(network, **draws, trace=True)
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda _: simulate_schedule(network, **draws, trace=True), range(8)))
    for result in together:
        np.testing.assert_array_equal(result.finish, alone.finish)
        np.testing.assert_array_equal(result.chain, alone.chain)


def test_nothing_given_is_changed(rng):
    network = random_network(20, rng)
    draws = random_draws(network, 5, 60, 2, rng)
    before = {name: array.copy() for name, array in draws.items()}
    records = [array.copy() for array in network.records]
    simulate_schedule(network, **draws)
    for name, array in draws.items():
        np.testing.assert_array_equal(array, before[name])
    for now, then in zip(network.records, records, strict=True):
        np.testing.assert_array_equal(now, then)


def test_arrays_that_cannot_be_written_are_taken(rng):
    network = random_network(10, rng)
    draws = random_draws(network, 2, 60, 2, rng)
    for array in draws.values():
        array.flags.writeable = False
    assert simulate_schedule(network, **draws).finish.shape == (2, 10)
