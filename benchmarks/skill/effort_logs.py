"""The effort model on whole logs: open tasks, reports, rework, work outside the plan and growth included.

    python -m benchmarks.skill.effort_logs [--builds 23] [--seed 500] [--cases FILE] [--part 1/2]

Builds come from benchmarks/invented/workshop, which shares nothing with the model: sessions on half-done
tasks, reported percents and counted pieces, rows of several days, rework found late, work outside the plan,
tasks added during the build. Two targets: all person-hours still to come, and the first-time hours of the
next fifty tasks that are not started, compared with independent lognormal draws by type.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import parser_of
from benchmarks.invented.workshop import EFFORT_KINDS, SyntheticBuild, make_build
from benchmarks.pages import markdown_of, versions, write_page
from benchmarks.skill.effort import LEVELS, LIBRARIES
from forecast.learn.effort import EffortModel
from forecast.learn.progress import Progress, read_progress
from forecast.questions.scores import crps

SHARES = (0.10, 0.25, 0.50, 0.75)
BLOCK = 50
_DRAWS = 2000
_SEEDS_PER_KIND = 10_000
_LEAST_TASKS = 3  # finished tasks of a type from which its own ratios are used


def by_the_plan(progress: Progress) -> float:
    """Planned hours of the open tasks less the hours spent (the median task where none are planned)."""
    tasks = progress.tasks
    planned = _planned(tasks)
    left = (planned - tasks["hours_first"]).clip(lower=0.1 * planned)  # an open task is not finished
    return float(left[~tasks["done"]].sum())


def times_ratio(progress: Progress) -> float:
    """`by_the_plan` times the ratio of all logged hours to planned hours of the finished tasks."""
    tasks = progress.tasks
    planned = _planned(tasks)[tasks["done"]].sum()
    spent = tasks.loc[tasks["done"], ["hours_first", "hours_rework"]].to_numpy().sum()
    outside = progress.outside["person_hours"].sum()
    return by_the_plan(progress) * float((spent + outside) / planned) if planned else by_the_plan(progress)


def _planned(tasks: pd.DataFrame) -> pd.Series:
    return tasks["planned_hours"].fillna(tasks["planned_hours"].median())


def independent(progress: Progress, rows: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draw,) sums over tasks, each from a lognormal fitted to the ratios of its type (else of all tasks)."""
    tasks = progress.tasks.assign(planned=_planned(progress.tasks))
    known = tasks.loc[tasks["done"] & (tasks["hours_first"] > 0)]
    log_ratio = np.log(known["hours_first"] / known["planned"])
    overall = (log_ratio.mean(), log_ratio.std())
    fits = {
        kind: (one.mean(), one.std())
        for kind, one in log_ratio.groupby(known["type"])
        if len(one) >= _LEAST_TASKS
    }
    ahead = tasks.iloc[rows]
    mean, sd = np.array([fits.get(kind, overall) for kind in ahead["type"]]).T
    ratios = np.exp(rng.normal(mean, sd, size=(_DRAWS, len(rows))))
    return np.asarray(ratios @ ahead["planned"].to_numpy(dtype=float))


def build_cases(kind: str, seed: int) -> list[dict]:
    """One row per share: rank and CRPS of both targets, and the errors of the naive ways."""
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
    """Scores of all person-hours still to come, and what these consist of."""
    sessions = made.build.sessions
    truth = float(sessions.loc[sessions["until"] > np.datetime64(as_of), "person_hours"].sum())
    draws = work.hours.sum(axis=1)
    row = _scored("rest", draws, truth) | {
        "rest, plan": abs(by_the_plan(progress) - truth) / truth,
        "rest, x ratio": abs(times_ratio(progress) - truth) / truth,
    }
    true = true_parts(made, progress)
    for name, hours in work.parts.items():
        row[f"forecast {name}"] = float(hours.mean()) / truth
        row[f"true {name}"] = true[name] / truth
    return row


def _block(
    made: SyntheticBuild, progress: Progress, model: EffortModel, rng: np.random.Generator
) -> dict[str, float]:
    """Scores of the first-time hours of the next tasks, in plan order, that are not started."""
    tasks = progress.tasks
    open_rows = model.design_.open_rows
    started = tasks["hours_first"].to_numpy(dtype=float)[open_rows] > 0
    columns = np.flatnonzero(~started)[:BLOCK]
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
    """Source of work -> true person-hours still to come."""
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
    known = apart.notna()
    return {f"{level:.0%}": ((apart <= level) * 100.0).where(known) for level in LEVELS}


def block_table(frame: pd.DataFrame, by: Sequence[str] = ("kind", "share")) -> pd.DataFrame:
    """Coverage and CRPS of the model and of independent draws, on blocks of tasks."""
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
    """Coverage and CRPS of everything still to come, with the errors of the two naive ways."""
    by = frame.assign(**_coverage(frame, "rest")).groupby(["kind", "share"], sort=False)
    table = by[["50%", "80%", "90%"]].mean().round(1)
    table["bias"] = by["rest, bias"].mean().round(3)
    table["CRPS"] = (by["rest, crps"].mean() * 100).round(2)
    table["plan"] = (by["rest, plan"].mean() * 100).round(1)
    table["x ratio"] = (by["rest, x ratio"].mean() * 100).round(1)
    return table


def parts_table(frame: pd.DataFrame) -> pd.DataFrame:
    """What the hours still to come consist of: mean forecast and truth, percent of the truth."""
    names = [c for c in frame if c.startswith(("forecast ", "true "))]
    return (frame.groupby("share")[names].mean() * 100).round(1)


def report(frame: pd.DataFrame, builds: int, seed: int) -> list[str]:
    """The lines of effort_logs.md."""
    tables = {
        f"All kinds: first-time hours of the next {BLOCK} tasks not started": lambda f: block_table(
            f.assign(kind="all"), ["share"]
        ),
        f"First-time hours of the next {BLOCK} tasks not started; CRPS in percent of the truth": block_table,
        "All person-hours still to come; CRPS and absolute errors in percent of the truth": rest_table,
        "What they consist of, percent of the truth": parts_table,
    }
    error = 100 * np.sqrt(0.16 / builds)
    lines = [
        "# Skill of the effort model on whole logs",
        "",
        f"{builds} invented builds of each kind, about 260 tasks each, seeds from {seed};",
        f"{versions(*LIBRARIES, python=True)}.",
        "Kinds and their truth: benchmarks/invented/workshop/kinds.py; no two builds share a seed, so one",
        f"standard error of 80 % coverage is {error / len(EFFORT_KINDS) ** 0.5:.1f} points over all kinds,",
        f"{error:.1f} for one kind. Shares are of all person-hours.",
        f"Fit and draws: {frame['seconds'].median():.2f} s of one core (median).",
    ]
    for heading, table in tables.items():
        lines += ["", f"## {heading}", "", *markdown_of(table(frame))]
    return lines


def main() -> None:
    """Run the study, or one part of it; write effort_logs.md when every build is finished."""
    given = parser_of(__doc__, resumable=True, builds=23, seed=500).parse_args()
    parts = [
        (kind, given.seed + _SEEDS_PER_KIND * k + i)
        for i in range(given.builds)
        for k, kind in enumerate(EFFORT_KINDS)
    ]
    found = resuming.run_parts(parts, build_cases, given, ("seed",))
    if found is not None:
        write_page(__file__, report(found, given.builds, given.seed))


if __name__ == "__main__":
    main()
