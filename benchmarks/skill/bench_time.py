"""Forecasts of hours at the bench: coverage and score on builders with a known habit.

    python -m benchmarks.skill.bench_time [--logs 200] [--futures 20] [--draws 400] [--seed 20260301]

For each of three habits, --logs logs are invented (benchmarks/invented/habits.py) and cut on a random day
after 40 to 208 weeks. The hours of the next 13, 26 and 52 weeks are forecast by the model, by independent
weeks, by a bootstrap of 13-week blocks, by the average pace, by a forecaster that knows the habit and infers
its present state from the log (benchmarks/yardsticks/informed_hours.py), and by an oracle that continues the
true builder from the true state (it even knows when the present silence will end). Each log is continued in
--futures ways, all of which are scored, so that no result hangs on one year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.habits import HABITS, Traits, begin, copies, draw_builder, entered_hours
from benchmarks.pages import markdown, versions, write_page
from benchmarks.yardsticks.informed_hours import informed_hours
from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import BenchTime
from forecast.learn.progress import read_progress
from forecast.questions.scores import crps, randomised_pit

HORIZONS = (13, 26, 52)
LEVELS = (0.5, 0.8, 0.9)
WAYS = ("model", "independent weeks", "13-week blocks", "average pace", "habit known", "oracle")
PLAN = Plan(tasks=(Task(task="T", stage="all", title="All of it"),))
MONDAY = date(2018, 1, 1)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One builder, cut on one day.

    Attributes
    ----------
    traits : the habit
    past : (day,) hours before the cut
    actual : (future, horizon) hours after it
    oracle : (draw, horizon) hours after it, from the true state
    """

    traits: Traits
    past: np.ndarray
    actual: np.ndarray
    oracle: np.ndarray


def make_case(habit: str, futures: int, draws: int, rng: np.random.Generator) -> Case:
    """A new builder, cut on a random day of the week."""
    traits = draw_builder(habit, rng)
    state = begin(traits, rng)
    past = entered_hours(traits, state, int(rng.integers(7 * 40, 7 * 208)), rng)[0]
    totals = at_horizons(entered_hours(traits, copies(state, draws + futures), 7 * HORIZONS[-1], rng))
    return Case(traits=traits, past=past, actual=totals[:futures], oracle=totals[futures:])


def at_horizons(hours: np.ndarray) -> np.ndarray:
    """(draw, horizon) totals of the first 13, 26 and 52 weeks of (draw, day) hours."""
    done = np.cumsum(hours, axis=1)
    return np.stack([done[:, 7 * h - 1] for h in HORIZONS], axis=1)


def sessions_of(days: np.ndarray) -> pd.DataFrame:
    """The sessions frame of one builder's (day,) hours from `MONDAY` on."""
    worked = np.flatnonzero(days)
    when = pd.Series(np.datetime64(MONDAY, "D") + worked).astype("datetime64[us]")
    rows = len(worked)
    text = {c: pd.Series([v] * rows, dtype="str") for c, v in
            {"start": "", "builders": "A", "task": "T", "stage": "all", "type": "general", "note": "",
             "file": "log.csv"}.items()}  # fmt: skip
    return pd.DataFrame(
        {
            "date": when, "until": when, "hours": days[worked], "person_hours": days[worked],
            "helpers": 0, "people": 1, "quantity": np.nan, "percent": np.nan, "done": False,
            "rework": False, "line": np.arange(2, rows + 2), **text,
        }
    )  # fmt: skip


def by_model(past: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, horizon) by the model under test."""
    as_of = MONDAY + timedelta(days=len(past) - 1)
    progress = read_progress(PLAN, sessions_of(past), as_of)
    bench = BenchTime().fit(progress, [Builder(id="A")])
    drawn = bench.sample_hours(as_of + timedelta(days=1), 7 * HORIZONS[-1], draws, rng)
    return at_horizons(drawn.hours.sum(axis=2).astype(float))


def by_weeks(past: np.ndarray, draws: int, rng: np.random.Generator, block: int = 1) -> np.ndarray:
    """(draw, horizon) from a bootstrap of past weeks, alone or in blocks of neighbours."""
    weeks = past[len(past) % 7 :].reshape(-1, 7).sum(axis=1)
    blocks = -(-HORIZONS[-1] // block)
    first = rng.integers(0, len(weeks) - block + 1, (draws, blocks))
    drawn = weeks[(first[:, :, None] + np.arange(block)).reshape(draws, -1)]
    done = np.cumsum(drawn, axis=1)
    return np.stack([done[:, h - 1] for h in HORIZONS], axis=1)


def by_average(past: np.ndarray) -> np.ndarray:
    """(1, horizon) by the average pace since the first day."""
    return past.sum() / (len(past) / 7) * np.array(HORIZONS, dtype=float)[None, :]


def by_known_habit(case: Case, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, horizon) by a forecaster that knows the habit, but not its present state."""
    return at_horizons(informed_hours(case.traits, case.past, 7 * HORIZONS[-1], draws, rng))


def study(
    habit: str, logs: int, futures: int, draws: int, seed: int, ways: Sequence[str] = WAYS
) -> dict[str, dict[str, np.ndarray]]:
    """Score the ways on logs of one habit.

    Returns
    -------
    way -> `position` (log and future, horizon) of the actual hours among the draws, 0 to 1; `crps` and
    `actual` (log, horizon) in hours, means over the futures
    """
    out: dict[str, dict[str, list[np.ndarray]]] = {
        w: {"position": [], "crps": [], "actual": []} for w in ways
    }
    for log in range(logs):
        rng = np.random.default_rng([seed, HABITS.index(habit), log])
        case = make_case(habit, futures, draws, rng)
        for way, drawn in forecasts_of(case, draws, rng, ways).items():
            out[way]["position"].append(randomised_pit(drawn.T[None], case.actual, rng))
            out[way]["crps"].append(np.asarray(crps(drawn.T[None], case.actual).mean(axis=0)))
            out[way]["actual"].append(case.actual.mean(axis=0))
    return {
        way: {k: np.concatenate(v) if k == "position" else np.array(v) for k, v in found.items()}
        for way, found in out.items()
    }


def forecasts_of(
    case: Case, draws: int, rng: np.random.Generator, ways: Sequence[str] = WAYS
) -> dict[str, np.ndarray]:
    """Way -> (draw, horizon) hours."""
    all_ways = {
        "model": lambda: by_model(case.past, draws, rng.spawn(1)[0]),
        "independent weeks": lambda: by_weeks(case.past, draws, rng),
        "13-week blocks": lambda: by_weeks(case.past, draws, rng, block=13),
        "average pace": lambda: by_average(case.past),
        "habit known": lambda: by_known_habit(case, draws, rng.spawn(1)[0]),
        "oracle": lambda: case.oracle,
    }
    return {way: all_ways[way]() for way in ways}


def coverage(positions: np.ndarray, level: float) -> np.ndarray:
    """(horizon,) share of actual values inside the central range of this level.

    Examples
    --------
    >>> coverage(np.array([[0.5], [0.95]]), 0.8).tolist()
    [0.5]
    """
    return np.asarray((np.abs(positions - 0.5) <= level / 2).mean(axis=0))


def table(results: dict[str, dict[str, dict[str, np.ndarray]]]) -> list[str]:
    """A Markdown table with one row per habit, way and horizon."""
    rows = []
    for habit, ways in results.items():
        pace = ways["average pace"]["crps"].mean(axis=0)
        for way, found in ways.items():
            covered = [coverage(found["position"], level) for level in LEVELS]
            scores, hours = found["crps"].mean(axis=0), found["actual"].mean(axis=0)
            for i, weeks in enumerate(HORIZONS):
                cells = ["-"] * 3 if way == "average pace" else [f"{c[i]:.3f}" for c in covered]
                ratios = [f"{scores[i] / hours[i]:.3f}", f"{scores[i] / pace[i]:.2f}"]
                rows.append([habit, way, str(weeks), *cells, *ratios])
    heads = ["habit", "way", "weeks", "50 %", "80 %", "90 %", "CRPS / mean hours", "CRPS / average pace"]
    return markdown(heads, rows)


def main() -> None:
    """Run the study and write bench_time.md."""
    given = parser_of(__doc__, logs=200, futures=20, draws=400, seed=20260301).parse_args()
    results = {habit: study(habit, given.logs, given.futures, given.draws, given.seed) for habit in HABITS}
    head = [
        "# Hours at the bench: coverage and score",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas', 'scipy')}.",
        f"{given.logs} invented logs per habit (benchmarks/invented/habits.py), each continued in "
        f"{given.futures} ways. Share of actual values inside the central 50, 80 and 90 % ranges; CRPS as a "
        "share of the mean hours, and of the average pace's error.",
        "",
    ]
    write_page(__file__, [*head, *table(results)])


if __name__ == "__main__":
    main()
