"""The kernel against textbook networks: critical paths, PERT, merge bias and Graham's lists.

One day of work that is long enough holds a whole textbook network: with a pair of hands for every task
the kernel's forward pass is the critical-path method, with m pairs it is list scheduling on m machines.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from forecast.files.plan import Plan, Task
from forecast.simulate.network import network_of_untouched, simulate_schedule
from tests.published import published_table

LONG_DAY_HOURS = 4096.0
RUNS = 200_000


@dataclass(frozen=True, kw_only=True)
class Arrow:
    """One activity of a textbook network, for `people` who must be there together."""

    name: str
    after: tuple[str, ...] = ()
    people: int = 1


@pytest.fixture
def rng():
    return np.random.default_rng(20260930)


def play(arrows, durations, *, people):
    """Start and finish, in hours, of every activity in every run; durations (run, activity) elapsed."""
    plan = Plan(
        tasks=tuple(
            Task(task=a.name, stage="all", title="", after=a.after, crew="one" if a.people == 1 else "two")
            for a in arrows
        )
    )
    person_hours = np.atleast_2d(durations) * [a.people for a in arrows]
    bench = np.full((len(person_hours), 1, people), LONG_DAY_HOURS)
    played = simulate_schedule(network_of_untouched(plan), person_hours, bench)
    return played.start * LONG_DAY_HOURS, played.finish * LONG_DAY_HOURS


def arrows_of(table, column="predecessors"):
    names = table["activity"].astype(str)
    return [
        Arrow(name=n, after=tuple(p for p in str(ps).split(";") if p))
        for n, ps in zip(names, table[column], strict=True)
    ]


def turned_round(arrows):
    """The network walked from its end: who came before comes after."""
    followers = {a.name: tuple(b.name for b in arrows if a.name in b.after) for a in arrows}
    return [Arrow(name=a.name, after=followers[a.name]) for a in reversed(arrows)]


CPM = published_table("cpm_networks")


@pytest.mark.parametrize("name", CPM["network"].unique())
def test_earliest_dates_of_a_textbook_network(name):
    table = CPM[CPM["network"] == name]
    start, finish = play(arrows_of(table), table["duration"], people=len(table))
    np.testing.assert_allclose(start[0], table["earliest_start"], atol=1e-9)
    np.testing.assert_allclose(finish[0], table["earliest_finish"], atol=1e-9)


@pytest.mark.parametrize("name", CPM["network"].unique())
def test_latest_dates_and_slack_of_a_textbook_network_by_walking_it_backwards(name):
    table = CPM[CPM["network"] == name]
    _, earliest_finish = play(arrows_of(table), table["duration"], people=len(table))
    back_start, back_finish = play(turned_round(arrows_of(table)), table["duration"][::-1], people=len(table))
    length = earliest_finish.max()
    np.testing.assert_allclose(length - back_finish[0, ::-1], table["latest_start"], atol=1e-9)
    np.testing.assert_allclose(length - back_start[0, ::-1], table["latest_finish"], atol=1e-9)
    slack = length - back_start[0, ::-1] - earliest_finish[0]
    np.testing.assert_allclose(slack, table["slack"], atol=1e-9)


def test_fourteen_activities_of_expected_length():
    # A published exercise prints the means to two decimals; the path A-C-E-H-I-K-M-N is 50.83 long.
    table = [("A", "", 5.33), ("B", "", 2.33), ("C", "A", 5.0), ("D", "A", 8.17), ("E", "C;B", 9.67),
             ("F", "D", 4.67), ("G", "D", 5.83), ("H", "E;F", 4.33), ("I", "H;G", 6.67), ("J", "I", 4.17),
             ("K", "I", 9.83), ("L", "J", 5.33), ("M", "K", 2.17), ("N", "L;M", 7.83)]  # fmt: skip
    arrows = [Arrow(name=n, after=tuple(p for p in ps.split(";") if p)) for n, ps, _ in table]
    _, finish = play(arrows, [d for *_, d in table], people=14)
    assert finish.max() == pytest.approx(50.83, abs=0.005)


PERT = published_table("pert_network")
MEAN, VARIANCE = PERT["expected"].to_numpy(), PERT["variance"].to_numpy()


def test_expected_times_and_variances_of_the_example_follow_from_its_three_estimates():
    # Malcolm, Roseboom, Clark & Fazar 1959, Operations Research 7 (formula from memory).
    low, likely, high = (PERT[c].to_numpy() for c in ("optimistic", "likely", "pessimistic"))
    np.testing.assert_allclose(MEAN, (low + 4 * likely + high) / 6, atol=1e-9)
    np.testing.assert_allclose(VARIANCE, ((high - low) / 6) ** 2, atol=6e-7)


def test_expected_times_give_the_printed_length():
    # Heizer & Render: 15 weeks over A-C-E-G-H.
    _, finish = play(arrows_of(PERT), MEAN, people=8)
    assert finish.max() == pytest.approx(15.0, abs=1e-9)


def drawn_normals(rng):
    return np.maximum(MEAN + np.sqrt(VARIANCE) * rng.standard_normal((RUNS, 8)), 0.0)


def drawn_betas(rng):
    low, likely, high = (PERT[c].to_numpy() for c in ("optimistic", "likely", "pessimistic"))
    a, b = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
    return low + (high - low) * rng.beta(a, b, (RUNS, 8))


def assert_simulated(values, mean):
    assert abs(values.mean() - mean) < 4 * values.std() / np.sqrt(len(values)) + 1e-4


def test_the_critical_path_alone_looks_too_early(rng):
    # Exactly .71462; the book prints .7157 because it rounds z to .57.
    durations = drawn_normals(rng)
    critical = PERT["activity"].isin(list("ACEGH")).to_numpy()
    chain = [Arrow(name=n, after=(p,) if p else ()) for n, p in zip("ACEGH", ["", *"ACEG"], strict=True)]
    _, finish = play(chain, durations[:, critical], people=5)
    assert_simulated(finish.max(axis=1) <= 16, 0.714625)
    assert float(ndtr(1 / np.sqrt(VARIANCE[critical].sum()))) == pytest.approx(0.714625, abs=1e-6)


@pytest.mark.parametrize(
    ("draw", "mean", "by_15", "by_16", "p50", "p80", "p95"),
    [
        (drawn_betas, 15.2355, 0.4768, 0.6901, 15.1008, 16.6629, 18.2785),
        (drawn_normals, 15.1757, 0.4626, 0.6936, 15.1558, 16.5647, 17.9369),
    ],
)
def test_paths_that_merge_make_the_network_later(rng, draw, mean, by_15, by_16, p50, p80, p95):
    # Own simulation of 20,000,000 runs without this kernel, standard error of its mean .0004.
    _, finish = play(arrows_of(PERT), draw(rng), people=8)
    length = finish.max(axis=1)
    assert_simulated(length, mean)
    assert_simulated(length <= 15, by_15)
    assert_simulated(length <= 16, by_16)
    for probability, date in ((0.5, p50), (0.8, p80), (0.95, p95)):
        assert_simulated(length <= date, probability)


CLARK = published_table("clark_two_normals")


@pytest.mark.parametrize("row", list(CLARK.itertuples()), ids=lambda r: f"N({r.mu1:g},{r.sd1:.3g})")
def test_two_parallel_tasks_finish_as_clark_says(rng, row):
    z = rng.standard_normal((RUNS, 2))
    other = row.rho * z[:, 0] + np.sqrt(1 - row.rho**2) * z[:, 1]
    moved = 10 * max(row.sd1, row.sd2)  # hours cannot be negative; a maximum moves with its parts
    durations = moved + np.column_stack([row.mu1 + row.sd1 * z[:, 0], row.mu2 + row.sd2 * other])
    _, finish = play([Arrow(name="X"), Arrow(name="Y")], durations, people=2)
    later = finish.max(axis=1) - moved
    assert_simulated(later, row.E_max)
    assert_simulated((later - row.E_max) ** 2, row.Var_max)
    assert_simulated(finish[:, 0] > finish[:, 1], row.P_X1_gt_X2)


@pytest.mark.parametrize(
    ("rates", "mean", "variance"),
    [((1, 1), 1.5, 1.25), ((1, 1, 1), 1.833333, 1.361111), ((1, 1, 1, 1), 2.083333, 1.423611),
     ((0.1, 0.05), 23.333333, 366.666667), ((0.5, 0.25, 0.2), 7.068504595, 24.738577857)],
)  # fmt: skip
def test_exponential_tasks_side_by_side(rng, rates, mean, variance):
    # Inclusion and exclusion over the minima, computed.
    durations = rng.exponential(size=(RUNS, len(rates))) / rates
    _, finish = play([Arrow(name=f"X{i}") for i in range(len(rates))], durations, people=len(rates))
    later = finish.max(axis=1)
    assert_simulated(later, mean)
    assert_simulated((later - mean) ** 2, variance)


@pytest.mark.parametrize(
    ("n", "mean"), [(2, 0.564190), (3, 0.846284), (4, 1.029375), (5, 1.162964), (10, 1.538753)]
)
def test_the_latest_of_n_equal_normals(rng, n, mean):
    # Expected maxima of standard normals, as tabled for order statistics; computed.
    _, finish = play([Arrow(name=f"X{i}") for i in range(n)], 10 + rng.standard_normal((RUNS, n)), people=n)
    assert_simulated(finish.max(axis=1) - 10, mean)


# Four cases of the Milwaukee network with builders, own fixture: optima from a constraint solver.
MILWAUKEE = arrows_of(PERT)
IN_PAIRS = [Arrow(name=a.name, after=a.after, people=2 if a.name in "EG" else 1) for a in MILWAUKEE]


@pytest.mark.parametrize(
    ("arrows", "people", "optimum"),
    [(MILWAUKEE, 1, 25), (MILWAUKEE, 2, 15), (MILWAUKEE, 8, 15), (IN_PAIRS, 2, 18)],
    ids=["one builder", "two builders", "hands for all", "two builders, E and G in pairs"],
)
def test_builders_on_the_textbook_network_reach_the_optimum_in_the_books_order(arrows, people, optimum):
    _, finish = play(arrows, MEAN, people=people)
    assert finish.max() == pytest.approx(optimum, abs=1e-9)


@given(order=st.permutations(range(8)))
@settings(deadline=None, max_examples=60)
def test_in_any_other_order_two_builders_take_between_the_optimum_and_grahams_bound(order):
    _, finish = play([MILWAUKEE[i] for i in order], MEAN[list(order)], people=2)
    assert 15 - 1e-9 <= finish.max() <= (2 - 1 / 2) * 15 + 1e-9


GRAHAM = published_table("graham_lists")


def graham_arrows(row):
    before = [pair.split("<") for pair in row.precedence.split(";") if pair]
    return [Arrow(name=n, after=tuple(b for b, a in before if a == n)) for n in row.list.split()]


@pytest.mark.parametrize("row", list(GRAHAM.itertuples()), ids=lambda r: f"{r.case}, {r.machines}")
def test_grahams_lists_take_the_published_time(row):
    _, finish = play(graham_arrows(row), [float(d) for d in row.durations.split()], people=row.machines)
    assert finish.max() == pytest.approx(row.makespan, abs=1e-9)


@st.composite
def networks(draw):
    size = draw(st.integers(1, 9))
    arrows = [
        Arrow(name=f"T{i}", after=tuple(f"T{j}" for j in range(i) if draw(st.integers(0, 3)) == 0))
        for i in range(size)
    ]
    return arrows, draw(st.lists(st.integers(1, 9), min_size=size, max_size=size))


@given(network=networks(), people=st.integers(1, 4))
@settings(deadline=None, max_examples=60)
def test_no_list_takes_longer_than_grahams_bound(network, people):
    # Graham 1969: at most total / m + (1 - 1/m) * critical path, which is at most (2 - 1/m) optima.
    arrows, durations = network
    _, alone = play(arrows, durations, people=len(arrows))
    _, finish = play(arrows, durations, people=people)
    bound = sum(durations) / people + (1 - 1 / people) * alone.max()
    assert max(alone.max(), sum(durations) / people) - 1e-9 <= finish.max() <= bound + 1e-9
