"""How well the effort model forecasts on builds whose truth is known.

For each kind of build (see effort_builds) and at 10, 25, 50 and 75 % of the tasks: how often the 50, 80
and 90 % ranges of the remaining total and of the next 20 and 50 tasks hold the truth, and the CRPS of
the total beside four naive ways, the ideal forecaster and the oracle.

    python -m benchmarks.effort_skill --builds 300
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks import effort_forecasters as others
from benchmarks.effort_builds import KINDS, TrueBuild, draw_build
from forecast.effort import EffortModel
from forecast.scores import crps

SHARES = (0.10, 0.25, 0.50, 0.75)
LEVELS = (0.50, 0.80, 0.90)
_DRAWS = 2000


def model_draws(build: TrueBuild, finished: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draw, task) first-time hours of the tasks ahead by the effort model."""
    return EffortModel().fit(build.progress(finished), rng).sample_first_time_hours(draws, rng)


def study_build(kind: str, rng: np.random.Generator) -> list[dict]:
    """One row a forecaster, point of the build and target."""
    build = draw_build(kind, rng)
    rows = []
    for share in SHARES:
        finished = round(share * len(build.hours))
        begun = time.perf_counter()
        model = model_draws(build, finished, _DRAWS, rng)
        seconds = time.perf_counter() - begun
        ways = {
            "model": model,
            "planned": others.planned_hours(build, finished),
            "x median": others.times_median_ratio(build, finished),
            "x type median": others.times_type_median(build, finished),
            "independent": others.independent_lognormal(build, finished, _DRAWS, rng),
        }
        if kind != "records":
            ways["ideal"] = others.ideal(build, finished, _DRAWS, rng)
            ways["oracle"] = others.oracle(build, finished, _DRAWS, rng)
        for way, draws in ways.items():
            for target, tasks in (("total", None), ("block 20", 20), ("block 50", 50)):
                rows.append(
                    {"kind": kind, "share": share, "way": way, "target": target, "seconds": seconds}
                    | _score(draws[:, :tasks].sum(axis=1), build.hours[finished:][:tasks].sum())
                )
    return rows


def _score(draws: np.ndarray, truth: float) -> dict[str, float]:
    rank = float(np.mean(draws < truth) + 0.5 * np.mean(draws == truth))
    estimator = "fair" if len(draws) > 1 else "standard"
    return {
        "crps": float(crps(draws, truth, estimator=estimator)) / truth,
        "rank": rank,
        "bias": float(np.log(np.median(draws) / truth)),
    }


def coverage_table(rows: pd.DataFrame, way: str) -> pd.DataFrame:
    """Coverage of the central ranges by kind, target and share, in percent."""
    mine = rows.loc[rows["way"] == way]
    apart = (mine["rank"] - 0.5).abs() * 2
    covered = {f"{level:.0%}": (apart <= level) * 100.0 for level in LEVELS}
    table = mine[["kind", "target", "share"]].assign(**covered)
    return table.groupby(["kind", "target", "share"], sort=False).mean().round(1)


def crps_table(rows: pd.DataFrame, target: str) -> pd.DataFrame:
    """Mean CRPS in percent of the truth, by kind and share, a column a way."""
    mine = rows.loc[rows["target"] == target].assign(crps=rows["crps"] * 100)
    table = mine.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    if "ideal" in table:
        table["model / ideal"] = table["model"] / table["ideal"]
    table["model / independent"] = table["model"] / table["independent"]
    return table.round(2)


def main() -> None:
    """Measure and write effort_skill.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=300)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--out", default=str(Path(__file__).with_suffix(".md")))
    settings = parser.parse_args()
    rows = []
    for kind in settings.kinds:
        children = np.random.default_rng([settings.seed, KINDS.index(kind)]).spawn(settings.builds)
        for rng in children:
            rows += study_build(kind, rng)
        print(f"{kind} done", flush=True)
    frame = pd.DataFrame(rows)
    frame.to_csv("/tmp/effort_rows.csv")
    text = crps_table(frame, "total").to_string() + "\n" + crps_table(frame, "block 50").to_string()
    text += "\n" + coverage_table(frame, "model").unstack("share").to_string()
    print(text)
    print(
        frame.loc[frame.way == "model"]
        .groupby(["kind", "target", "share"], sort=False)["bias"]
        .mean()
        .unstack("share")
        .round(3)
    )
    print("fit seconds", frame["seconds"].mean())


if __name__ == "__main__":
    main()
