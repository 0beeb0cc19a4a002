"""How well the gain of a second builder is foretold, on two-builder builds with a known truth.

    python -m benchmarks.skill.crew [--builds 15] [--runs 500] [--plays 20] [--seed 20261101] [--kept FILE]

Each build is invented (benchmarks/invented/workshop), cut when half its person-hours are in the log, and
played on from there by its own true parameters, with the second builder and without, on the same dice. The
range of the gain that `crew` gives is held against those true differences. Writes crew.md beside this
file. With --kept the builds go to a CSV file one by one, and a study that was stopped goes on where it
stopped.
"""

from __future__ import annotations

import argparse
import itertools
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.workshop import EFFORT_KINDS, HABIT_KINDS, SyntheticBuild, make_build
from benchmarks.kept_cases import KeptCases
from forecast.questions.crew import crew_of, what_ifs_of
from forecast.questions.crew.compare import gain_in_days
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings

HALF = 0.5
LEVELS = (0.5, 0.8, 0.9)


def foretold_gain(made: SyntheticBuild, settings: Settings) -> np.ndarray:
    """(run,) days that the program expects the second builder to bring."""
    as_of = made.cut(HALF)
    fitted = fit_build(made.as_known_on(as_of), as_of, settings)
    solo, two, _ = what_ifs_of(fitted, crew_of(fitted))
    alone, together = simulate_what_ifs(fitted, settings, [solo, two])
    return gain_in_days(alone, together)


def true_gain(made: SyntheticBuild, plays: int, seed: int) -> np.ndarray:
    """(play,) days by which the build is finished later without the second builder, on the same dice."""
    as_of, second = made.cut(HALF), made.build.builders[1].id
    alone = made.play_on(as_of, plays, np.random.default_rng(seed), without=[second])
    together = made.play_on(as_of, plays, np.random.default_rng(seed))
    return alone.build_days - together.build_days


def kept_in(path: Path, runs: int, plays: int, seed: int) -> KeptCases:
    """The file of the builds done so far."""
    columns = ("effort", "habit", "build", "foretold", "true", *(f"{level:.0%}" for level in LEVELS))
    return KeptCases(
        path=path, made_with={"seed": seed, "runs": runs, "plays": plays}, columns=columns, rows_a_build=1
    )


def study(builds: int, runs: int, plays: int, seed: int, kept: KeptCases | None = None) -> pd.DataFrame:
    """One row a build: medians of the foretold and the true gain, and how often the ranges hold."""
    before = {} if kept is None else {row["build"]: row for row in kept.read().to_dict("records")}
    rows = []
    for effort, habit in itertools.product(EFFORT_KINDS, HABIT_KINDS):
        for number in range(builds):
            key = [seed, EFFORT_KINDS.index(effort), HABIT_KINDS.index(habit), number]
            build_seed = int(np.random.default_rng(key).integers(2**31))
            if build_seed in before:
                rows.append(before[build_seed])
                continue
            made = make_build(effort=effort, habit=habit, seed=build_seed, builders=2)
            told = foretold_gain(made, Settings(runs=runs, seed=build_seed))
            true = true_gain(made, plays, build_seed)
            told = told[~np.isnan(told)]
            row = {"effort": effort, "habit": habit, "build": build_seed}
            row |= {"foretold": np.median(told), "true": np.median(true)}
            for level in LEVELS:
                low, high = np.quantile(told, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
                row[f"{level:.0%}"] = np.mean((low <= true) & (true <= high))
            rows.append(row)
            if kept is not None:
                kept.append([row])
            print(row, flush=True)
    return pd.DataFrame(rows)


def table(found: pd.DataFrame, words: str) -> list[str]:
    """The lines of crew.md."""
    used = ", ".join(f"{p} {version(p)}" for p in ("numpy", "numba", "pandas"))
    lines = ["# The gain of a second builder", "", f"`python -m benchmarks.skill.crew {words}`; {used}.", ""]
    lines += [
        f"{len(found)} builds of two, cut at half their hours; standard errors count builds, not plays.",
        "",
        "| effort | habit | builds | 50 % covers | 80 % covers | 90 % covers | foretold, days | true |",
        "|---|---|---|---|---|---|---|---|",
    ]
    groups = [(("all", "all"), found), *found.groupby(["effort", "habit"])]
    for (effort, habit), rows in groups:
        shares = " | ".join(f"{rows[f'{level:.0%}'].mean():.2f}" for level in LEVELS)
        days = f"{rows['foretold'].median():.0f} | {rows['true'].median():.0f}"
        lines.append(f"| {effort} | {habit} | {len(rows)} | {shares} | {days} |")
    error = found["80%"].std() / np.sqrt(len(found))
    lines += [
        "",
        f"The 80 % range covers {found['80%'].mean():.3f} ± {error:.3f} of the true gains (wanted: .75-.85).",
    ]
    return lines


def main() -> None:
    """Run the study and write crew.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=15)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--plays", type=int, default=20)
    parser.add_argument("--seed", type=int, default=20261101)
    parser.add_argument("--kept", type=Path)
    args = parser.parse_args()
    words = f"--builds {args.builds} --runs {args.runs} --plays {args.plays} --seed {args.seed}"
    kept = kept_in(args.kept, args.runs, args.plays, args.seed) if args.kept else None
    lines = table(study(args.builds, args.runs, args.plays, args.seed, kept), words)
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
