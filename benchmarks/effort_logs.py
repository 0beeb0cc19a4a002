"""The effort model on whole logs: open tasks, reports, rework, outside work and growth included.

Builds come from `forecast.synthetic`, which was written apart from the model: sessions with half-done
tasks, percents and counted pieces, lumped entries, rework found late, work outside the plan, tasks
added on the way. The target is all person-hours still to come.
"""

from __future__ import annotations

import argparse
import time
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.effort_skill import LEVELS
from forecast.effort import EffortModel
from forecast.progress import Progress, read_progress
from forecast.scores import crps
from forecast.synthetic import EFFORT_KINDS, SyntheticBuild, make_build

SHARES = (0.10, 0.25, 0.50, 0.75)
_DRAWS = 2000


def by_the_plan(progress: Progress) -> float:
    """Planned hours of the open tasks less what was spent on them (median task where none are given)."""
    tasks = progress.tasks
    planned = tasks["planned_hours"].fillna(tasks["planned_hours"].median())
    left = (planned - tasks["hours_first"]).clip(lower=0.1 * planned)
    return float(left[~tasks["done"]].sum())


def times_ratio(progress: Progress) -> float:
    """The same times all hours logged so far over planned hours of the finished tasks."""
    tasks = progress.tasks
    planned = tasks["planned_hours"].fillna(tasks["planned_hours"].median())[tasks["done"]].sum()
    spent = tasks.loc[tasks["done"], ["hours_first", "hours_rework"]].to_numpy().sum()
    outside = progress.outside["person_hours"].sum()
    return by_the_plan(progress) * float((spent + outside) / planned) if planned else by_the_plan(progress)


def study(kind: str, seed: int, oracle_runs: int) -> list[dict]:
    """Rows of one build: the model's rank and CRPS at each share, beside two naive ways and the oracle."""
    made = make_build(effort=kind, seed=seed)
    rng = np.random.default_rng(seed)
    rows = []
    for share in SHARES:
        as_of = made.cut(share)
        sessions = made.build.sessions
        truth = float(sessions.loc[sessions["until"] > np.datetime64(as_of), "person_hours"].sum())
        progress = read_progress(made.build.plan, sessions, as_of)
        begun = time.process_time()
        model = EffortModel().fit(progress, rng)
        work = model.sample_remaining(_DRAWS, rng)
        seconds = time.process_time() - begun
        draws = work.hours.sum(axis=1)
        row = {
            "kind": kind,
            "seed": seed,
            "share": share,
            "truth": truth,
            "seconds": seconds,
            "rank": float(np.mean(draws < truth)),
            "bias": float(np.log(np.median(draws) / truth)),
            "model": float(crps(draws, truth, estimator="fair")) / truth,
            "plan": abs(by_the_plan(progress) - truth) / truth,
            "x ratio": abs(times_ratio(progress) - truth) / truth,
            "open": int(model.design_.under_way.sum()),
        }
        if oracle_runs:
            played = made.play_on(as_of, oracle_runs, rng).person_hours
            row["oracle"] = float(crps(played, truth, estimator="fair")) / truth
        true = true_parts(made, progress, as_of)
        for name, hours in work.parts.items():
            row[f"said {name}"] = float(hours.mean()) / truth
            row[f"true {name}"] = true[name] / truth
            row[f"rank {name}"] = float(np.mean(hours < true[name]) + 0.5 * np.mean(hours == true[name]))
        rows.append(row)
    return rows


def true_parts(made: SyntheticBuild, progress: Progress, as_of: date) -> dict[str, float]:
    """Person-hours still to come by where they come from."""
    tasks, truth = progress.tasks, made.truth
    later = {t.task for t in made.build.plan.tasks} - set(tasks["task"])
    spent = dict(zip(tasks["task"], tasks["hours_first"], strict=True))
    rework = sum(truth.rework_hours.values()) - float(tasks["hours_rework"].sum())
    return {
        "planned": sum(truth.total_hours[t] - h for t, h in spent.items()),
        "rework": rework,
        "outside": truth.outside_hours - float(progress.outside["person_hours"].sum()),
        "growth": sum(truth.total_hours[t] for t in later),
    }


def main() -> None:
    """Measure and write effort_logs.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=100)
    parser.add_argument("--seed", type=int, default=500)
    parser.add_argument("--oracle-runs", type=int, default=0)
    parser.add_argument("--out", default=str(Path(__file__).with_suffix(".md")))
    settings = parser.parse_args()
    rows = []
    for kind in EFFORT_KINDS:
        first = settings.seed + settings.builds * EFFORT_KINDS.index(kind)
        for seed in range(first, first + settings.builds):
            rows += study(kind, seed, settings.oracle_runs)
    frame = pd.DataFrame(rows)
    frame.to_csv("/tmp/effort_logs.csv")
    apart = (frame["rank"] - 0.5).abs() * 2
    table = frame.assign(**{f"{level:.0%}": (apart <= level) * 100 for level in LEVELS})
    table = table.drop(columns=["seed"]).groupby(["kind", "share"], sort=False).mean().round(3)
    print(table.to_string())


if __name__ == "__main__":
    main()
