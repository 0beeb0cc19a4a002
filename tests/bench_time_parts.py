"""The compiled play of weeks with every part set by hand: what a test does not name is the plainest."""

import numpy as np

from forecast.learn.bench_time.kernel import simulate_weeks
from forecast.learn.bench_time.records import Days, Drawn, State, Usual, Weeks


def steady(draws, **parts):
    """Parameters under which every run works every day of every week, eight hours a week, alone."""
    plain = {
        "stop": np.full(draws, -50.0), "resume": np.zeros(draws), "slope": np.zeros(draws),
        "link": np.zeros(draws), "chance_season": np.empty((draws, 0)), "persistence": np.full(draws, 0.9),
        "step_sd": np.zeros(draws), "shape": np.full(draws, 1e12), "mean": np.full(draws, np.log(8.0)),
        "hours_season": np.empty((draws, 0)), "odds": np.full((draws, 7), 1e12), "stretch": np.zeros(draws),
        "company": np.ones((draws, 1), dtype=np.float32), "visit": np.zeros(draws),
        "ranks": np.ones((draws, 1), dtype=np.float32), "later": np.ones(draws),
        "later_change": np.zeros(draws),
    }  # fmt: skip
    return Drawn(**(plain | parts))


def calendar(weeks, free=None, begun=-1, lead=0):
    """Weeks without holidays; free is (week, 7)."""
    free = np.ones((weeks, 7), dtype=bool) if free is None else np.asarray(free)
    return Weeks(
        kinds=np.tile(np.arange(7), (weeks, 1)), free=free, open=free.any(axis=1), exposure=np.ones(weeks),
        season=np.empty((weeks, 0)), begun=begun, lead=lead,
    )  # fmt: skip


def usual(**parts):
    """Days of any length, equal sessions, no long silences."""
    plain = {
        "hours": 8.0, "length": np.ones(7), "longest_day": 24.0, "session_shape": 4.2,
        "most_week_hours": 1000.0, "shares": np.ones((1, 1)), "visit_share": 1.0,
        "parties": np.ones(1), "change_weeks": 100.0, "gap_chance": 0.0, "gap_link": 0.0,
        "gap_log_weeks": 0.0, "gap_log_sd": 0.0,
    }  # fmt: skip
    return Usual(**(plain | parts))


def played(drawn, weeks, same=None, silent=0, seed=0):
    """(run, day) hours of the household, (run, day) ranks, and the state after the last week."""
    draws, count = len(drawn.persistence), len(weeks.kinds)
    state = State(np.full(draws, float(silent)), np.zeros(draws), np.zeros(draws))
    room = (draws, 7 * count)
    out = Days(
        np.zeros(room, dtype=np.float32), np.zeros((*room, 1), dtype=np.float32),
        np.zeros((*room, 1), dtype=np.float32), np.zeros(room, dtype=np.uint8),
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    simulate_weeks(rng, np.arange(draws), 0, count, drawn, weeks, same or usual(), state, out)
    return out.household, out.ranks, state
