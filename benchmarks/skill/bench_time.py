"""How well the hours at the bench are foretold: coverage and score on builders with a known habit.

    python -m benchmarks.skill.bench_time [--logs 200] [--futures 20] [--draws 400] [--seed 20260301]

For each of three habits so many invented logs are made (benchmarks/invented/habits.py), cut on a random day
after 40 to 208 weeks, and the hours of the next 13, 26 and 52 weeks are foretold by the model, by
independent weeks, by a bootstrap of 13-week blocks, by the average pace, by a forecaster that is told the
habit and reads the log for where the builder stands (benchmarks/habit_filter.py), and by an oracle that goes
on with the true builder from the true state (it knows even when the present silence will end). Every
log goes on in so many ways, all of which are scored, so that the luck of one year does not decide.
Writes bench_time.md beside this file.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.habit_filter import told_the_habit
from benchmarks.invented.habits import HABITS, Traits, begin, copies, go_on, invent
from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import BenchTime
from forecast.learn.progress import read_progress
from forecast.questions.scores import crps, randomised_pit

HORIZONS = (13, 26, 52)
LEVELS = (0.5, 0.8, 0.9)
WAYS = ("model", "independent weeks", "13-week blocks", "average pace", "told the habit", "oracle")
PLAN = Plan(tasks=(Task(task="T", stage="all", title="All of it"),))
MONDAY = date(2018, 1, 1)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One builder cut on one day: the days before, (future, horizon) totals to come, the oracle's draws."""

    traits: Traits
    past: np.ndarray
    actual: np.ndarray
    oracle: np.ndarray


def make_case(habit: str, futures: int, draws: int, rng: np.random.Generator) -> Case:
    """A fresh builder on a random day of the week."""
    traits = invent(habit, rng)
    state = begin(traits, rng)
    past = go_on(traits, state, int(rng.integers(7 * 40, 7 * 208)), rng)[0]
    totals = at_horizons(go_on(traits, copies(state, draws + futures), 7 * HORIZONS[-1], rng))
    return Case(traits=traits, past=past, actual=totals[:futures], oracle=totals[futures:])


def at_horizons(hours: np.ndarray) -> np.ndarray:
    """(draw, horizon) totals of the first 13, 26 and 52 weeks of (draw, day) hours."""
    done = np.cumsum(hours, axis=1)
    return np.stack([done[:, 7 * h - 1] for h in HORIZONS], axis=1)


def sessions_of(days: np.ndarray) -> pd.DataFrame:
    """The sessions frame of one builder's days."""
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
    """(draw, horizon) by drawing past weeks, alone or in blocks of neighbours."""
    weeks = past[len(past) % 7 :].reshape(-1, 7).sum(axis=1)
    blocks = -(-HORIZONS[-1] // block)
    first = rng.integers(0, len(weeks) - block + 1, (draws, blocks))
    drawn = weeks[(first[:, :, None] + np.arange(block)).reshape(draws, -1)]
    done = np.cumsum(drawn, axis=1)
    return np.stack([done[:, h - 1] for h in HORIZONS], axis=1)


def by_average(past: np.ndarray) -> np.ndarray:
    """(1, horizon) by the average pace since the first day."""
    return past.sum() / (len(past) / 7) * np.array(HORIZONS, dtype=float)[None, :]


def by_habit(case: Case, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, horizon) by one who is told the traits, but not where the builder stands."""
    return at_horizons(told_the_habit(case.traits, case.past, 7 * HORIZONS[-1], draws, rng))


def position(draws: np.ndarray, actual: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(future, horizon) where each future falls among the draws, 0..1; ties broken at random."""
    return randomised_pit(draws.T[None], actual, rng)


def score(draws: np.ndarray, actual: np.ndarray) -> np.ndarray:
    """(horizon,) continuous ranked probability score in hours, the mean over the futures."""
    return np.asarray(crps(draws.T[None], actual).mean(axis=0))


def study(
    habit: str, logs: int, futures: int, draws: int, seed: int, ways: Sequence[str] = WAYS
) -> dict[str, dict[str, np.ndarray]]:
    """By way: `position` (case, horizon), `crps` and `actual` (log, horizon)."""
    out: dict[str, dict[str, list[np.ndarray]]] = {
        w: {"position": [], "crps": [], "actual": []} for w in ways
    }
    for log in range(logs):
        rng = np.random.default_rng([seed, HABITS.index(habit), log])
        case = make_case(habit, futures, draws, rng)
        for way, drawn in foretold(case, draws, rng, ways).items():
            out[way]["position"].append(position(drawn, case.actual, rng))
            out[way]["crps"].append(score(drawn, case.actual))
            out[way]["actual"].append(case.actual.mean(axis=0))
    return {
        way: {k: np.concatenate(v) if k == "position" else np.array(v) for k, v in found.items()}
        for way, found in out.items()
    }


def foretold(
    case: Case, draws: int, rng: np.random.Generator, ways: Sequence[str] = WAYS
) -> dict[str, np.ndarray]:
    """Way -> (draw, horizon) hours."""
    all_ways = {
        "model": lambda: by_model(case.past, draws, rng.spawn(1)[0]),
        "independent weeks": lambda: by_weeks(case.past, draws, rng),
        "13-week blocks": lambda: by_weeks(case.past, draws, rng, block=13),
        "average pace": lambda: by_average(case.past),
        "told the habit": lambda: by_habit(case, draws, rng.spawn(1)[0]),
        "oracle": lambda: case.oracle,
    }
    return {way: all_ways[way]() for way in ways}


def coverage(positions: np.ndarray, level: float) -> np.ndarray:
    """(horizon,) share of cases within the central range of this level."""
    return np.asarray((np.abs(positions - 0.5) <= level / 2).mean(axis=0))


def table(results: dict[str, dict[str, dict[str, np.ndarray]]]) -> list[str]:
    """Rows of a Markdown table: one a habit, way and horizon."""
    lines = [
        "| habit | way | weeks | 50 % | 80 % | 90 % | CRPS / mean hours | CRPS / average pace |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for habit, ways in results.items():
        pace = ways["average pace"]["crps"].mean(axis=0)
        for way, found in ways.items():
            cover = [coverage(found["position"], level) for level in LEVELS]
            scores, hours = found["crps"].mean(axis=0), found["actual"].mean(axis=0)
            for i, weeks in enumerate(HORIZONS):
                said = ["-"] * 3 if way == "average pace" else [f"{c[i]:.3f}" for c in cover]
                lines.append(
                    f"| {habit} | {way} | {weeks} | {' | '.join(said)} | "
                    f"{scores[i] / hours[i]:.3f} | {scores[i] / pace[i]:.2f} |"
                )
    return lines


def main() -> None:
    """Run the study and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--futures", type=int, default=20)
    parser.add_argument("--draws", type=int, default=400)
    parser.add_argument("--seed", type=int, default=20260301)
    asked = parser.parse_args()
    results = {habit: study(habit, asked.logs, asked.futures, asked.draws, asked.seed) for habit in HABITS}
    lines = table(results)
    print("\n".join(lines))
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy"))
    head = [
        "# Hours at the bench: coverage and score",
        "",
        f"`python -m benchmarks.skill.bench_time --logs {asked.logs} --futures {asked.futures} "
        f"--draws {asked.draws} --seed {asked.seed}`; {versions}.",
        f"{asked.logs} invented logs a habit (benchmarks/invented/habits.py), each going on in "
        f"{asked.futures} ways. How often the central 50, 80 and 90 % ranges held what came; CRPS as a "
        "share of the mean hours, and of the average pace's error.",
        "",
    ]
    Path(__file__).with_suffix(".md").write_text("\n".join([*head, *lines, ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
