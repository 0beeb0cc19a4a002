"""How well finish dates and hours to come are foretold: coverage and score on builds with a known truth.

    python -m benchmarks.skill.finish [--builds 25] [--runs 500] [--plays 60] [--seed 20261001]
                                      [--cases FILE] [--part 1/2]

For each of four kinds of effort and three habits so many builds are invented (benchmarks/invented/workshop),
every second one with a second builder, and cut on the days on which 25, 50 and 75 % of the person-hours are
in the log. The day on which the first open stage and the whole build are finished, the person-hours of the
next 13 weeks and those of the next 20 tasks are foretold by the program, by naive ways, and by the oracle:
the build played on from the cut by its own true parameters with new luck. With --cases every build is kept
in a CSV file as it is finished and done only once; several processes may share the file, each with its
--part of the builds. The one that finds all of them there writes finish.md, and the cases of the first
build to finish_corner.csv, which a test plays again.

Naive ways, for dates all with one average pace (person-hours a day since the first session), as if every
hour went to the stage in question:
    average pace   planned hours left x the ratio of actual to planned hours so far; for the next 13 weeks the
                   pace itself
    plan alone     planned hours left as they stand
    recent pace    as average pace, but the pace of the last 13 weeks
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, PlayedOn, SyntheticBuild, make_build
from benchmarks.kept_cases import KeptCases, part_of
from forecast.learn.progress import Progress, read_progress
from forecast.questions.scores import crps, randomised_pit
from forecast.questions.track_record import TASKS, WINDOW, HoursForecast, Outcomes, hours_to_come, naive_ways
from forecast.simulate.finish import forecast_finish
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

FRACTIONS = (0.25, 0.5, 0.75)
LEVELS = (0.5, 0.8, 0.9)
STAGE, BUILD = "open stage", "build"
TARGETS = (STAGE, BUILD, WINDOW, TASKS)
NAIVE = ("average pace", "plan alone", "recent pace")
WAYS = ("program", *NAIVE, "oracle")
# The plan alone says nothing of the next weeks, and no pace anything of the hours of tasks.
NO_ANSWER = {(WINDOW, "plan alone"), (TASKS, "recent pace")}
ROWS_A_CUT = len(TARGETS) * len(WAYS) - len(NO_ANSWER)
COLUMNS = ("number", "effort", "habit", "build", "at", "target", "way")
COLUMNS += ("actual", "crps", "position", "middle", "spread")
_RECENT_DAYS = 91
_LEAST_HOURS_A_DAY = 1 / 30
HERE = Path(__file__)
CORNER = HERE.with_name("finish_corner.csv")


@dataclass(frozen=True, kw_only=True)
class Study:
    """What is asked: builds a kind, runs of the program, plays of the oracle, the seed."""

    builds: int
    runs: int
    plays: int
    seed: int
    efforts: tuple[str, ...] = EFFORT_KINDS
    habits: tuple[str, ...] = HABIT_KINDS
    fractions: tuple[float, ...] = FRACTIONS

    @property
    def longest_days(self) -> float:
        """What lies past the program's horizon is scored as if it came on its last day."""
        return float(Settings().horizon_days)

    @property
    def jobs(self) -> list[tuple[int, str, str, int]]:
        """(number, effort, habit, build seed) of every build, one of each kind before the next of any."""
        every = itertools.product(range(self.builds), self.efforts, self.habits)
        return [(n, e, h, self._seed(n, e, h)) for n, e, h in every]

    def _seed(self, number: int, effort: str, habit: str) -> int:
        key = [self.seed, EFFORT_KINDS.index(effort), HABIT_KINDS.index(habit), number]
        return int(np.random.default_rng(key).integers(2**31))

    def kept_in(self, path: Path) -> KeptCases:
        """The file of cases that this study may go on with."""
        made_with = {"seed": self.seed, "runs": self.runs, "plays": self.plays}
        rows = ROWS_A_CUT * len(self.fractions)
        return KeptCases(path=path, made_with=made_with, columns=COLUMNS, rows_a_build=rows)


def build_cases(study: Study, number: int, effort: str, habit: str, seed: int) -> list[dict[str, object]]:
    """One row a cut, target and way: `crps` in days or hours and `position` of what came (0..1)."""
    made = make_build(effort=effort, habit=habit, seed=seed, builders=1 + number % 2)
    named = {"number": number, "effort": effort, "habit": habit, "build": seed}
    return [named | {"at": at} | case for at in study.fractions for case in _cases(made, at, study)]


def run_study(study: Study, kept: KeptCases, part: tuple[int, int] = (1, 1)) -> None:
    """Do every build of this part that is not in the file yet."""
    jobs = study.jobs[part[0] - 1 :: part[1]]
    done = set(kept.read()["build"])
    for count, job in enumerate(jobs, start=1):
        if job[-1] in done:
            continue
        kept.append(build_cases(study, *job))
        print(f"{count} of {len(jobs)}: {job[1]}, {job[2]}", flush=True)


def _cases(made: SyntheticBuild, fraction: float, study: Study) -> Iterator[dict[str, object]]:
    as_of = made.cut(fraction)
    dice = np.random.default_rng([study.seed, made.seed, round(100 * fraction)])
    known = made.as_known_on(as_of)
    outlook = forecast_finish(known, as_of, Settings(runs=study.runs, seed=made.seed))
    progress = read_progress(known.plan, known.sessions, as_of)
    hours = {h.target: h for h in hours_to_come(outlook, naive_ways(progress))}
    played = made.play_on(
        as_of,
        study.plays,
        dice.spawn(1)[0],
        window_days=hours[WINDOW].days,
        tasks=hours[TASKS].tasks,
    )
    for target in TARGETS:
        if target in hours:
            forecasts = _hours_forecasts(hours[target], progress, played)
            actual, limit = _hours_that_came(made, as_of, hours[target]), np.inf
        else:
            stage = outlook.open_stages[0] if target == STAGE else None
            forecasts = _date_forecasts(outlook, stage, progress, played)
            limit = study.longest_days
            actual = min((finished_on(made, stage) - as_of).days, limit)
        for way, draws in forecasts.items():
            yield {"target": target, "way": way} | scored(np.minimum(draws, limit), actual, dice)


def scored(draws: np.ndarray, actual: float, dice: np.random.Generator) -> dict[str, float]:
    """What is kept of one forecast: its score, and where among its draws lies what came."""
    many = len(draws) > 1
    low, middle, high = np.quantile(draws, [0.1, 0.5, 0.9])
    return {
        "actual": actual,
        "crps": float(crps(draws, actual, estimator="fair" if many else "standard")),
        "position": float(randomised_pit(draws, actual, dice)) if many else np.nan,
        "middle": float(middle),
        "spread": float(high - low),
    }


def _date_forecasts(
    outlook: Outlook, stage: str | None, progress: Progress, played: PlayedOn
) -> dict[str, np.ndarray]:
    """Days to the finish of a stage (None: the build), way by way."""
    oracle = played.build_days if stage is None else played.stage_days[:, played.stages.index(stage)]
    naive = {way: np.array([days]) for way, days in naive_days(progress, stage).items()}
    return {"program": np.ceil(outlook.days(stage)), "oracle": oracle, **naive}


def _hours_forecasts(said: HoursForecast, progress: Progress, played: PlayedOn) -> dict[str, np.ndarray]:
    """Person-hours of the next weeks or tasks, way by way; the naive ways that have an answer."""
    naive = {"average pace": said.naive_hours}
    if said.target == WINDOW:
        naive["recent pace"] = recent_pace(progress) * said.days
    else:
        tasks = progress.tasks
        mine = tasks["task"].isin(said.tasks)
        planned = tasks["planned_hours"].fillna(tasks["planned_hours"].mean())
        naive["plan alone"] = float((planned - tasks["hours_first"]).clip(lower=0.0)[mine].sum())
    oracle = played.window_hours if said.target == WINDOW else played.task_hours
    return {
        "program": said.hours,
        "oracle": oracle,
        **{way: np.array([hours]) for way, hours in naive.items()},
    }


def _hours_that_came(made: SyntheticBuild, as_of: date, said: HoursForecast) -> float:
    finish = made.truth.build_finish
    outcomes = Outcomes(progress=read_progress(made.build.plan, made.build.sessions, finish))
    if said.target == WINDOW:
        return outcomes.hours_within(as_of, said.days)
    return outcomes.task_hours_after(as_of, said.tasks)[0]


def finished_on(made: SyntheticBuild, stage: str | None) -> date:
    """The day on which the stage (None: the build) was really finished."""
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
    pace = rows["person_hours"].sum() / days
    return {
        "average pace": at_ratio / pace,
        "plan alone": as_planned / pace,
        "recent pace": at_ratio / recent_pace(progress),
    }


def recent_pace(progress: Progress) -> float:
    """Person-hours a day of the last 13 weeks, or of all when there are fewer; never quite nothing."""
    rows, today = progress.sessions, pd.Timestamp(progress.as_of)
    days = min((today - rows["date"].min()).days + 1, _RECENT_DAYS)
    hours = rows.loc[rows["date"] > today - pd.Timedelta(days=_RECENT_DAYS), "person_hours"].sum()
    return max(float(hours) / days, _LEAST_HOURS_A_DAY)


def coverage(positions: pd.Series, level: float) -> float:
    """Share of cases within the central range of this level."""
    return float(((positions - 0.5).abs() <= level / 2).mean())


def table(found: pd.DataFrame, groups: list[str], title: str) -> list[str]:
    """A Markdown table: one row a group and way, with ratios of mean CRPS."""
    heads = [*groups, "cases", "50 %", "80 %", "90 %", "late", "CRPS"]
    heads += [f"/ {way}" for way in (*NAIVE, "oracle")]
    lines = [f"## {title}", "", f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    for key, part in found.groupby(groups, sort=False):
        score = part.groupby("way")["crps"].mean()
        program = part.loc[part["way"] == "program"]
        cells = [str(k) for k in key] + [str(len(program))]
        cells += [f"{coverage(program['position'], level):.3f}" for level in LEVELS]
        cells += [f"{(program['position'] > 0.5).mean():.2f}", f"{score['program']:.0f}"]
        cells += [f"{score['program'] / score[w]:.2f}" if w in score else "" for w in (*NAIVE, "oracle")]
        lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def averaged_table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """Ratios averaged over the cuts, with their standard error from drawing the builds again."""
    lines = ["## Averaged over the cuts", "", "| target | / average pace | / oracle |", "|---|---|---|"]
    for target, part in found.groupby("target", sort=False):
        score = part.pivot(index=["build"], columns=["way", "at"], values="crps")
        again = rng.integers(len(score), size=(500, len(score)))
        cells = []
        for way in ("average pace", "oracle"):
            ours, theirs = score["program"].to_numpy(), score[way].to_numpy()
            spread = [_mean_ratio(ours[rows], theirs[rows]) for rows in again]
            cells.append(f"{_mean_ratio(ours, theirs):.2f} +- {np.std(spread):.2f}")
        lines.append(f"| {target} | {' | '.join(cells)} |")
    return [*lines, ""]


def _mean_ratio(ours: np.ndarray, theirs: np.ndarray) -> float:
    """The mean over the cuts of the ratio of mean scores; both are (build, cut)."""
    return float((ours.mean(axis=0) / theirs.mean(axis=0)).mean())


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
    kinds = found.assign(kind=found["effort"] + ", " + found["habit"]).sort_values("at", kind="stable")
    lines = [
        "# Finish dates and hours to come: coverage and score",
        "",
        f"`python -m benchmarks.skill.finish --builds {study.builds} --runs {study.runs} "
        f"--plays {study.plays} --seed {study.seed}`; {versions}.",
        "",
        f"{cases} invented builds of about 260 tasks, each cut at 25, 50 and 75 % of its person-hours.",
        "50, 80 and 90 %: how often that central range of the program held what came. `late`: how often what",
        "came was later (of hours: more) than the even-odds figure. Then the mean CRPS of the program, in",
        "days or person-hours, and its ratio to each naive way and to the oracle that knows every parameter.",
        f"The cuts of one build are not independent: with {cases} builds the standard error of a coverage of",
        f".8 at one cut is {np.sqrt(0.16 / cases):.3f}; of one kind, {np.sqrt(0.16 / study.builds):.3f}.",
        "",
        *table(found, ["target", "at"], "All kinds"),
        *averaged_table(found, np.random.default_rng(study.seed)),
        *table(found, ["target", "effort"], "By kind of effort"),
        *table(found, ["target", "habit"], "By habit"),
        *oracle_table(found),
        *table(kinds, ["target", "kind", "at"], "Every kind, point in the build and target"),
    ]
    return "\n".join(lines)


def write_page(found: pd.DataFrame, study: Study) -> None:
    """Write the page, and the cases of the first build."""
    number, effort, habit, _ = study.jobs[0]
    first = found[(found["number"] == number) & (found["effort"] == effort) & (found["habit"] == habit)]
    first.to_csv(CORNER, index=False)
    page = report(found, study)
    print(page)
    HERE.with_suffix(".md").write_text(page, encoding="utf-8")


def main() -> None:
    """Run the study, or this process's part of it, and write its page when every build is there."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--builds", type=int, default=25, help="a kind of effort and habit")
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--plays", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20261001)
    parser.add_argument("--cases", type=Path, help="keep every build in this CSV file, and resume from it")
    parser.add_argument("--part", type=part_of, default=(1, 1), help="which share of the builds: 1/2, 2/2")
    asked = parser.parse_args()
    study = Study(builds=asked.builds, runs=asked.runs, plays=asked.plays, seed=asked.seed)
    with tempfile.TemporaryDirectory() as scratch:
        kept = study.kept_in(asked.cases or Path(scratch) / "cases.csv")
        run_study(study, kept, asked.part)
        found = kept.read()
    found = found.loc[found["build"].isin([seed for *_, seed in study.jobs])]
    if found["build"].nunique() < len(study.jobs):
        print(f"{found['build'].nunique()} of {len(study.jobs)} builds are there; no page yet.")
        return
    write_page(found.sort_values(["number", "build"], kind="stable"), study)


if __name__ == "__main__":
    main()
