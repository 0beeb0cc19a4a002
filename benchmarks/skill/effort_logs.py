"""The effort model on whole logs: open tasks, reports, rework, outside work and growth included.

Builds come from `benchmarks.invented.workshop`, written apart from the model: sessions with half-done tasks,
 percents and counted pieces, lumped entries, rework found late, work outside the plan, tasks
added on the way. Two targets: all person-hours still to come, and the first-time hours of the next
fifty tasks that are not begun, beside independent lognormal draws by type.

    python -m benchmarks.skill.effort_logs --builds 40
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import EFFORT_KINDS, SyntheticBuild, make_build
from benchmarks.kept_rows import kept_rows
from benchmarks.skill.effort import LEVELS, as_markdown, versions
from forecast.learn.effort import EffortModel
from forecast.learn.progress import Progress, read_progress
from forecast.questions.scores import crps

SHARES = (0.10, 0.25, 0.50, 0.75)
BLOCK = 50
_DRAWS = 2000
_SEEDS_A_KIND = 10_000
_TELLS = 3  # finished tasks of a type from which on its own ratios are taken


def by_the_plan(progress: Progress) -> float:
    """Planned hours of the open tasks less what was spent on them (median task where none are given)."""
    tasks = progress.tasks
    planned = _planned(tasks)
    left = (planned - tasks["hours_first"]).clip(lower=0.1 * planned)
    return float(left[~tasks["done"]].sum())


def times_ratio(progress: Progress) -> float:
    """The same times all hours logged so far over planned hours of the finished tasks."""
    tasks = progress.tasks
    planned = _planned(tasks)[tasks["done"]].sum()
    spent = tasks.loc[tasks["done"], ["hours_first", "hours_rework"]].to_numpy().sum()
    outside = progress.outside["person_hours"].sum()
    return by_the_plan(progress) * float((spent + outside) / planned) if planned else by_the_plan(progress)


def _planned(tasks: pd.DataFrame) -> pd.Series:
    return tasks["planned_hours"].fillna(tasks["planned_hours"].median())


def independent(progress: Progress, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draw,) sum over tasks, each drawn from a lognormal fitted to its type's ratios (else to all)."""
    tasks = progress.tasks.assign(planned=_planned(progress.tasks))
    known = tasks.loc[tasks["done"] & (tasks["hours_first"] > 0)]
    log_ratio = np.log(known["hours_first"] / known["planned"])
    overall = (log_ratio.mean(), log_ratio.std())
    fits = {
        kind: (one.mean(), one.std()) for kind, one in log_ratio.groupby(known["type"]) if len(one) >= _TELLS
    }
    ahead = tasks.iloc[rows]
    mean, sd = np.array([fits.get(kind, overall) for kind in ahead["type"]]).T
    ratios = np.exp(rng.normal(mean, sd, size=(_DRAWS, len(rows))))
    return np.asarray(ratios @ ahead["planned"].to_numpy(dtype=float))


def study(kind: str, seed: int) -> list[dict]:
    """Rows of one build: rank and CRPS of both targets at each share, beside the naive ways."""
    made = make_build(effort=kind, seed=seed)
    rng = np.random.default_rng(seed)
    rows = []
    for share in SHARES:
        as_of = made.cut(share)
        progress = read_progress(made.build.plan, made.build.sessions, as_of)
        begun = time.process_time()
        model = EffortModel().fit(progress, rng)
        work = model.sample_remaining(_DRAWS, rng)
        seconds = time.process_time() - begun
        row = {"kind": kind, "seed": seed, "share": share, "seconds": seconds}
        row["open"] = int(model.design_.under_way.sum())
        rows.append(row | _rest(made, progress, work, as_of) | _block(made, progress, model, rng))
    return rows


def _rest(made: SyntheticBuild, progress: Progress, work, as_of: date) -> dict[str, float]:  # type: ignore[no-untyped-def]
    """All person-hours still to come, and what they are made of."""
    sessions = made.build.sessions
    truth = float(sessions.loc[sessions["until"] > np.datetime64(as_of), "person_hours"].sum())
    draws = work.hours.sum(axis=1)
    row = _scored("rest", draws, truth) | {
        "rest, plan": abs(by_the_plan(progress) - truth) / truth,
        "rest, x ratio": abs(times_ratio(progress) - truth) / truth,
    }
    true = true_parts(made, progress)
    for name, hours in work.parts.items():
        row[f"said {name}"] = float(hours.mean()) / truth
        row[f"true {name}"] = true[name] / truth
    return row


def _block(
    made: SyntheticBuild, progress: Progress, model: EffortModel, rng: np.random.Generator
) -> dict[str, float]:
    """First-time hours of the next tasks in the plan's order that are not begun."""
    tasks = progress.tasks
    open_rows = model.design_.open_rows
    begun = tasks["hours_first"].to_numpy(dtype=float)[open_rows] > 0
    columns = np.flatnonzero(~begun)[:BLOCK]
    if len(columns) < BLOCK:
        return {}
    rows = open_rows[columns]
    truth = float(sum(made.truth.total_hours[t] for t in tasks["task"].iloc[rows]))
    draws = model.sample_first_time_hours(_DRAWS, rng)[:, columns].sum(axis=1)
    return _scored("block", draws, truth) | _scored("alone", independent(progress, rows, rng), truth)


def _scored(name: str, draws: np.ndarray, truth: float) -> dict[str, float]:
    return {
        f"{name}, rank": float(np.mean(draws < truth)),
        f"{name}, bias": float(np.log(np.median(draws) / truth)),
        f"{name}, crps": float(crps(draws, truth, estimator="fair")) / truth,
    }


def true_parts(made: SyntheticBuild, progress: Progress) -> dict[str, float]:
    """Person-hours still to come by where they come from."""
    tasks, truth = progress.tasks, made.truth
    later = {t.task for t in made.build.plan.tasks} - set(tasks["task"])
    spent = dict(zip(tasks["task"], tasks["hours_first"], strict=True))
    return {
        "planned": sum(truth.total_hours[t] - h for t, h in spent.items()),
        "rework": sum(truth.rework_hours.values()) - float(tasks["hours_rework"].sum()),
        "outside": truth.outside_hours - float(progress.outside["person_hours"].sum()),
        "growth": sum(truth.total_hours[t] for t in later),
    }


def _coverage(frame: pd.DataFrame, name: str) -> dict[str, pd.Series]:
    apart = (frame[f"{name}, rank"] - 0.5).abs() * 2
    held = apart.notna()
    return {f"{level:.0%}": ((apart <= level) * 100.0).where(held) for level in LEVELS}


def block_table(frame: pd.DataFrame, by: Sequence[str] = ("kind", "share")) -> pd.DataFrame:
    """Fifty tasks: coverage of the model's ranges and of independent draws, and CRPS of both."""
    alone = _coverage(frame, "alone")["80%"]
    shown = frame.assign(**_coverage(frame, "block"), alone_80=alone)
    shown = shown.loc[frame["block, rank"].notna()]
    groups = shown.groupby(list(by), sort=False)
    table = groups[["50%", "80%", "90%"]].mean().round(1)
    table.insert(0, "blocks", groups.size())
    table["bias"] = groups["block, bias"].mean().round(3)
    table["CRPS"] = (groups["block, crps"].mean() * 100).round(2)
    table["independent: 80%"] = groups["alone_80"].mean().round(1)
    table["independent: CRPS"] = (groups["alone, crps"].mean() * 100).round(2)
    table["CRPS / independent"] = (groups["block, crps"].mean() / groups["alone, crps"].mean()).round(2)
    return table


def rest_table(frame: pd.DataFrame) -> pd.DataFrame:
    """Everything still to come: coverage and CRPS, beside the plan and the plan times the ratio so far."""
    by = frame.assign(**_coverage(frame, "rest")).groupby(["kind", "share"], sort=False)
    table = by[["50%", "80%", "90%"]].mean().round(1)
    table["bias"] = by["rest, bias"].mean().round(3)
    table["CRPS"] = (by["rest, crps"].mean() * 100).round(2)
    table["plan"] = (by["rest, plan"].mean() * 100).round(1)
    table["x ratio"] = (by["rest, x ratio"].mean() * 100).round(1)
    return table


def parts_table(frame: pd.DataFrame) -> pd.DataFrame:
    """What the hours still to come are made of: said on average, and true, percent of the truth."""
    names = [c for c in frame if c.startswith(("said ", "true "))]
    return (frame.groupby("share")[names].mean() * 100).round(1)


def report(frame: pd.DataFrame, builds: int, seed: int) -> str:
    """The Markdown page."""
    tables = {
        f"All kinds: first-time hours of the next {BLOCK} tasks not begun": lambda f: block_table(
            f.assign(kind="all"), ["share"]
        ),
        f"First-time hours of the next {BLOCK} tasks not begun; CRPS in percent of the truth": block_table,
        "All person-hours still to come; CRPS and absolute misses in percent of the truth": rest_table,
        "What they are made of, percent of the truth": parts_table,
    }
    error = 100 * np.sqrt(0.16 / builds)
    lines = [
        "# Skill of the effort model on whole logs",
        "",
        f"{builds} invented builds of each kind, 260 tasks or so each, seeds from {seed}; {versions()}.",
        "Kinds and their truth: benchmarks/invented/workshop/kinds.py; no two builds share a seed, so one",
        f"standard error of 80 % coverage is {error / len(EFFORT_KINDS) ** 0.5:.1f} points over all kinds,",
        f"{error:.1f} of one. Shares are of all person-hours.",
        f"Fit and draws: {frame['seconds'].median():.2f} s of one core in the middle.",
        "",
    ]
    for heading, table in tables.items():
        lines += [f"## {heading}", "", as_markdown(table(frame)), ""]
    return "\n".join(lines)


def main() -> None:
    """Measure and write effort_logs.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=100)
    parser.add_argument("--seed", type=int, default=500)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_suffix(".md"))
    parser.add_argument("--keep", type=Path, help="file of finished builds, to go on from")
    settings = parser.parse_args()
    parts = [
        (kind, settings.seed + _SEEDS_A_KIND * k + i)
        for i in range(settings.builds)
        for k, kind in enumerate(EFFORT_KINDS)
    ]
    rows = [row for found in kept_rows(settings.keep, parts, study) for row in found]
    text = report(pd.DataFrame(rows), settings.builds, settings.seed)
    settings.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
