"""Where the error of a finish date comes from: the forecast when part of the truth is known.

    python -m benchmarks.skill.finish_limits [--builds 16] [--runs 200] [--plays 60] [--seed 20261128]
                                             [--cases FILE] [--part 1/2]

Builds and cuts are of the kinds of finish.py, with a seed of their own. The finish of the first open stage
and of the whole build is forecast by
    average pace         as in finish.py
    program              with its own priors
    habit spread known   the program, its priors on habits replaced by how the habits of these builders
                         differ: the best priors that a program could have before it sees a log
    habit known          the program, with days at the bench from a forecaster that knows every parameter of
                         the habit and infers its present state (benchmarks/yardsticks/informed_bench.py)
    work known           the true simulation of the work, with the program's days at the bench
    oracle               the true simulation of both
The share of the distance from the program to the oracle that a piece of knowledge removes is the cost of not
knowing it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import Any, cast

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.workshop import HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.invented.workshop.kinds import draw_habit
from benchmarks.invented.workshop.presence import QUARTERS, HabitState, Presence, TwoPersonWork
from benchmarks.invented.workshop.scenario import PlayState
from benchmarks.pages import markdown, ratio_and_error, resamples, versions, write_page
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
from benchmarks.yardsticks.informed_bench import DrawnPresence, InformedBench, informed_states
from forecast.files.logbook import Builder
from forecast.learn.bench_time import BenchTime
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.progress import read_progress
from forecast.random_streams import STUDIES, stream
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

WAYS = ("average pace", "program", "habit spread known", "habit known", "work known", "oracle")
# Long enough that the posterior of a habit is narrow beside the differences between habits: judgement.
_YEARS_TO_LEARN_A_HABIT, _HABITS_PER_KIND = 25, 16


@dataclass(frozen=True, kw_only=True)
class LimitStudy:
    """Runs of the program, plays of the truth, the seed, and how these builders' habits differ."""

    runs: int
    plays: int
    seed: int
    habit_spread: BenchPriors


def habit_spread_of(seed: int, *, habits: int = _HABITS_PER_KIND) -> BenchPriors:
    """Normal priors as wide as the habits of the study's builders, each fitted to a log of decades."""
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
    """(5,) posterior means of the chain and of the long-run level, for one drawn habit."""
    household = Presence(draw_habit(kind, rng), {"A": 1}, {}, HabitState())
    household.redraw(rng)
    days, first = round(365.25 * _YEARS_TO_LEARN_A_HABIT), MONDAY.toordinal()
    people = [household.day(first + i, lambda: TwoPersonWork.NONE) for i in range(days)]
    hours = np.array([max(here.values(), default=0) / QUARTERS for here in people])
    progress = read_progress(PLAN, sessions_of(hours), MONDAY + timedelta(days=days - 1))
    learned = BenchTime().fit(progress, [Builder(id="A")]).learned_
    return np.append(learned.silences.mean[:4], learned.level.weight @ learned.level.mean[:, 0])


def build_cases(
    study: LimitStudy, number: int, effort: str, habit: str, seed: int
) -> list[dict[str, object]]:
    """One row per cut, target and way."""
    made = make_build(effort=effort, habit=habit, seed=seed, builders=1 + number % 2)
    named = {"number": number, "effort": effort, "habit": habit, "build": seed}
    return [named | {"at": at} | case for at in FRACTIONS for case in _cases(made, at, study)]


def _cases(made: SyntheticBuild, at: float, study: LimitStudy) -> Iterator[dict[str, object]]:
    as_of = made.cut(at)
    rng = np.random.default_rng([study.seed, made.seed, round(100 * at)])
    settings = Settings(runs=study.runs, seed=made.seed)
    fitted = fit_build(made.as_known_on(as_of), as_of, settings)
    state = made.state_on(as_of)
    outlooks = {
        "program": simulate_build(fitted, settings),
        "habit spread known": simulate_build(_with_priors(fitted, study.habit_spread), settings),
        "habit known": simulate_build(_with_known_habit(made, state, fitted, study.runs, rng), settings),
    }
    drawn_days = _drawn_days(made, fitted, settings, study.plays)
    plays = {
        "work known": _true_plays(made, state, fitted, study, drawn_days),
        "oracle": _true_plays(made, state, fitted, study, lambda state, run: None),
    }
    stage, limit = outlooks["program"].open_stages[0], float(settings.horizon_days)
    for target, name in ((STAGE, stage), (BUILD, None)):
        actual = min((finished_on(made, name) - as_of).days, limit)
        forecasts = {"average pace": np.array([naive_days(fitted.progress, name)["average pace"]])}
        forecasts |= {way: _days(outlook, name) for way, outlook in outlooks.items()}
        for way, days in plays.items():
            column = None if name is None else made.scenario.plan.stages.index(name)
            forecasts[way] = days.max(axis=1) if column is None else days[:, column]
        for way in WAYS:
            case = scored(np.minimum(forecasts[way], limit), actual, rng)
            yield {"target": target, "way": way, "crps": case["crps"], "position": case["position"]}


def _days(outlook: Outlook, stage: str | None) -> np.ndarray:
    return np.ceil(outlook.days(stage))


def _with_priors(fitted: Fitted, priors: BenchPriors) -> Fitted:
    build = fitted.build
    bench = BenchTime(priors=priors).fit(
        fitted.progress,
        build.builders,
        build.away,
        build.country,
        plan=build.plan,
        deliveries=build.deliveries,
    )
    return replace(fitted, bench=bench)


def _with_known_habit(
    made: SyntheticBuild, state: PlayState, fitted: Fitted, runs: int, rng: np.random.Generator
) -> Fitted:
    states = informed_states(state, made.scenario.start, fitted.as_of, runs, rng)
    informed = InformedBench(fitted.bench, state, states, rng.spawn(1)[0])
    return replace(fitted, bench=cast("BenchTime", informed))


def _drawn_days(
    made: SyntheticBuild, fitted: Fitted, settings: Settings, plays: int
) -> Callable[[PlayState, int], None]:
    """Replaces the household's days by the program's, run by run."""
    drawn = fitted.bench.presence_sampler(plays, stream(settings.seed, STUDIES))
    call_chance = made.scenario.habit.call_chance

    def replace_days(state: PlayState, run: int) -> None:
        rng = np.random.default_rng([settings.seed, run])
        days: Any = DrawnPresence(drawn, run, state.day, call_chance, rng)
        state.presence = days

    return replace_days


def _true_plays(
    made: SyntheticBuild,
    state: PlayState,
    fitted: Fitted,
    study: LimitStudy,
    change: Callable[[PlayState, int], None],
) -> np.ndarray:
    """(play, stage) days until each stage is finished, by the true rules; infinite past the horizon."""
    today = fitted.as_of.toordinal()
    last = []
    for run, own in enumerate(np.random.default_rng([study.seed, made.seed]).spawn(study.plays)):
        one = state.copy()
        one.redraw(own)
        change(one, run)
        one.play(today + Settings().horizon_days)
        left = np.array(one.workshop.stage_open[: len(made.scenario.plan.stages)]) > 0
        last.append(np.where(left, np.inf, one.workshop.stage_last))
    return np.maximum(np.array(last) - today, 0.0)


def table(found: pd.DataFrame, target: str) -> list[str]:
    """A Markdown table with one row per way."""
    part = found.loc[found["target"] == target]
    score = part.groupby(["at", "way"])["crps"].mean().unstack()
    by_build = part.pivot(index="build", columns=["way", "at"], values="crps")
    index = resamples(len(by_build), np.random.default_rng(0), 300)
    rows = []
    for way in WAYS:
        position = part.loc[part["way"] == way, "position"]
        covered = [f"{coverage(position, level):.3f}" for level in LEVELS[:2]]
        cells = [way, *(["", ""] if position.isna().all() else covered)]
        cells += [f"{score.loc[at, way] / score.loc[at, 'average pace']:.2f}" for at in FRACTIONS]
        for other in ("average pace", "oracle"):
            ratio, error = ratio_and_error(by_build[way].to_numpy(), by_build[other].to_numpy(), index)
            cells.append(f"{ratio:.2f}" + (f" +- {error:.2f}" if way != other else ""))
        rows.append(cells)
    heads = ["way", "50 %", "80 %", *(f"{at:.0%}" for at in FRACTIONS), "/ average pace", "/ oracle"]
    return [f"## {target.capitalize()}", "", *markdown(heads, rows), ""]


def report(found: pd.DataFrame, command: str) -> list[str]:
    """The lines of finish_limits.md."""
    return [
        "# Where the error of a finish date comes from",
        "",
        f"`{command}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        f"{found['build'].nunique()} invented builds, cut at 25, 50 and 75 % of their person-hours. Coverage",
        "of the 50 and 80 % ranges; mean CRPS as a ratio to that of the average pace, at each cut and on",
        "average, and as a ratio to that of the oracle, with standard errors from a bootstrap of the builds.",
        "",
        *table(found, STAGE),
        *table(found, BUILD),
    ]


def main() -> None:
    """Run the study, or one part of it; write finish_limits.md when every build is finished."""
    defaults = {"builds": 16, "runs": 200, "plays": 60, "seed": 20261128}
    given = parser_of(__doc__, resumable=True, **defaults).parse_args()
    made_with = ("seed", "runs", "plays")
    same = {name: getattr(given, name) for name in made_with}
    study = LimitStudy(habit_spread=habit_spread_of(given.seed), **same)
    parts = Study(builds=given.builds, **same).parts
    found = resuming.run_parts(parts, partial(build_cases, study), given, made_with)
    if found is None:
        return
    write_page(__file__, report(found, command_of(__file__, given)))


if __name__ == "__main__":
    main()
