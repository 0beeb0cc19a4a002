"""Would forecasts that learn from their own record be better? A study on builds with a known truth.

    python -m benchmarks.skill.record_learning [--builds 6] [--runs 300] [--seed 77]
                                               [--cases FILE] [--part 1/2]

For each of four kinds of effort and three habits, --builds builds are invented and forecast every quarter of
a year, as in `benchdays record`. Each forecast of a finish date (the next stage, and the build) is then
corrected by what the builder could have learned by that day from the forecasts before it:

    shift         log days move by the mean log(actual / even odds) of the stages finished so far, one value
                  per stage however often it was forecast; a stage still open after its even-odds date counts
                  as that late at least; recent forecasts weigh more, and k stages with "no error" are added
    scale         log days are stretched about their median by the root mean square of the standardised
                  errors (wider or narrower), with k stages with "as wide as forecast" added
    pace          log days move by the mean log(even odds / actual) of the person-hours of past quarters

How much is added (k; infinite = no correction) is chosen on every second build and judged on the others. The
score is the CRPS in days divided by the even-odds days of the uncorrected forecast: a divisor that depended
on the outcome would reward forecasts for being early.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.pages import markdown, ratio_and_error, resamples, versions, write_page
from forecast.learn.progress import read_progress
from forecast.questions.scores import crps
from forecast.questions.track_record import WINDOW, Outcomes, Replay, replay_days
from forecast.questions.track_record.replay import FinishForecast
from forecast.simulate.settings import Settings

LEVELS = (0.5, 0.8, 0.9)
FADE_DAYS = 730.0  # half-life of an error: judgement
STEP = timedelta(days=91)
FIRST_DAYS = 182  # before that hardly a stage is finished
MOST_DAYS = 16  # forecasts per build, to limit the time of the study
STRENGTHS = (np.inf, 16.0, 8.0, 4.0, 2.0, 1.0)
TOO_SHORT = "too short"
DECISION = """
A correction would be on by default if it lowered the CRPS by 2 % or more (our choice) for the stage and for
the build, and preserved the coverage. None did when this was decided (on 24 builds, then on 72). So `finish`
announces the dates of the model, and `record` only shows how earlier dates did. The samples were not tried.
"""
_LEAST_SD = 0.05  # of log days: a forecast in whole days is no sharper


@dataclass(frozen=True, kw_only=True)
class Correction:
    """How many stages (quarters) with "no error" are added to each lesson; infinite: no correction."""

    shift: float
    scale: float
    pace: float

    def __str__(self) -> str:
        steps = [f"{name} k={k:g}" for name, k in vars(self).items() if np.isfinite(k)]
        return ", ".join(steps) or "none"


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """What the record shows on one day.

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
    """Every 91 days from half a year after the first session to the end, thinned to at most `MOST_DAYS`."""
    first = build.build.sessions["date"].min().date() + timedelta(days=FIRST_DAYS)
    count = max((build.truth.build_finish - first).days // STEP.days, 0)
    days = [first + n * STEP for n in range(count)]
    return days[:: -(-len(days) // MOST_DAYS)] if days else []


def lesson_on(day: date, before: Sequence[Replay], outcomes: Outcomes) -> Lesson:
    """What forecasts of the past show at the end of a day.

    Parameters
    ----------
    day : the last day whose outcomes count
    before : earlier forecasts of the same build
    outcomes : the whole build; later days are not used
    """
    stages: dict[str, list[tuple[float, float, float]]] = {}
    pace = []
    for replay in before:
        weight = 0.5 ** ((day - replay.as_of).days / FADE_DAYS)
        for forecast in replay.finishes:
            lesson = _stage_lesson(forecast, replay.as_of, day, outcomes)
            if forecast.target != "build" and lesson:
                stages.setdefault(forecast.target, []).append((*lesson, weight))
        pace += [(e, weight) for e in _pace_errors(replay, day, outcomes)]
    by_stage = [np.array(v) for v in stages.values()]
    return Lesson(
        errors=np.array([np.average(v[:, 0], weights=v[:, 2]) for v in by_stage]),
        squares=np.array([np.average(v[:, 1], weights=v[:, 2]) for v in by_stage]),
        weights=np.array([v[:, 2].max() for v in by_stage]),
        pace_errors=np.array([e for e, _ in pace]),
        pace_weights=np.array([w for _, w in pace]),
    )


def _stage_lesson(
    forecast: FinishForecast, then: date, day: date, outcomes: Outcomes
) -> tuple[float, float] | None:
    """Log error and squared standardised error of one forecast of a stage; None when it shows nothing yet."""
    even = float(np.quantile(forecast.days, 0.5, method="inverted_cdf"))
    if not np.isfinite(even):
        return None
    finished = outcomes.finished_on(forecast.target)
    if finished is not None and finished <= day:
        finite = np.log(forecast.days[np.isfinite(forecast.days)])
        error = float(np.log(max((finished - then).days, 1) / even))
        return error, (error / max(float(finite.std()), _LEAST_SD)) ** 2
    elapsed = (day - then).days
    return (float(np.log(elapsed / even)), np.nan) if elapsed > even else None


def _pace_errors(replay: Replay, day: date, outcomes: Outcomes) -> list[float]:
    errors = []
    for forecast in replay.hours:
        if forecast.target == WINDOW and replay.as_of + timedelta(days=forecast.days) <= day:
            actual = outcomes.hours_within(replay.as_of, forecast.days)
            # One hour more on both sides: a silent quarter has no logarithm.
            errors.append(float(np.log((np.median(forecast.hours) + 1.0) / (actual + 1.0))))
    return errors


def corrected(days: np.ndarray, lesson: Lesson, how: Correction) -> np.ndarray:
    """(run,) days after the correction, at least one; days past the horizon stay infinite.

    Parameters
    ----------
    days : (run,) of the forecast
    lesson : what the record shows
    how : the strength of each step

    Examples
    --------
    >>> nothing = np.array([])
    >>> late = Lesson(errors=np.log([4.0]), squares=np.ones(1), weights=np.ones(1),
    ...               pace_errors=nothing, pace_weights=nothing)
    >>> shift_only = Correction(shift=1.0, scale=np.inf, pace=np.inf)
    >>> corrected(np.array([10.0]), late, shift_only).round(1).tolist()
    [20.0]
    """
    shift = _shrunk(lesson.errors, lesson.weights, how.shift)
    shift += _shrunk(lesson.pace_errors, lesson.pace_weights, how.pace)
    known = ~np.isnan(lesson.squares)
    excess = _shrunk(lesson.squares[known] - 1.0, lesson.weights[known], how.scale)
    stretch = np.sqrt(max(1.0 + excess, 0.1))  # never narrower than a third: judgement
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
    """None, each step alone, then shift and scale together."""
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


def build_cases(effort: str, habit: str, number: int, seed: int, runs: int) -> Iterator[dict[str, Any]]:
    """One row per day, target and correction; a single row for a build too short to learn from."""
    made = make_build(effort=effort, habit=habit, seed=seed, tasks=160, builders=1 + seed // 2 % 2)
    days = quarters(made)
    finish = made.truth.build_finish
    outcomes = Outcomes(progress=read_progress(made.build.plan, made.build.sessions, finish))
    settings = Settings(runs=runs, seed=seed)
    replays = replay_days(made.build, days, finish, settings)
    lessons = [lesson_on(r.as_of, replays[:n], outcomes) for n, r in enumerate(replays)]
    base = {"effort": effort, "habit": habit, "build": seed, "number": number}
    if not any(map(_teaches, lessons)):
        yield base | {"target": TOO_SHORT}
    for n, (replay, lesson) in enumerate(zip(replays, lessons, strict=True)):
        if not _teaches(lesson):
            continue
        for forecast in replay.finishes:
            if forecast.next_stage or forecast.target == "build":
                target = "build" if forecast.target == "build" else "next stage"
                for row in _scored(forecast, replay, lesson, outcomes, settings):
                    yield base | {"at": n, "target": target} | row


def _teaches(lesson: Lesson) -> bool:
    return bool(len(lesson.errors) + len(lesson.pace_errors))


def _scored(
    forecast: FinishForecast, replay: Replay, lesson: Lesson, outcomes: Outcomes, settings: Settings
) -> Iterator[dict[str, Any]]:
    finished = outcomes.finished_on(forecast.target)
    horizon = float(settings.horizon_days)
    actual = min(float((finished - replay.as_of).days), horizon)
    even = min(float(np.quantile(forecast.days, 0.5, method="inverted_cdf")), horizon)
    for how in corrections():
        days = np.minimum(corrected(forecast.days, lesson, how), settings.horizon_days)
        rank = float(np.mean(days < actual) + 0.5 * np.mean(days == actual))
        yield {"way": str(how), "crps": float(crps(days, actual)) / even, "rank": rank}


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean relative CRPS and coverage of the central ranges, per correction."""
    apart = (rows["rank"] - 0.5).abs() * 2
    covered = {f"{level:.0%}": (apart <= level).astype(float) for level in LEVELS}
    return rows.assign(**covered).groupby("way", sort=False)[["crps", *covered]].mean()


def report(rows: pd.DataFrame, given: argparse.Namespace) -> list[str]:
    """The lines of record_learning.md."""
    lines = [
        "# Forecasts that learn from their record",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas')}.",
        "",
        f"{rows['build'].nunique()} builds of {len(EFFORT_KINDS)} x {len(HABIT_KINDS)} kinds, one forecast",
        "per quarter. CRPS divided by the even-odds days of the forecast; its ratio to that of the",
        "uncorrected forecasts, with the standard error from a bootstrap of the builds; coverage of the",
        "central ranges.",
        "Each correction was chosen on one half of the builds and judged on the other.",
    ]
    for target in ("next stage", "build"):
        lines += ["", *_target_table(rows.loc[rows["target"] == target], target, given.seed)]
    return [*lines, *DECISION.splitlines()]


def _target_table(rows: pd.DataFrame, target: str, seed: int) -> list[str]:
    """The best correction of each group on the odd builds, judged on the even ones."""
    chosen_on = rows["number"] % 2 == 1
    judged = rows.loc[~chosen_on]
    train, test = table(rows[chosen_on]), table(judged)
    cells = []
    for group in ("none", "shift", "scale", "pace", "both"):
        best = train.loc[[w for w in train.index if _group(w) == group], "crps"].idxmin()
        covered = [f"{test.loc[best, f'{level:.0%}']:.2f}" for level in LEVELS]
        cells.append([best, f"{test.loc[best, 'crps']:.3f}", _ratio(judged, best, seed), *covered])
    return [
        f"## {target.capitalize()}",
        "",
        f"{(judged['way'] == 'none').sum()} forecasts judged.",
        "",
        *markdown(["correction", "CRPS", "to none", "50 %", "80 %", "90 %"], cells),
    ]


def _ratio(rows: pd.DataFrame, way: str, seed: int) -> str:
    """Ratio of the CRPS to that of no correction, and its standard error over builds."""
    sums = rows.loc[rows["way"].isin([way, "none"])].pivot_table("crps", "build", "way", aggfunc="sum")
    index = resamples(len(sums), np.random.default_rng(seed))
    ratio, error = ratio_and_error(sums[[way]].to_numpy(), sums[["none"]].to_numpy(), index)
    return f"{ratio:.3f} +- {error:.3f}"


def _group(way: str) -> str:
    if "shift" in way and "scale" in way:
        return "both"
    return way.split(" ")[0]


def main() -> None:
    """Run the study, or one part of it; write record_learning.md when every build is finished."""
    given = parser_of(__doc__, resumable=True, builds=6, runs=300, seed=77).parse_args()
    kinds = list(itertools.product(EFFORT_KINDS, HABIT_KINDS))
    parts = [
        (effort, habit, n, given.seed * 10_000 + number * 100 + n, given.runs)
        for n in range(given.builds)
        for number, (effort, habit) in enumerate(kinds)
    ]
    found = resuming.run_parts(parts, lambda *part: list(build_cases(*part)), given, ("seed", "runs"))
    if found is not None:
        write_page(__file__, report(found, given))


if __name__ == "__main__":
    main()
