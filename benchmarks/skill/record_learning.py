"""Would forecasts that learn from their own record be better? A study on builds with a known truth.

    python -m benchmarks.skill.record_learning [--builds 6] [--runs 300] [--seed 77]
                                              [--cases FILE] [--part 1/2]

For each of four kinds of effort and three habits so many builds are invented and forecast every quarter of a
year, as in `benchdays record`. Each forecast of a finish date (the next stage, and the build) is then
corrected by what the builder could have learned by that day from the forecasts before it:

    shift         log days move by the mean log(actual / even odds) of the stages finished so far, one value a
                  stage however often it was forecast; a stage still open after its even-odds date counts as
                  that late at least; recent forecasts weigh more, and k stages' worth of "no error" is added
    scale         log days are stretched about their median by the root mean square of the standardised
                  errors (wider or narrower), with k stages' worth of "as wide as said" added
    pace          log days move by the mean log(even odds / actual) of the person-hours of past quarters

How much is added (k; infinite = the step is left off) is chosen on every second build and judged on the
others. The score is the CRPS in days over the even-odds days of the forecast as it was said: what a score is
divided by must not depend on what came, or it would reward forecasts for being early. With --cases every
build is kept as it is finished and done only once. Writes record_learning.md beside this file.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.kept_cases import KeptCases, part_of
from forecast.learn.progress import read_progress
from forecast.questions.scores import crps
from forecast.questions.track_record import WINDOW, Outcomes, Replay, replay_days
from forecast.simulate.settings import Settings

LEVELS = (0.5, 0.8, 0.9)
FADE_DAYS = 730.0
STEP = timedelta(days=91)
FIRST_DAYS = 182
MOST_DAYS = 16
STRENGTHS = (np.inf, 16.0, 8.0, 4.0, 2.0, 1.0)
COLUMNS = ("effort", "habit", "build", "number", "at", "target", "way", "crps", "rank")
TOO_SHORT = "too short"
DECISION = """
A correction would be on by default if it lowered the CRPS by 2 % or more (our choice) for the stage and for
the build, and kept the coverage. None did when this was decided (24 builds, and again on 72). So `finish`
announces what the model says, and `record` only shows how earlier dates did. The samples were not tried.
"""
_LEAST_SD = 0.05


@dataclass(frozen=True, kw_only=True)
class Correction:
    """How many stages' (quarters') worth of "no error" is added to each lesson."""

    shift: float
    scale: float
    pace: float

    def __str__(self) -> str:
        said = [f"{name} k={k:g}" for name, k in vars(self).items() if np.isfinite(k)]
        return ", ".join(said) or "none"


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """What the record said on one day.

    Attributes
    ----------
    errors, squares, weights : (stage,) mean log error, mean squared standardised error, weight; a square is
        NaN where the stage is still open
    pace_errors, pace_weights : (quarter,) log(even odds / actual) of the person-hours, weight
    """

    errors: np.ndarray
    squares: np.ndarray
    weights: np.ndarray
    pace_errors: np.ndarray
    pace_weights: np.ndarray


def quarters(build: SyntheticBuild) -> list[date]:
    """Every 91 days from half a year after the first session to the end, thinned to at most MOST_DAYS."""
    first = build.build.sessions["date"].min().date() + timedelta(days=FIRST_DAYS)
    count = max((build.truth.build_finish - first).days // STEP.days, 0)
    days = [first + n * STEP for n in range(count)]
    return days[:: -(-len(days) // MOST_DAYS)] if days else []


def lesson_on(day: date, before: Sequence[Replay], outcomes: Outcomes) -> Lesson:
    """What the forecasts before a day had to teach at its end."""
    stages: dict[str, list[tuple[float, float, float]]] = {}
    pace = []
    for replay in before:
        weight = 0.5 ** ((day - replay.as_of).days / FADE_DAYS)
        for said in replay.finishes:
            if said.target != "build" and (lesson := _stage_lesson(said, replay.as_of, day, outcomes)):
                stages.setdefault(said.target, []).append((*lesson, weight))
        pace += [(e, weight) for e in _pace_errors(replay, day, outcomes)]
    by_stage = [np.array(v) for v in stages.values()]
    return Lesson(
        errors=np.array([np.average(v[:, 0], weights=v[:, 2]) for v in by_stage]),
        squares=np.array([np.average(v[:, 1], weights=v[:, 2]) for v in by_stage]),
        weights=np.array([v[:, 2].max() for v in by_stage]),
        pace_errors=np.array([e for e, _ in pace]),
        pace_weights=np.array([w for _, w in pace]),
    )


def _stage_lesson(said, then: date, day: date, outcomes: Outcomes) -> tuple[float, float] | None:
    even = float(np.quantile(said.days, 0.5, method="inverted_cdf"))
    if not np.isfinite(even):
        return None
    finished = outcomes.finished_on(said.target)
    if finished is not None and finished <= day:
        finite = np.log(said.days[np.isfinite(said.days)])
        error = float(np.log(max((finished - then).days, 1) / even))
        return error, (error / max(float(finite.std()), _LEAST_SD)) ** 2
    elapsed = (day - then).days
    return (float(np.log(elapsed / even)), np.nan) if elapsed > even else None


def _pace_errors(replay: Replay, day: date, outcomes: Outcomes) -> list[float]:
    errors = []
    for said in replay.hours:
        if said.target == WINDOW and replay.as_of + timedelta(days=said.days) <= day:
            actual = outcomes.hours_within(replay.as_of, said.days)
            errors.append(float(np.log((np.median(said.hours) + 1.0) / (actual + 1.0))))
    return errors


def corrected(days: np.ndarray, lesson: Lesson, how: Correction) -> np.ndarray:
    """(run,) days after the correction, at least one; past the horizon stays there."""
    shift = _shrunk(lesson.errors, lesson.weights, how.shift)
    shift += _shrunk(lesson.pace_errors, lesson.pace_weights, how.pace)
    known = ~np.isnan(lesson.squares)
    excess = _shrunk(lesson.squares[known] - 1.0, lesson.weights[known], how.scale)
    stretch = np.sqrt(max(1.0 + excess, 0.1))
    logs = np.log(days)
    middle = float(np.quantile(logs, 0.5, method="inverted_cdf"))
    if not np.isfinite(middle):
        return days
    return np.maximum(np.exp(middle + shift + stretch * (logs - middle)), 1.0)


def _shrunk(values: np.ndarray, weights: np.ndarray, strength: float) -> float:
    if not np.isfinite(strength) or not len(values):
        return 0.0
    return float((values * weights).sum() / (weights.sum() + strength))


def corrections() -> list[Correction]:
    """Each step alone, then shift and stretch together."""
    off = np.inf
    alone = [Correction(shift=off, scale=off, pace=off)]
    for k in STRENGTHS[1:]:
        alone += [
            Correction(shift=k, scale=off, pace=off),
            Correction(shift=off, scale=k, pace=off),
            Correction(shift=off, scale=off, pace=k),
        ]
    both = [Correction(shift=a, scale=b, pace=off) for a, b in itertools.product(STRENGTHS[1:], repeat=2)]
    return alone + both


def study_build(kind: tuple[str, str], number: int, seed: int, runs: int) -> Iterator[dict]:
    """One row a day, target and correction; one row alone of a build too short to learn from."""
    made = make_build(effort=kind[0], habit=kind[1], seed=seed, tasks=160, builders=1 + seed // 2 % 2)
    days = quarters(made)
    finish = made.truth.build_finish
    outcomes = Outcomes(progress=read_progress(made.build.plan, made.build.sessions, finish))
    settings = Settings(runs=runs, seed=seed)
    replays = replay_days(made.build, days, finish, settings)
    lessons = [lesson_on(r.as_of, replays[:n], outcomes) for n, r in enumerate(replays)]
    base = {"effort": kind[0], "habit": kind[1], "build": seed, "number": number}
    if not any(map(_teaches, lessons)):
        yield base | {"target": TOO_SHORT}
    for n, (replay, lesson) in enumerate(zip(replays, lessons, strict=True)):
        if not _teaches(lesson):
            continue
        for said in replay.finishes:
            if said.next_stage or said.target == "build":
                here = base | {"at": n, "target": "build" if said.target == "build" else "next stage"}
                yield from (here | row for row in _scored(said, replay, lesson, outcomes, settings))


def _teaches(lesson: Lesson) -> bool:
    return bool(len(lesson.errors) + len(lesson.pace_errors))


def _scored(said, replay: Replay, lesson: Lesson, outcomes: Outcomes, settings: Settings) -> Iterator[dict]:
    finished = outcomes.finished_on(said.target)
    actual = min(float((finished - replay.as_of).days), float(settings.horizon_days))
    said_days = min(float(np.quantile(said.days, 0.5, method="inverted_cdf")), float(settings.horizon_days))
    for how in corrections():
        days = np.minimum(corrected(said.days, lesson, how), settings.horizon_days)
        rank = float(np.mean(days < actual) + 0.5 * np.mean(days == actual))
        yield {"way": str(how), "crps": float(crps(days, actual)) / said_days, "rank": rank}


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean relative CRPS and coverage of the central ranges by way."""
    apart = (rows["rank"] - 0.5).abs() * 2
    covered = {f"{level:.0%}": (apart <= level).astype(float) for level in LEVELS}
    return rows.assign(**covered).groupby("way", sort=False)[["crps", *covered]].mean()


def report(rows: pd.DataFrame, asked: argparse.Namespace) -> str:
    """What was chosen on one half and what it did on the other."""
    lines = [
        "# Forecasts that learn from their record",
        "",
        f"`python -m benchmarks.skill.record_learning --builds {asked.builds} --runs {asked.runs} "
        f"--seed {asked.seed}`; numpy {version('numpy')}, pandas {version('pandas')}.",
        "",
        f"{rows['build'].nunique()} builds of {len(EFFORT_KINDS)} x {len(HABIT_KINDS)} kinds, a forecast a",
        "quarter. CRPS over the even-odds days said; its ratio to the forecasts as they were said, with the",
        "standard error from drawing the builds again; coverage of the central ranges. Chosen on one half of",
        "the builds, judged on the other.",
    ]
    for target in ("next stage", "build"):
        mine = rows.loc[rows["target"] == target]
        chosen_on = mine["number"] % 2 == 1
        judged = mine.loc[~chosen_on]
        train, test = table(mine[chosen_on]), table(judged)
        lines += ["", f"## {target.capitalize()}", "", f"{_judged(judged)} forecasts judged.", ""]
        lines += ["| correction | CRPS | to none | 50 % | 80 % | 90 % |", "|---|---|---|---|---|---|"]
        for group in ("none", "shift", "scale", "pace", "both"):
            names = [w for w in train.index if _group(w) == group]
            best = train.loc[names, "crps"].idxmin()
            row = test.loc[best]
            lines.append(
                f"| {best} | {row['crps']:.3f} | {_ratio(judged, best, asked.seed)} | "
                + " | ".join(f"{row[f'{level:.0%}']:.2f}" for level in LEVELS)
                + " |"
            )
    return "\n".join(lines) + "\n" + DECISION


def _ratio(rows: pd.DataFrame, way: str, seed: int) -> str:
    """Mean CRPS to that of no correction, and its standard error over builds."""
    sums = rows.loc[rows["way"].isin([way, "none"])].pivot_table("crps", "build", "way", aggfunc="sum")
    ours, none = sums[way].to_numpy(), sums["none"].to_numpy()
    again = np.random.default_rng(seed).integers(len(ours), size=(1000, len(ours)))
    spread = ours[again].sum(axis=1) / none[again].sum(axis=1)
    return f"{ours.sum() / none.sum():.3f} +- {spread.std():.3f}"


def _judged(rows: pd.DataFrame) -> int:
    return int((rows["way"] == "none").sum())


def _group(way: str) -> str:
    if "shift" in way and "scale" in way:
        return "both"
    return way.split(" ")[0]


def main() -> None:
    """Measure and write record_learning.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=6)
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=77)
    parser.add_argument("--cases", type=Path, help="keep every build in this CSV file, and resume from it")
    parser.add_argument("--part", type=part_of, default=(1, 1), help="which share of the builds: 1/2, 2/2")
    asked = parser.parse_args()
    kinds = list(itertools.product(EFFORT_KINDS, HABIT_KINDS))
    jobs = [
        (kind, n, asked.seed * 10_000 + number * 100 + n)
        for n in range(asked.builds)
        for number, kind in enumerate(kinds)
    ]
    with tempfile.TemporaryDirectory() as scratch:
        path = asked.cases or Path(scratch) / "cases.csv"
        kept = KeptCases(path=path, made_with={"seed": asked.seed, "runs": asked.runs}, columns=COLUMNS)
        done = set(kept.read()["build"])
        for count, job in enumerate(jobs[asked.part[0] - 1 :: asked.part[1]], start=1):
            if job[-1] not in done:
                kept.append(list(study_build(*job, asked.runs)))
                print(f"{count}: {job}", flush=True)
        rows = kept.read()
    rows = rows.loc[rows["build"].isin([seed for *_, seed in jobs])]
    if rows["build"].nunique() < len(jobs):
        print(f"{rows['build'].nunique()} of {len(jobs)} builds are there; no page yet.")
        return
    page = report(rows, asked)
    print(page)
    Path(__file__).with_suffix(".md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
