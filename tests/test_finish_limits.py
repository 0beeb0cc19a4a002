"""The study of where errors come from: a forecaster that knows the habit infers its present state."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented.workshop import make_build
from benchmarks.invented.workshop.presence import HELPER, TwoPersonWork
from benchmarks.skill.finish import FRACTIONS, STAGE
from benchmarks.skill.finish_limits import WAYS, table
from benchmarks.yardsticks.informed_bench import DrawnPresence, InformedBench, informed_states
from forecast.learn.bench_time import BenchTime
from forecast.learn.progress import read_progress


@pytest.fixture(scope="module")
def halfway():
    """A few builds and their state when half of the hours are logged."""
    made = [make_build(habit=h, seed=s, tasks=120) for s in range(4) for h in ("weekend", "daily")]
    return [(m, m.cut(0.5), m.state_on(m.cut(0.5))) for m in made]


def test_the_level_is_known_better_than_before_the_log(halfway):
    rng = np.random.default_rng(1)
    errors, before = [], []
    for made, as_of, state in halfway:
        levels = [m.level for m in informed_states(state, made.scenario.start, as_of, 300, rng)]
        errors.append(np.mean(levels) - state.presence.state.level)
        before.append(state.presence.state.level)
    assert np.std(errors) < 0.8 * np.sqrt(np.mean(np.square(before)))


def test_whoever_had_a_session_on_the_last_day_is_building(halfway):
    made, as_of, state = halfway[0]
    states = informed_states(state, made.scenario.start, as_of, 50, np.random.default_rng(2))
    assert all(m.building for m in states)


def test_the_days_of_a_known_habit_have_the_hours_of_the_true_household(halfway):
    made, as_of, state = halfway[0]
    known = made.as_known_on(as_of)
    bench = BenchTime().fit(read_progress(known.plan, known.sessions, as_of), known.builders, known.away)
    informed = InformedBench(bench, state, [state.presence.state] * 200, np.random.default_rng(3))
    drawn = informed.presence_sampler(200, np.random.default_rng(4)).hours(0, 140)
    mine = drawn.hours[:, :, drawn.people.index("A")].sum(axis=1)
    true = []
    for rng in np.random.default_rng(5).spawn(200):
        one = state.presence.copy()
        one.redraw(rng)
        days = range(state.day, state.day + 140)
        true.append(sum(one.day(d, lambda: TwoPersonWork.NONE).get("A", 0) for d in days) / 4)
    error = np.hypot(np.std(mine), np.std(true)) / np.sqrt(200)
    assert abs(mine.mean() - np.mean(true)) < 4 * error


def test_every_method_of_the_informed_bench_replaces_one_of_the_fit():
    """Others are passed on to the fit: a method with an old name would silently leave the habit unknown."""
    public = {name for name in vars(InformedBench) if not name.startswith("_")}
    assert public - {"days_of"} == {"presence_sampler"}
    assert hasattr(BenchTime, "presence_sampler")


def test_drawn_days_are_passed_on_in_quarter_hours_and_a_helper_is_called_in():
    hours = np.array([[[2.0, 0.0], [0.0, 0.0], [1.5, 1.0]]])
    drawn = SimpleNamespace(
        hours=lambda skip, days, runs: SimpleNamespace(hours=hours, people=("A", "helper"))
    )
    presence = DrawnPresence(drawn, run=0, first_day=100, call_chance=1.0, rng=np.random.default_rng(0))
    days = [presence.day(d, lambda: TwoPersonWork.NONE) for d in (100, 101, 102)]
    assert days == [{"A": 8}, {}, {"A": 6, HELPER: 4}]
    assert presence.day(100, lambda: TwoPersonWork.ONLY) == {"A": 8, HELPER: 4}


def test_the_table_divides_mean_scores_cut_by_cut():
    crps = dict(zip(WAYS, (10.0, 6.0, 5.0, 4.0, 4.0, 2.0), strict=True))
    rows = [
        {"build": b, "at": at, "target": STAGE, "way": way, "crps": score, "position": 0.5}
        for b in range(3)
        for at in FRACTIONS
        for way, score in crps.items()
    ]
    lines = table(pd.DataFrame(rows), STAGE)
    program = next(line for line in lines if line.startswith("| program"))
    assert program.endswith("| 0.60 | 0.60 | 0.60 | 0.60 +- 0.00 | 3.00 +- 0.00 |")
