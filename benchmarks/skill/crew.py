"""Forecasts of the gain of a second builder, on two-builder builds with a known truth.

    python -m benchmarks.skill.crew [--builds 15] [--runs 500] [--plays 20] [--seed 20261101]
                                    [--cases FILE] [--part 1/2]

Each build is invented (benchmarks/invented/workshop), cut when half its person-hours are in the log, and
simulated from there with its true parameters, with the second builder and without, on the same random
numbers. The range of the gain that `crew` gives is compared with those true differences.
"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.pages import markdown, versions, write_page
from benchmarks.skill.finish import build_seed
from forecast.questions.crew import crew_of, what_ifs_of
from forecast.questions.crew.compare import gain_in_days
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings

HALF = 0.5
LEVELS = (0.5, 0.8, 0.9)


def forecast_gain(made: SyntheticBuild, settings: Settings) -> np.ndarray:
    """(run,) days that the program expects the second builder to save; NaN where neither run finishes."""
    as_of = made.cut(HALF)
    fitted = fit_build(made.as_known_on(as_of), as_of, settings)
    solo, two, _ = what_ifs_of(fitted, crew_of(fitted))
    alone, together = simulate_what_ifs(fitted, settings, [solo, two])
    return gain_in_days(alone, together)


def true_gain(made: SyntheticBuild, plays: int, seed: int) -> np.ndarray:
    """(play,) days that the second builder saves, on the same random numbers."""
    as_of, second = made.cut(HALF), made.build.builders[1].id
    alone = made.play_on(as_of, plays, np.random.default_rng(seed), without=[second])
    together = made.play_on(as_of, plays, np.random.default_rng(seed))
    return alone.build_days - together.build_days


def build_cases(effort: str, habit: str, seed: int, runs: int, plays: int) -> list[dict[str, object]]:
    """One row: medians of the forecast and the true gain, and the coverage of the ranges."""
    made = make_build(effort=effort, habit=habit, seed=seed, builders=2)
    forecast = forecast_gain(made, Settings(runs=runs, seed=seed))
    true = true_gain(made, plays, seed)
    forecast = forecast[~np.isnan(forecast)]
    row = {"effort": effort, "habit": habit, "build": seed}
    row |= {"forecast": np.median(forecast), "true": np.median(true)}
    for level in LEVELS:
        low, high = np.quantile(forecast, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
        row[f"{level:.0%}"] = np.mean((low <= true) & (true <= high))
    return [row]


def report(found: pd.DataFrame, command: str) -> list[str]:
    """The lines of crew.md."""
    groups = [(("all", "all"), found), *found.groupby(["effort", "habit"])]
    rows = []
    for (effort, habit), part in groups:
        covered = [f"{part[f'{level:.0%}'].mean():.2f}" for level in LEVELS]
        days = [f"{part[name].median():.0f}" for name in ("forecast", "true")]
        rows.append([effort, habit, str(len(part)), *covered, *days])
    error = found["80%"].std() / np.sqrt(len(found))
    heads = ["effort", "habit", "builds", "50 % covers", "80 % covers", "90 % covers"]
    return [
        "# The gain of a second builder",
        "",
        f"`{command}`; {versions('numpy', 'numba', 'pandas')}.",
        "",
        f"{len(found)} builds of two, cut at half their hours; standard errors count builds, not plays.",
        "",
        *markdown([*heads, "forecast, days", "true"], rows),
        "",
        f"The 80 % range covers {found['80%'].mean():.3f} ± {error:.3f} of the true gains "
        "(target: 0.75-0.85).",
    ]


def main() -> None:
    """Run the study, or one part of it; write crew.md when every build is finished."""
    defaults = {"builds": 15, "runs": 500, "plays": 20, "seed": 20261101}
    given = parser_of(__doc__, resumable=True, **defaults).parse_args()
    kinds = itertools.product(EFFORT_KINDS, HABIT_KINDS, range(given.builds))
    parts = [(e, h, build_seed(given.seed, n, e, h), given.runs, given.plays) for e, h, n in kinds]
    found = resuming.run_parts(parts, build_cases, given, ("seed", "runs", "plays"))
    if found is None:
        return
    write_page(__file__, report(found, command_of(__file__, given)))


if __name__ == "__main__":
    main()
