"""How much built-in belief should stand beside pooled priors: every weight scored from one pass of fits.

    python -m benchmarks.skill.pooled_weight [--seeds 7,11] [--newcomers 20] [--strangers 12] [--work DIR]

The clubs of pooled_priors.py, of other seeds than that study has, so that the weight is chosen on
one set of builds and judged on another. Each build is forecast with effort and habits of both fits, in all
four ways, and how far the log favours either is kept; the CRPS of a mixture follows from the distances
within and between its parts, for any weight. With --work members and cases are kept there.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import logit

from benchmarks.skill.pooled_priors import EARLY, LATER, UNLIKE, Clubs, alone, club, member, unlike
from forecast.learn.mixture import pooled_weight
from forecast.learn.pooled_priors import PooledPriors
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.settings import Settings

WEIGHTS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.5)
SIZES = {"newcomer": (5, 50, 500), "unlike": (50, 500)}
CUTS = {"newcomer": EARLY + LATER, "unlike": UNLIKE}
RUNS = 300
_LONGEST_DAYS = 15 * 365


def cases(sort: str, number: int, clubs: Clubs) -> Iterator[dict[str, Any]]:
    """What every weight is scored from, of one builder: one row a cut and a size of club."""
    like, first = (club, 20_000) if sort == "newcomer" else (unlike, 30_000)
    made = member(like(clubs.seed), clubs.seed + first + number)
    settings = Settings(runs=RUNS, seed=made.seed)
    for at in CUTS[sort]:
        as_of = made.cut(at)
        known, actual = made.as_known_on(as_of), (made.truth.build_finish - as_of).days
        built_in = fit_build(known, as_of, settings)
        plain = _days(built_in, settings)
        for size in SIZES[sort]:
            priors = alone(clubs.pooled(number, size))
            pooled = fit_build(known, as_of, replace(settings, priors=priors))
            even = fit_build(known, as_of, replace(settings, priors=_evenly(priors)))
            mixed = (replace(pooled, bench=built_in.bench), replace(built_in, bench=pooled.bench))
            parts = np.array([_days(pooled, settings), *(_days(m, settings) for m in mixed), plain])
            off, apart = distances(parts, min(actual, _LONGEST_DAYS))
            yield {
                "seed": clubs.seed,
                "sort": sort,
                "builder": number,
                "at": at,
                "size": size,
                "effort": _log_odds(even.effort.pooled_weight_),
                "bench": _log_odds(even.bench.pooled_weight_),
                "off": off.tolist(),
                "apart": apart.tolist(),
            }


def _days(fitted: Fitted, settings: Settings) -> np.ndarray:
    return np.minimum(np.ceil(simulate_build(fitted, settings).days(None)), _LONGEST_DAYS)


def _evenly(priors: PooledPriors) -> PooledPriors:
    """Both beliefs equally likely: the weight after the log then says how far it favours one."""
    return replace(
        priors,
        effort=replace(priors.effort, built_in_weight=0.5),
        bench=replace(priors.bench, built_in_weight=0.5),
    )


def _log_odds(weight: float) -> float:
    return float(logit(np.clip(weight, 1e-15, 1 - 1e-15)))


def distances(parts: np.ndarray, actual: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean distance of the draws of each part from what came, and of those of two parts from each other.

    Parameters
    ----------
    parts : (part, draw); a draw is not compared with itself

    Examples
    --------
    >>> off, apart = distances(np.array([[1.0, 3.0], [2.0, 2.0]]), 2.0)
    >>> off.tolist(), apart.tolist()
    ([1.0, 0.0], [[2.0, 1.0], [1.0, 0.0]])
    """
    count, draws = parts.shape
    apart = np.array([[np.abs(a[:, None] - b).mean() for b in parts] for a in parts])
    apart[np.diag_indices(count)] *= draws / (draws - 1)
    return np.abs(parts - actual).mean(axis=1), apart


def mixed_score(case: dict[str, Any], built_in_weight: float) -> float:
    """CRPS of the mixture, with so much built-in belief before the log.

    Examples
    --------
    >>> case = {"effort": 0.0, "bench": 0.0, "off": [1, 1, 1, 3], "apart": np.zeros((4, 4))}
    >>> mixed_score(case, 0.0), mixed_score(case, 0.5)
    (1.0, 1.5)
    """
    effort, bench = (pooled_weight(case[part], built_in_weight) for part in ("effort", "bench"))
    weight = np.outer([effort, 1 - effort], [bench, 1 - bench]).ravel()
    return float(weight @ case["off"] - 0.5 * weight @ np.asarray(case["apart"]) @ weight)


def built_in_score(case: dict[str, Any]) -> float:
    """CRPS with the built-in priors alone."""
    return float(case["off"][-1] - 0.5 * case["apart"][-1][-1])


def run_study(seed: int, counts: dict[str, int], work: Path | None) -> list[dict[str, Any]]:
    """Every case of one seed, those that are kept included."""
    place = work / f"seed_{seed}" if work else None
    kept = place / "weights.jsonl" if place else None
    if place:
        place.mkdir(parents=True, exist_ok=True)
    lines = kept.read_text(encoding="utf-8").splitlines() if kept and kept.exists() else []
    found = [json.loads(line) for line in lines]
    seen = {(c["sort"], c["builder"]) for c in found}
    clubs = Clubs(seed, place)
    for sort, number in ((sort, n) for sort, count in counts.items() for n in range(count)):
        if (sort, number) in seen:
            continue
        rows = list(cases(sort, number, clubs))
        found += rows
        if kept:
            with kept.open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(row) + "\n" for row in rows)
        print(f"seed {seed}, {sort} {number + 1}", flush=True)
    return found


def table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """Ratio of the mean CRPS to that of the built-in priors: a row a size and stage, a column a weight."""
    heads = ["at", "pooled", "builders", "CRPS, built in", *(f"{100 * w:.0f} %" for w in WEIGHTS), "+-"]
    heads += ["log odds of effort, 10 to 90 %", "of habits"]
    lines = [f"| {' | '.join(heads)} |", "|" + "---|" * len(heads)]
    stages = (("first 10 %", found["at"].isin(EARLY)), ("later", found["at"].isin(LATER)))
    for (name, rows), size in ((stage, s) for stage in stages for s in sorted(found["size"].unique())):
        part = found.loc[rows & (found["size"] == size)]
        by_builder = part.groupby(["seed", "builder"])[["built in", *WEIGHTS]].sum()
        total = by_builder.sum()
        cells = [name, str(size), str(len(by_builder)), f"{part['built in'].mean():.0f}"]
        cells += [f"{total[w] / total['built in']:.3f}" for w in WEIGHTS]
        again = by_builder.to_numpy()[rng.integers(len(by_builder), size=(1000, len(by_builder)))].sum(axis=1)
        cells.append(f"{np.std(again[:, 1] / again[:, 0]):.2f}")
        cells += [_between(part["effort"]), _between(part["bench"])]
        lines.append(f"| {' | '.join(cells)} |")
    return [*lines, ""]


def _between(values: pd.Series) -> str:
    return f"{values.quantile(0.1):.1f} to {values.quantile(0.9):.1f}"


def report(found: list[dict[str, Any]], command: str) -> str:
    """The whole page."""
    rng = np.random.default_rng(0)
    scores = [{w: mixed_score(c, w) for w in WEIGHTS} | {"built in": built_in_score(c)} for c in found]
    frame = pd.concat([pd.DataFrame(found), pd.DataFrame(scores)], axis=1)
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy", "numba"))
    return "\n".join(
        [
            "# The weight of built-in belief beside pooled priors",
            "",
            f"`python -m benchmarks.skill.pooled_weight {command}`; {versions}.",
            "",
            "Builds as in pooled_priors.md, of other seeds. Each column gives the built-in belief so much",
            "weight before the log: the ratio of mean CRPS to that with the built-in priors alone, all from",
            "the same fits. `+-`: standard error over builders of the first of them (the columns share their",
            "builds: they differ by far less). Log odds: how far the log favours the pooled belief.",
            "Which weight was taken, and why, stands in forecast/learn/pooled_priors.py.",
            "",
            "## Newcomers to the club",
            "",
            *table(frame.loc[frame["sort"] == "newcomer"], rng),
            "## Builders unlike the club",
            "",
            *table(frame.loc[frame["sort"] == "unlike"], rng),
        ]
    )


def main() -> None:
    """Run the study and write its table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seeds", default="7,11")
    parser.add_argument("--newcomers", type=int, default=20)
    parser.add_argument("--strangers", type=int, default=12)
    parser.add_argument("--work", type=Path, help="keep members and cases here, and go on from them")
    asked = parser.parse_args()
    counts = {"unlike": asked.strangers, "newcomer": asked.newcomers}
    found = [c for seed in asked.seeds.split(",") for c in run_study(int(seed), counts, asked.work)]
    sizes = f"--newcomers {asked.newcomers} --strangers {asked.strangers}"
    page = report(found, f"--seeds {asked.seeds} {sizes}")
    print(page)
    Path(__file__).with_suffix(".md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
