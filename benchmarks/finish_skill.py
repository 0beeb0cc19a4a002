"""How well finish dates are foretold: coverage and score on builds with a known truth.

    python -m benchmarks.finish_skill [--builds 8] [--runs 1000] [--plays 100] [--seed 20261001]

For each of four kinds of effort and three habits so many builds are invented (forecast/synthetic), every
second one with a second builder, and cut on the days on which 25, 50 and 75 % of the person-hours are in the
log. The day on which the first open stage and the whole build are finished is foretold by the program, by
three naive ways, and by the oracle: the build played on from the cut by its own true parameters with new
luck. Writes finish_skill.md beside this file.

Naive ways, all with one average pace (person-hours a day since the first session), as if every hour went to
the stage in question:
    average pace   planned hours left x the ratio of actual to planned hours so far
    plan alone     planned hours left as they stand
    recent pace    as average pace, but the pace of the last 13 weeks
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from forecast.outlook import Settings, forecast_finish
from forecast.progress import Progress, read_progress
from forecast.scores import crps, randomised_pit
from forecast.synthetic import EFFORT_KINDS, HABIT_KINDS, SyntheticBuild, make_build

FRACTIONS = (0.25, 0.5, 0.75)
LEVELS = (0.5, 0.8, 0.9)
TARGETS = ("open stage", "build")
NAIVE = ("average pace", "plan alone", "recent pace")
WAYS = ("program", *NAIVE, "oracle")
_RECENT_DAYS = 91
_LEAST_HOURS_A_DAY = 1 / 30


@dataclass(frozen=True, kw_only=True)
class Study:
    """What is asked: builds a kind, runs of the program, plays of the oracle, the seed."""

    builds: int
    runs: int
    plays: int
    seed: int
    efforts: tuple[str, ...] = EFFORT_KINDS
    habits: tuple[str, ...] = HABIT_KINDS

    @property
    def longest_days(self) -> float:
        """What lies past the program's horizon is scored as if it came on its last day."""
        return float(Settings().horizon_days)


def run_study(study: Study) -> pd.DataFrame:
    """One row a build, fraction, target and way: `crps` in days and `position` of what came (0..1)."""
    rows: list[dict[str, object]] = []
    for effort, habit in itertools.product(study.efforts, study.habits):
        for number in range(study.builds):
            key = [study.seed, EFFORT_KINDS.index(effort), HABIT_KINDS.index(habit), number]
            seed = int(np.random.default_rng(key).integers(2**31))
            made = make_build(effort=effort, habit=habit, seed=seed, builders=1 + number % 2)
            for fraction in FRACTIONS:
                named = {"effort": effort, "habit": habit, "build": seed, "at": fraction}
                rows += [named | case for case in _cases(made, fraction, study)]
            print(f"{effort}, {habit}: {number + 1} of {study.builds}", flush=True)
    return pd.DataFrame(rows)


def _cases(made: SyntheticBuild, fraction: float, study: Study) -> Iterator[dict[str, object]]:
    as_of = made.cut(fraction)
    dice = np.random.default_rng([study.seed, made.seed, round(100 * fraction)])
    known = made.as_known_on(as_of)
    outlook = forecast_finish(known, as_of, Settings(runs=study.runs, seed=made.seed))
    played = made.play_on(as_of, study.plays, dice.spawn(1)[0])
    progress = read_progress(known.plan, known.sessions, as_of)
    for target in TARGETS:
        stage = outlook.open_stages[0] if target == "open stage" else None
        column = None if stage is None else played.stages.index(stage)
        forecasts = {
            "program": np.ceil(outlook.days(stage)),
            "oracle": played.build_days if column is None else played.stage_days[:, column],
            **{way: np.array([days]) for way, days in naive_days(progress, stage).items()},
        }
        actual = min((_finished(made, stage) - as_of).days, study.longest_days)
        for way, draws in forecasts.items():
            draws = np.minimum(draws, study.longest_days)
            yield {
                "target": target,
                "way": way,
                "days": actual,
                "crps": float(crps(draws, actual, estimator="fair" if len(draws) > 1 else "standard")),
                "position": float(randomised_pit(draws, actual, dice)) if len(draws) > 1 else np.nan,
                "middle": float(np.median(draws)),
            }


def _finished(made: SyntheticBuild, stage: str | None) -> date:
    return made.truth.build_finish if stage is None else made.truth.stage_finish[stage]


def naive_days(progress: Progress, stage: str | None) -> dict[str, float]:
    """Days to the finish of a stage (None: the build) by each naive way."""
    tasks, rows = progress.tasks, progress.sessions
    planned = tasks["planned_hours"].fillna(tasks["planned_hours"].mean())
    done = tasks["done"]
    ratio = rows.loc[rows["task"].isin(tasks.loc[done, "task"]), "person_hours"].sum() / planned[done].sum()
    wanted = ~done & ((tasks["stage"] == stage) if stage is not None else True)
    spent = tasks["hours_first"]
    at_ratio = (planned * ratio - spent).clip(lower=0.0)[wanted].sum()
    as_planned = (planned - spent).clip(lower=0.0)[wanted].sum()
    today = pd.Timestamp(progress.as_of)
    days = (today - rows["date"].min()).days + 1
    recent = rows.loc[rows["date"] > today - pd.Timedelta(days=_RECENT_DAYS), "person_hours"].sum()
    pace = rows["person_hours"].sum() / days
    recent_pace = max(recent / min(days, _RECENT_DAYS), _LEAST_HOURS_A_DAY)
    return {
        "average pace": at_ratio / pace,
        "plan alone": as_planned / pace,
        "recent pace": at_ratio / recent_pace,
    }


def coverage(positions: pd.Series, level: float) -> float:
    """Share of cases within the central range of this level."""
    return float(((positions - 0.5).abs() <= level / 2).mean())


def table(found: pd.DataFrame, groups: list[str], title: str) -> list[str]:
    """A Markdown table: one row a group and way, with ratios of mean CRPS."""
    heads = [*groups, "cases", "50 %", "80 %", "90 %", "late", "CRPS, days"]
    heads += [f"/ {way}" for way in (*NAIVE, "oracle")]
    lines = [f"## {title}", "", f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    for key, part in found.groupby(groups, sort=False):
        score = part.groupby("way")["crps"].mean()
        program = part.loc[part["way"] == "program"]
        cells = [str(k) for k in key] + [str(len(program))]
        cells += [f"{coverage(program['position'], level):.3f}" for level in LEVELS]
        cells += [f"{(program['position'] > 0.5).mean():.2f}", f"{score['program']:.0f}"]
        cells += [f"{score['program'] / score[way]:.2f}" for way in (*NAIVE, "oracle")]
        lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def averaged_table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """Ratios averaged over the cuts, with their standard error from drawing the builds again."""
    lines = ["## Averaged over the cuts", "", "| target | / average pace | / oracle |", "|---|---|---|"]
    for target, part in found.groupby("target", sort=False):
        score = part.pivot_table(index="build", columns=["way", "at"], values="crps")
        cells = []
        for way in ("average pace", "oracle"):
            spread = [
                _mean_ratio(score.iloc[rng.integers(len(score), size=len(score))], way) for _ in range(500)
            ]
            cells.append(f"{_mean_ratio(score, way):.2f} +- {np.std(spread):.2f}")
        lines.append(f"| {target} | {' | '.join(cells)} |")
    return [*lines, ""]


def _mean_ratio(score: pd.DataFrame, way: str) -> float:
    """`score` has a row a build and columns (way, at); the mean over the cuts of the ratio of means."""
    return float((score["program"].mean() / score[way].mean()).mean())


def oracle_table(found: pd.DataFrame) -> list[str]:
    """The oracle's own coverage: it must hold, or the study is wrong."""
    lines = ["## The oracle", "", "| target | at | 50 % | 80 % | 90 % | CRPS / average pace |"]
    lines.append("|---|---|---|---|---|---|")
    for (target, at), part in found.groupby(["target", "at"], sort=False):
        own = part.loc[part["way"] == "oracle"]
        score = part.groupby("way")["crps"].mean()
        cells = [f"{coverage(own['position'], level):.3f}" for level in LEVELS]
        ratio = score["oracle"] / score["average pace"]
        lines.append(f"| {target} | {at:.0%} | {' | '.join(cells)} | {ratio:.2f} |")
    return [*lines, ""]


def report(found: pd.DataFrame, study: Study) -> str:
    """The whole page."""
    cases = found["build"].nunique()
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy", "numba"))
    lines = [
        "# Finish dates: coverage and score",
        "",
        f"`python -m benchmarks.finish_skill --builds {study.builds} --runs {study.runs} "
        f"--plays {study.plays} --seed {study.seed}`; {versions}.",
        "",
        f"{cases} invented builds of about 260 tasks, each cut at 25, 50 and 75 % of its person-hours.",
        "50, 80 and 90 %: how often that central range of the program held what came. `late`: how often what",
        "came was later than the even-odds day. Then the program's mean CRPS, and its ratio to each naive",
        "way and to the oracle that knows every parameter. The cuts of one build are not independent: with",
        f"{cases} builds the standard error of a coverage of .8 at one cut is {np.sqrt(0.16 / cases):.3f}.",
        "",
        *table(found, ["target", "at"], "All kinds"),
        *averaged_table(found, np.random.default_rng(study.seed)),
        *table(found, ["target", "effort"], "By kind of effort"),
        *table(found, ["target", "habit"], "By habit"),
        *oracle_table(found),
    ]
    return "\n".join(lines)


def main() -> None:
    """Run the study and write its table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--builds", type=int, default=8, help="a kind of effort and habit")
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--plays", type=int, default=100)
    parser.add_argument("--seed", type=int, default=20261001)
    parser.add_argument("--cases", type=Path, help="write every case to this CSV file too")
    asked = parser.parse_args()
    study = Study(builds=asked.builds, runs=asked.runs, plays=asked.plays, seed=asked.seed)
    found = run_study(study)
    if asked.cases is not None:
        found.to_csv(asked.cases, index=False)
    page = report(found, study)
    print(page)
    Path(__file__).with_suffix(".md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
