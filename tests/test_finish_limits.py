"""The study of where errors come from: who is told a habit finds out where the builder stands."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented.workshop import make_build
from benchmarks.invented.workshop.presence import HELPER, Wish
from benchmarks.skill.finish import FRACTIONS, STAGE
from benchmarks.skill.finish_limits import WAYS, table
from benchmarks.told_presence import DrawnPresence, ToldBench, moods_told
from forecast.learn.bench_time import BenchTime
from forecast.learn.progress import read_progress


@pytest.fixture(scope="module")
def stood():
    """A few builds as they stood half-way."""
    made = [make_build(habit=h, seed=s, tasks=120) for s in range(4) for h in ("weekend", "daily")]
    return [(m, m.cut(0.5), m.stand_on(m.cut(0.5))) for m in made]


def test_the_level_is_found_out_better_than_it_was_known_beforehand(stood):
    rng = np.random.default_rng(1)
    told, before = [], []
    for made, as_of, stand in stood:
        levels = [m.level for m in moods_told(stand, made.scenario.start, as_of, 300, rng)]
        told.append(np.mean(levels) - stand.presence.mood.level)
        before.append(stand.presence.mood.level)
    assert np.std(told) < 0.8 * np.sqrt(np.mean(np.square(before)))


def test_whoever_had_a_session_on_the_last_day_is_building(stood):
    made, as_of, stand = stood[0]
    moods = moods_told(stand, made.scenario.start, as_of, 50, np.random.default_rng(2))
    assert all(m.building for m in moods)


def test_the_days_that_are_told_have_the_hours_of_the_true_household(stood):
    made, as_of, stand = stood[0]
    known = made.as_known_on(as_of)
    bench = BenchTime().fit(read_progress(known.plan, known.sessions, as_of), known.builders, known.away)
    told = ToldBench(bench, stand, [stand.presence.mood] * 200, np.random.default_rng(3))
    drawn = told.play(200, np.random.default_rng(4)).hours(0, 140)
    mine = drawn.hours[:, :, drawn.people.index("A")].sum(axis=1)
    by_hand = []
    for rng in np.random.default_rng(5).spawn(200):
        one = stand.presence.copy()
        one.throw(rng)
        days = range(stand.day, stand.day + 140)
        by_hand.append(sum(one.day(d, lambda: Wish.NOTHING).get("A", 0) for d in days) / 4)
    error = np.hypot(np.std(mine), np.std(by_hand)) / np.sqrt(200)
    assert abs(mine.mean() - np.mean(by_hand)) < 4 * error


def test_drawn_days_are_handed_on_in_quarters_and_a_visitor_is_asked_in():
    hours = np.array([[[2.0, 0.0], [0.0, 0.0], [1.5, 1.0]]])
    drawn = SimpleNamespace(
        hours=lambda skip, days, runs: SimpleNamespace(hours=hours, people=("A", "helper"))
    )
    presence = DrawnPresence(drawn, run=0, first_day=100, asked=1.0, dice=np.random.default_rng(0))
    days = [presence.day(d, lambda: Wish.NOTHING) for d in (100, 101, 102)]
    assert days == [{"A": 8}, {}, {"A": 6, HELPER: 4}]
    assert presence.day(100, lambda: Wish.ONLY_TWO) == {"A": 8, HELPER: 4}


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
