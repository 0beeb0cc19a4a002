"""Forecasts of finish dates and hours to come: coverage and score on builds with a known truth.

    python -m benchmarks.skill.finish [--builds 50] [--runs 500] [--plays 60] [--seed 20261001]
                                      [--cases FILE] [--part 1/2]

For each of four kinds of effort and three habits, --builds builds are invented
(benchmarks/invented/workshop), every second one with a second builder, and cut on the days on which 25, 50
and 75 % of the person-hours are in the log. The program, naive ways and the oracle then forecast the finish
of the first open stage and of the whole build, the person-hours of the next 13 weeks, and those of the next
20 tasks. The oracle simulates the rest of the build with its true parameters and new random numbers. Several
processes may share --cases, each with its --part; the one that finds every build finished writes finish.md,
and the cases of the first build to finish_corner.csv, which a test computes again.

The naive ways divide hours by a pace (person-hours per day since the first session), as if every hour went to
the stage in question:
    average pace   planned hours left x the ratio of actual to planned hours so far; for the next 13 weeks the
                   pace itself
    plan alone     planned hours left
    recent pace    as average pace, but with the pace of the last 13 weeks
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, PlayedOn, SyntheticBuild, make_build
from benchmarks.pages import markdown, ratio_and_error, resamples, versions, write_page
from forecast.learn.progress import Progress, read_progress
from forecast.questions.scores import crps, randomised_pit
from forecast.questions.track_record.naive import naive_ways
from forecast.questions.track_record.outcomes import Outcomes
from forecast.questions.track_record.replay import TASKS, WINDOW, HoursForecast, hours_to_come
from forecast.simulate.finish import forecast_finish
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

FRACTIONS = (0.25, 0.5, 0.75)
LEVELS = (0.5, 0.8, 0.9)
STAGE, BUILD = "open stage", "build"
TARGETS = (STAGE, BUILD, WINDOW, TASKS)
NAIVE = ("average pace", "plan alone", "recent pace")
WAYS = ("program", *NAIVE, "oracle")
_RECENT_DAYS = 91
# Two minutes per day: a builder silent for 13 weeks must not get an infinite forecast. Judgement.
_LEAST_HOURS_PER_DAY = 1 / 30
CORNER = Path(__file__).with_name("finish_corner.csv")


@dataclass(frozen=True, kw_only=True)
class Study:
    """Builds per kind, simulation runs of the program, plays of the oracle, seed."""

    builds: int
    runs: int
    plays: int
    seed: int
    efforts: tuple[str, ...] = EFFORT_KINDS
    habits: tuple[str, ...] = HABIT_KINDS
    fractions: tuple[float, ...] = FRACTIONS

    @property
    def longest_days(self) -> float:
        """Finishes past the program's horizon are scored as if they came on its last day."""
        return float(Settings().horizon_days)

    @property
    def parts(self) -> list[tuple[int, str, str, int]]:
        """(number, effort, habit, build seed) of every build, one of each kind before the next of any."""
        every = itertools.product(range(self.builds), self.efforts, self.habits)
        return [(n, e, h, build_seed(self.seed, n, e, h)) for n, e, h in every]


def build_seed(seed: int, number: int, effort: str, habit: str) -> int:
    """The seed of one build of a study, whichever other kinds the study has."""
    key = [seed, EFFORT_KINDS.index(effort), HABIT_KINDS.index(habit), number]
    return int(np.random.default_rng(key).integers(2**31))


def build_cases(study: Study, number: int, effort: str, habit: str, seed: int) -> list[dict[str, object]]:
    """One row per cut, target and way: `crps` in days or hours, `position` of the actual value (0..1)."""
    made = make_build(effort=effort, habit=habit, seed=seed, builders=1 + number % 2)
    named = {"number": number, "effort": effort, "habit": habit, "build": seed}
    return [named | {"at": at} | case for at in study.fractions for case in _cases(made, at, study)]


def _cases(made: SyntheticBuild, fraction: float, study: Study) -> Iterator[dict[str, object]]:
    as_of = made.cut(fraction)
    rng = np.random.default_rng([study.seed, made.seed, round(100 * fraction)])
    known = made.as_known_on(as_of)
    outlook = forecast_finish(known, as_of, Settings(runs=study.runs, seed=made.seed))
    progress = read_progress(known.plan, known.sessions, as_of)
    hours = {h.target: h for h in hours_to_come(outlook, naive_ways(progress))}
    played = made.play_on(
        as_of,
        study.plays,
        rng.spawn(1)[0],
        window_days=hours[WINDOW].days,
        tasks=hours[TASKS].tasks,
    )
    for target in TARGETS:
        if target in hours:
            forecasts = _hours_forecasts(hours[target], progress, played)
            actual, limit = _actual_hours(made, as_of, hours[target]), np.inf
        else:
            stage = outlook.open_stages[0] if target == STAGE else None
            forecasts = _date_forecasts(outlook, stage, progress, played)
            limit = study.longest_days
            actual = min((finished_on(made, stage) - as_of).days, limit)
        for way, draws in forecasts.items():
            yield {"target": target, "way": way} | scored(np.minimum(draws, limit), actual, rng)


def scored(draws: np.ndarray, actual: float, rng: np.random.Generator) -> dict[str, float]:
    """Score of one forecast, the position of the actual value among its draws, and their spread.

    Parameters
    ----------
    draws : (draw,) days or person-hours; one draw is a point forecast, which has no position
    actual : in the same unit
    rng : breaks ties between the actual value and draws
    """
    many = len(draws) > 1
    low, middle, high = np.quantile(draws, [0.1, 0.5, 0.9])
    return {
        "actual": actual,
        "crps": float(crps(draws, actual, estimator="fair" if many else "standard")),
        "position": float(randomised_pit(draws, actual, rng)) if many else np.nan,
        "middle": float(middle),
        "spread": float(high - low),
    }


def _date_forecasts(
    outlook: Outlook, stage: str | None, progress: Progress, played: PlayedOn
) -> dict[str, np.ndarray]:
    """Way -> (draw,) days to the finish of a stage (None: the build)."""
    oracle = played.build_days if stage is None else played.stage_days[:, played.stages.index(stage)]
    naive = {way: np.array([days]) for way, days in naive_days(progress, stage).items()}
    return {"program": np.ceil(outlook.days(stage)), "oracle": oracle, **naive}


def _hours_forecasts(forecast: HoursForecast, progress: Progress, played: PlayedOn) -> dict[str, np.ndarray]:
    """Way -> (draw,) person-hours of the next weeks or tasks; only the naive ways that have an answer."""
    naive = {"average pace": forecast.naive_hours}
    if forecast.target == WINDOW:
        naive["recent pace"] = recent_pace(progress) * forecast.days
    else:
        tasks = progress.tasks
        mine = tasks["task"].isin(forecast.tasks)
        planned = tasks["planned_hours"].fillna(tasks["planned_hours"].mean())
        naive["plan alone"] = float((planned - tasks["hours_first"]).clip(lower=0.0)[mine].sum())
    oracle = played.window_hours if forecast.target == WINDOW else played.task_hours
    return {
        "program": forecast.hours,
        "oracle": oracle,
        **{way: np.array([hours]) for way, hours in naive.items()},
    }


def _actual_hours(made: SyntheticBuild, as_of: date, forecast: HoursForecast) -> float:
    finish = made.truth.build_finish
    outcomes = Outcomes(progress=read_progress(made.build.plan, made.build.sessions, finish))
    if forecast.target == WINDOW:
        return outcomes.hours_within(as_of, forecast.days)
    return outcomes.task_hours_after(as_of, forecast.tasks)[0]


def finished_on(made: SyntheticBuild, stage: str | None) -> date:
    """The true finish of a stage (None: the build)."""
    return made.truth.build_finish if stage is None else made.truth.stage_finish[stage]


def naive_days(progress: Progress, stage: str | None) -> dict[str, float]:
    """Naive way -> days to the finish of a stage (None: the build)."""
    at_ratio, pace = naive_hours(progress, stage, ratio_so_far(progress)), average_pace(progress)
    return {
        "average pace": at_ratio / pace,
        "plan alone": naive_hours(progress, stage, 1.0) / pace,
        "recent pace": at_ratio / recent_pace(progress),
    }


def naive_hours(progress: Progress, stage: str | None, ratio: float) -> float:
    """Person-hours left of a stage (None: the build) when each task takes `ratio` times its planned hours."""
    tasks = progress.tasks
    planned = tasks["planned_hours"].fillna(tasks["planned_hours"].mean())
    wanted = ~tasks["done"] & ((tasks["stage"] == stage) if stage is not None else True)
    return float((planned * ratio - tasks["hours_first"]).clip(lower=0.0)[wanted].sum())


def ratio_so_far(progress: Progress) -> float:
    """Actual over planned hours of the finished tasks; 1 while none is finished."""
    tasks, rows = progress.tasks, progress.sessions
    done = tasks["done"]
    if not done.any():
        return 1.0
    planned = tasks["planned_hours"].fillna(tasks["planned_hours"].mean())
    worked = rows.loc[rows["task"].isin(tasks.loc[done, "task"]), "person_hours"].sum()
    return float(worked / planned[done].sum())


def average_pace(progress: Progress) -> float:
    """Person-hours per day since the first session."""
    rows = progress.sessions
    return float(rows["person_hours"].sum()) / ((pd.Timestamp(progress.as_of) - rows["date"].min()).days + 1)


def recent_pace(progress: Progress) -> float:
    """Person-hours per day of the last 13 weeks (of the whole log when it is shorter), above 0."""
    rows, today = progress.sessions, pd.Timestamp(progress.as_of)
    days = min((today - rows["date"].min()).days + 1, _RECENT_DAYS)
    hours = rows.loc[rows["date"] > today - pd.Timedelta(days=_RECENT_DAYS), "person_hours"].sum()
    return max(float(hours) / days, _LEAST_HOURS_PER_DAY)


def coverage(positions: pd.Series, level: float) -> float:
    """Share of actual values inside the central range of this level.

    Examples
    --------
    >>> coverage(pd.Series([0.05, 0.5, 0.85, 0.95]), 0.8)
    0.5
    """
    return float(((positions - 0.5).abs() <= level / 2).mean())


def table(found: pd.DataFrame, groups: list[str], title: str) -> list[str]:
    """The program's coverage and CRPS per group, and its ratios to each other way."""
    others = (*NAIVE, "oracle")
    heads = [*groups, "cases", "50 %", "80 %", "90 %", "late", "CRPS", *(f"/ {way}" for way in others)]
    rows = []
    for key, part in found.groupby(groups, sort=False):
        score = part.groupby("way")["crps"].mean()
        position = part.loc[part["way"] == "program", "position"]
        rows.append(
            [
                *map(str, key),
                str(len(position)),
                *(f"{coverage(position, level):.3f}" for level in LEVELS),
                f"{(position > 0.5).mean():.2f}",
                f"{score['program']:.0f}",
                *(f"{score['program'] / score[w]:.2f}" if w in score else "" for w in others),
            ]
        )
    return [f"## {title}", "", *markdown(heads, rows), ""]


def averaged_table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """Ratios averaged over the cuts, with their standard errors."""
    rows = []
    for target, part in found.groupby("target", sort=False):
        score = part.pivot(index="build", columns=["way", "at"], values="crps")
        index = resamples(len(score), rng, 500)
        cells = []
        for way in ("average pace", "oracle"):
            ratio, error = ratio_and_error(score["program"].to_numpy(), score[way].to_numpy(), index)
            cells.append(f"{ratio:.2f} +- {error:.2f}")
        rows.append([str(target), *cells])
    return ["## Averaged over the cuts", "", *markdown(["target", "/ average pace", "/ oracle"], rows), ""]


def oracle_table(found: pd.DataFrame) -> list[str]:
    """The oracle's own coverage: where it is not nominal, the study is wrong."""
    heads = ["target", "at", "50 %", "80 %", "90 %", "CRPS / average pace"]
    rows = []
    for (target, at), part in found.groupby(["target", "at"], sort=False):
        position = part.loc[part["way"] == "oracle", "position"]
        score = part.groupby("way")["crps"].mean()
        cells = [f"{coverage(position, level):.3f}" for level in LEVELS]
        rows.append([target, f"{at:.0%}", *cells, f"{score['oracle'] / score['average pace']:.2f}"])
    return ["## The oracle", "", *markdown(heads, rows), ""]


def report(found: pd.DataFrame, study: Study, command: str) -> list[str]:
    """The lines of finish.md."""
    cases = found["build"].nunique()
    kinds = found.assign(kind=found["effort"] + ", " + found["habit"]).sort_values("at", kind="stable")
    return [
        "# Finish dates and hours to come: coverage and score",
        "",
        f"`{command}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        f"{cases} invented builds of about 260 tasks, each cut at 25, 50 and 75 % of its person-hours.",
        "50, 80 and 90 %: share of actual values inside that central range of the program. `late`: share of",
        "actual values later (of hours: larger) than the even-odds figure. Then the mean CRPS of the",
        "program, in days or person-hours, and its ratio to each naive way and to the oracle, which knows",
        "every parameter.",
        f"The cuts of one build are not independent: with {cases} builds the standard error of a coverage of",
        f"0.8 at one cut is {np.sqrt(0.16 / cases):.3f}; of one kind, {np.sqrt(0.16 / study.builds):.3f}.",
        "",
        *table(found, ["target", "at"], "All kinds"),
        *averaged_table(found, np.random.default_rng(study.seed)),
        *table(found, ["target", "effort"], "By kind of effort"),
        *table(found, ["target", "habit"], "By habit"),
        *oracle_table(found),
        *table(kinds, ["target", "kind", "at"], "Every kind, point in the build and target"),
    ]


def main() -> None:
    """Run the study, or one part of it; write finish.md when every build is finished."""
    defaults = {"builds": 50, "runs": 500, "plays": 60, "seed": 20261001}
    given = parser_of(__doc__, resumable=True, **defaults).parse_args()
    study = Study(**{name: getattr(given, name) for name in defaults})
    found = resuming.run_parts(study.parts, partial(build_cases, study), given, ("seed", "runs", "plays"))
    if found is None:
        return
    # A test computes the cases of the first build again, from the settings in these rows.
    corner = found.loc[found["build"] == study.parts[0][-1]]
    corner.assign(seed=study.seed, runs=study.runs, plays=study.plays).to_csv(CORNER, index=False)
    found = found.sort_values(["number", "build"], kind="stable")
    write_page(__file__, report(found, study, command_of(__file__, given)))


if __name__ == "__main__":
    main()
