"""Where the error of a finish date comes from: how near it gets when part of the truth is told.

    python -m benchmarks.skill.finish_limits [--builds 16] [--runs 200] [--plays 60] [--seed 20261128]
                                       [--cases FILE] [--part 1/2]

The builds and cuts are of the kind that benchmarks/skill/finish.py has, with a seed of their own. The day on
which the first open stage and the whole build are finished is foretold by
    average pace             as there
    program                  as it is
    told how builders differ the program, its beliefs on habits replaced by how the habits of these builders
                             differ: what a program could believe at best before it has seen a log
    told the habit           the program with days at the bench by one who is told every parameter of the
                             habit and has to find out where the builder stands (benchmarks/told_presence.py)
    told the work            the true play of the work, with the program's days at the bench
    oracle                   the true play of both
A share of the distance from the program to the oracle that vanishes when something is told is the share that
not knowing it costs.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.invented.workshop.kinds import draw_habit
from benchmarks.invented.workshop.presence import QUARTERS, Mood, Presence, Wish
from benchmarks.invented.workshop.scenario import Stand
from benchmarks.kept_cases import KeptCases, part_of
from benchmarks.skill.bench_time import MONDAY, PLAN, sessions_of
from benchmarks.skill.finish import (
    BUILD,
    FRACTIONS,
    LEVELS,
    STAGE,
    Study,
    coverage,
    finished_on,
    naive_days,
    scored,
)
from benchmarks.told_presence import DrawnPresence, ToldBench, moods_told
from forecast.files.logbook import Builder
from forecast.learn.bench_time import BenchTime
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.progress import read_progress
from forecast.random_streams import stream
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

WAYS = ("average pace", "program", "told how builders differ", "told the habit", "told the work", "oracle")
COLUMNS = ("number", "effort", "habit", "build", "at", "target", "way", "crps", "position")
_YEARS_TO_SEE_A_HABIT, _HABITS_A_KIND = 25, 16
_PLAYS = 9
HERE = Path(__file__)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is asked: runs of the program, plays of the truth, the seed, and how these builders differ."""

    runs: int
    plays: int
    seed: int
    differ: BenchPriors


def how_builders_differ(seed: int, *, habits: int = _HABITS_A_KIND) -> BenchPriors:
    """Beliefs as wide as the habits of the study's builders, each seen in a log of decades.

    Centre and spread of what the model's own terms come out as; normal.
    """
    rng = np.random.default_rng([seed, 1])
    seen = np.array([_terms_of(kind, rng.spawn(1)[0]) for kind in HABIT_KINDS for _ in range(habits)])
    centre, sd = seen.mean(axis=0), seen.std(axis=0, ddof=1)
    return replace(
        BenchPriors(),
        chain_mean=tuple(centre[:4].tolist()),
        chain_sd=tuple(sd[:4].tolist()),
        weekly_log_hours=float(centre[4]),
        weekly_log_sd=float(sd[4]),
        degrees=np.inf,
    )


def _terms_of(kind: str, rng: np.random.Generator) -> np.ndarray:
    """(5,) chain and long mean of one drawn habit."""
    household = Presence(draw_habit(kind, rng), {"A": 1}, {}, Mood())
    household.throw(rng)
    days, first = round(365.25 * _YEARS_TO_SEE_A_HABIT), MONDAY.toordinal()
    came = [household.day(first + i, lambda: Wish.NOTHING) for i in range(days)]
    hours = np.array([max(here.values(), default=0) / QUARTERS for here in came])
    progress = read_progress(PLAN, sessions_of(hours), MONDAY + timedelta(days=days - 1))
    learned = BenchTime().fit(progress, [Builder(id="A")]).learned_
    return np.append(learned.silences.mean[:4], learned.level.weight @ learned.level.mean[:, 0])


def build_cases(asked: Asked, number: int, effort: str, habit: str, seed: int) -> list[dict[str, object]]:
    """One row a cut, target and way."""
    made = make_build(effort=effort, habit=habit, seed=seed, builders=1 + number % 2)
    named = {"number": number, "effort": effort, "habit": habit, "build": seed}
    return [named | {"at": at} | case for at in FRACTIONS for case in _cases(made, at, asked)]


def _cases(made: SyntheticBuild, at: float, asked: Asked) -> Iterator[dict[str, object]]:
    as_of = made.cut(at)
    dice = np.random.default_rng([asked.seed, made.seed, round(100 * at)])
    settings = Settings(runs=asked.runs, seed=made.seed)
    fitted = fit_build(made.as_known_on(as_of), as_of, settings)
    stand = made.stand_on(as_of)
    outlooks = {
        "program": simulate_build(fitted, settings),
        "told how builders differ": simulate_build(_believing(fitted, asked.differ), settings),
        "told the habit": simulate_build(_told_the_habit(made, stand, fitted, asked.runs, dice), settings),
    }
    plays = {
        "told the work": _true_plays(
            made, stand, fitted, asked, _drawn_days(made, fitted, settings, asked.plays)
        ),
        "oracle": _true_plays(made, stand, fitted, asked, lambda stand, run: None),
    }
    stage, limit = outlooks["program"].open_stages[0], float(settings.horizon_days)
    for target, name in ((STAGE, stage), (BUILD, None)):
        actual = min((finished_on(made, name) - as_of).days, limit)
        foretold = {"average pace": np.array([naive_days(fitted.progress, name)["average pace"]])}
        foretold |= {way: _days(outlook, name) for way, outlook in outlooks.items()}
        column = None if name is None else made.scenario.plan.stages.index(name)
        foretold |= {way: days.max(axis=1) if column is None else days[:, column]
                     for way, days in plays.items()}  # fmt: skip
        for way in WAYS:
            kept = scored(np.minimum(foretold[way], limit), actual, dice)
            yield {"target": target, "way": way, "crps": kept["crps"], "position": kept["position"]}


def _days(outlook: Outlook, stage: str | None) -> np.ndarray:
    return np.ceil(outlook.days(stage))


def _believing(fitted: Fitted, belief: BenchPriors) -> Fitted:
    build = fitted.build
    bench = BenchTime(belief=belief).fit(
        fitted.progress,
        build.builders,
        build.away,
        build.country,
        plan=build.plan,
        deliveries=build.deliveries,
    )
    return replace(fitted, bench=bench)


def _told_the_habit(
    made: SyntheticBuild, stand: Stand, fitted: Fitted, runs: int, dice: np.random.Generator
) -> Fitted:
    moods = moods_told(stand, made.scenario.start, fitted.as_of, runs, dice)
    told = ToldBench(fitted.bench, stand, moods, dice.spawn(1)[0])
    return replace(fitted, bench=cast("BenchTime", told))


def _drawn_days(
    made: SyntheticBuild, fitted: Fitted, settings: Settings, plays: int
) -> Callable[[Stand, int], None]:
    """Puts the program's days in the place of the household's, run by run."""
    drawn = fitted.bench.presence_sampler(plays, stream(settings.seed, _PLAYS))
    asked = made.scenario.habit.asked_chance

    def put(stand: Stand, run: int) -> None:
        dice = np.random.default_rng([settings.seed, run])
        days: Any = DrawnPresence(drawn, run, stand.day, asked, dice)
        stand.presence = days

    return put


def _true_plays(
    made: SyntheticBuild, stand: Stand, fitted: Fitted, asked: Asked, change: Callable[[Stand, int], None]
) -> np.ndarray:
    """(play, stage) days until each stage is finished, by the true rules; infinite past the horizon."""
    today = fitted.as_of.toordinal()
    last = []
    for run, own in enumerate(np.random.default_rng([asked.seed, made.seed]).spawn(asked.plays)):
        one = stand.copy()
        one.throw(own)
        change(one, run)
        one.play(today + Settings().horizon_days)
        left = np.array(one.workshop.stage_open[: len(made.scenario.plan.stages)]) > 0
        last.append(np.where(left, np.inf, one.workshop.stage_last))
    return np.maximum(np.array(last) - today, 0.0)


def table(found: pd.DataFrame, target: str) -> list[str]:
    """A Markdown table: one row a way."""
    heads = ["told", "50 %", "80 %", *(f"{at:.0%}" for at in FRACTIONS), "/ average pace", "/ oracle"]
    lines = [f"## {target.capitalize()}", "", f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    part = found.loc[found["target"] == target]
    score = part.groupby(["at", "way"])["crps"].mean().unstack()
    spread = _spreads(part)
    for way in WAYS:
        own = part.loc[part["way"] == way, "position"]
        held = ["", ""] if own.isna().all() else [f"{coverage(own, level):.3f}" for level in LEVELS[:2]]
        cells = [
            way,
            *held,
            *(f"{score.loc[at, way] / score.loc[at, 'average pace']:.2f}" for at in FRACTIONS),
        ]
        for other in ("average pace", "oracle"):
            ratio = float((score[way] / score[other]).mean())
            cells.append(f"{ratio:.2f}" + (f" +- {spread[way, other]:.2f}" if way != other else ""))
        lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def _spreads(part: pd.DataFrame) -> dict[tuple[str, str], float]:
    """(way, other) -> standard error of the ratio, from drawing the builds again."""
    score = part.pivot(index="build", columns=["way", "at"], values="crps")
    again = np.random.default_rng(0).integers(len(score), size=(300, len(score)))
    mean = {way: np.array([score[way].to_numpy()[rows].mean(axis=0) for rows in again]) for way in WAYS}
    return {
        (way, other): float(np.std((mean[way] / mean[other]).mean(axis=1)))
        for way in WAYS
        for other in ("average pace", "oracle")
    }


def report(found: pd.DataFrame, command: str) -> str:
    """The whole page."""
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy", "numba"))
    lines = [
        "# Where the error of a finish date comes from",
        "",
        f"`{command}`; {versions}.",
        "",
        f"{found['build'].nunique()} invented builds, cut at 25, 50 and 75 % of their person-hours. Coverage",
        "of the 50 and 80 % ranges; mean CRPS over that of the average pace at each cut and on average, and",
        "over that of the oracle, with standard errors from drawing the builds again.",
        "",
        *table(found, STAGE),
        *table(found, BUILD),
    ]
    return "\n".join(lines)


def main() -> None:
    """Run the study, or this process's part of it, and write its page when every build is there."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--builds", type=int, default=16, help="a kind of effort and habit")
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--plays", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20261128)
    parser.add_argument("--cases", type=Path, help="keep every build in this CSV file, and resume from it")
    parser.add_argument("--part", type=part_of, default=(1, 1), help="which share of the builds: 1/2, 2/2")
    said = parser.parse_args()
    asked = Asked(runs=said.runs, plays=said.plays, seed=said.seed, differ=how_builders_differ(said.seed))
    jobs = Study(builds=said.builds, runs=said.runs, plays=said.plays, seed=said.seed).jobs
    with tempfile.TemporaryDirectory() as scratch:
        kept = KeptCases(
            path=said.cases or Path(scratch) / "cases.csv",
            made_with={"seed": said.seed, "runs": said.runs, "plays": said.plays},
            columns=COLUMNS,
            rows_a_build=len(FRACTIONS) * 2 * len(WAYS),
        )
        done = set(kept.read()["build"])
        for job in jobs[said.part[0] - 1 :: said.part[1]]:
            if job[-1] not in done:
                kept.append(build_cases(asked, *job))
                print(*job[:3], flush=True)
        found = kept.read()
    found = found.loc[found["build"].isin([seed for *_, seed in jobs])]
    if found["build"].nunique() < len(jobs):
        print(f"{found['build'].nunique()} of {len(jobs)} builds are there; no page yet.")
        return
    command = f"python -m benchmarks.skill.finish_limits --builds {said.builds} --runs {said.runs} "
    page = report(found, command + f"--plays {said.plays} --seed {said.seed}")
    print(page)
    HERE.with_suffix(".md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
