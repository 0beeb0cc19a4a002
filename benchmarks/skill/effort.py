"""How well the effort model forecasts on builds whose truth is known.

For each kind of build (see effort_builds) and at 10, 25, 50 and 75 % of the tasks: how often the 50, 80
and 90 % ranges of the remaining total and of the next 20 and 50 tasks hold the truth, the CRPS of the
total beside four naive ways, the ideal forecaster and the oracle (see effort_forecasters), and of the
types declared to run over, the share that truly do.

    python -m benchmarks.skill.effort --builds 300
"""

from __future__ import annotations

import argparse
import platform
import time
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.effort_builds import KINDS, TrueBuild, draw_build
from benchmarks.kept_rows import kept_rows
from benchmarks.yardsticks import effort_forecasters as others
from forecast.learn.effort import EffortModel
from forecast.questions.overruns import overruns
from forecast.questions.scores import crps

SHARES = (0.10, 0.25, 0.50, 0.75)
LEVELS = (0.50, 0.80, 0.90)
WAYS = ("model", "planned", "x median", "x type median", "independent", "learner", "ideal", "oracle")
TARGETS = {"total": None, "next 20": 20, "next 50": 50}
ALLOWED = {"model": 4.0}  # points off the nominal coverage that are wanted at most; else
ALLOWED_ELSE = 8.0
_DRAWS = 2000
_SURE = 0.8
_SAID = [-0.01, 0.2, 0.4, 0.6, 0.8, 1.0]
_SAID_WORDS = ["0 to .2", ".2 to .4", ".4 to .6", ".6 to .8", ".8 to 1"]


def study_build(kind: str, rng: np.random.Generator) -> tuple[list[dict], list[dict]]:
    """Rows (forecaster, point of the build, target) of scores, and rows (point, type) of overruns."""
    build = draw_build(kind, rng)
    scores, over = [], []
    for share in SHARES:
        finished = round(share * len(build.hours))
        progress = build.progress(finished)
        begun = time.process_time()
        model = EffortModel().fit(progress, rng)
        seconds = time.process_time() - begun
        ways = {
            "model": model.sample_first_time_hours(_DRAWS, rng),
            "planned": others.planned_hours(build, finished),
            "x median": others.times_median_ratio(build, finished),
            "x type median": others.times_type_median(build, finished),
            "independent": others.independent_lognormal(build, finished, _DRAWS, rng),
        }
        if kind == "model":
            ways["learner"] = others.learner(build, finished, _DRAWS, rng)
        if kind != "records":
            ways["ideal"] = others.ideal(build, finished, _DRAWS, rng)
            ways["oracle"] = others.oracle(build, finished, _DRAWS, rng)
        for way, draws in ways.items():
            for target, tasks in TARGETS.items():
                row = {"kind": kind, "share": share, "way": way, "target": target, "seconds": seconds}
                truth = build.hours[finished:][:tasks].sum()
                scores.append(row | _score(draws[:, :tasks].sum(axis=1), truth))
        over += [row | {"kind": kind, "share": share} for row in _overrun_rows(build, progress, model)]
    return scores, over


def _score(draws: np.ndarray, truth: float) -> dict[str, float]:
    estimator = "fair" if len(draws) > 1 else "standard"
    return {
        "crps": float(crps(draws, truth, estimator=estimator)) / truth,
        "rank": float(np.mean(draws < truth)),
        "bias": float(np.log(np.median(draws) / truth)),
    }


def _overrun_rows(build: TrueBuild, progress, model: EffortModel) -> list[dict]:  # type: ignore[no-untyped-def]
    types = overruns(progress, model).types
    planned = build.tasks["planned_hours"].to_numpy(dtype=float)
    rows = []
    for said in types.loc[types["probability_over"].notna()].itertuples():
        mine = (build.tasks["type"] == said.type).to_numpy() & ~np.isnan(planned)
        truth = build.expected[mine].sum() / planned[mine].sum()
        rows.append(
            {"said": said.probability_over, "over": truth > 1.0, "finished": said.finished}
            | {"held": said.ratio_p10 <= truth <= said.ratio_p90}
        )
    return rows


def crps_table(scores: pd.DataFrame, target: str) -> pd.DataFrame:
    """Mean CRPS in percent of the truth, by kind and share, a column a way, and ratios to two of them."""
    mine = scores.loc[scores["target"] == target].assign(crps=scores["crps"] * 100)
    table = mine.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    table = table[[w for w in WAYS if w in table]].round(2)
    means = mine.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    if "ideal" in means:
        table["model / ideal"] = (means["model"] / means["ideal"]).round(2)
    table["model / independent"] = (means["model"] / means["independent"]).round(2)
    return table


def coverage_table(scores: pd.DataFrame, way: str = "model") -> pd.DataFrame:
    """Percent of the truths within the central ranges of a way, and its median log miss."""
    mine = scores.loc[scores["way"] == way]
    apart = (mine["rank"] - 0.5).abs() * 2
    covered = {f"{level:.0%}": (apart <= level) * 100.0 for level in LEVELS}
    table = mine[["kind", "target", "share", "bias"]].assign(**covered)
    table = table.groupby(["kind", "target", "share"], sort=False).mean()
    return table[[*covered, "bias"]].round({"50%": 1, "80%": 1, "90%": 1, "bias": 3})


def short_table(scores: pd.DataFrame) -> pd.DataFrame:
    """One row a kind and share: coverage of 80 % ranges, CRPS of the total, and its ratio to others."""
    held = coverage_table(scores)["80%"].unstack("target")
    total = scores.loc[scores["target"] == "total"]
    means = total.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    out = pd.DataFrame({f"80 % of {target}": held[target] for target in TARGETS})
    out = out.reindex(means.index)
    if "ideal" in means:
        out["ideal: total"] = coverage_table(scores, "ideal")["80%"].unstack("target")["total"]
    out["CRPS %"] = (means["model"] * 100).round(1)
    for way in ("learner", "ideal", "oracle", "independent"):
        out[f"/ {way}"] = (means["model"] / means[way]).round(2) if way in means else np.nan
    naive = means[[w for w in means if w in WAYS[1:5]]].min(axis=1)
    out["/ best naive"] = (means["model"] / naive).round(2)
    return out


def misses(scores: pd.DataFrame) -> list[str]:
    """Coverages that are further from nominal than wanted, by more than chance alone explains."""
    held = coverage_table(scores)
    builds = scores.groupby("kind")["build"].nunique()
    lines, perhaps = [], 0
    for (kind, target, share), row in held.iterrows():
        allowed = ALLOWED.get(kind, ALLOWED_ELSE)
        for level in LEVELS:
            off = row[f"{level:.0%}"] - 100 * level
            error = 100 * np.sqrt(level * (1 - level) / builds[kind])
            perhaps += allowed < abs(off) <= 2 * error
            if abs(off) > max(allowed, 2 * error):
                lines.append(
                    f"- {kind}, {target} at {share:.0%}: {level:.0%} ranges hold {row[f'{level:.0%}']:.1f} "
                    f"(wanted within {allowed:.0f} points; one standard error is {error:.1f})"
                )
    count = len(held) * len(LEVELS)
    return [
        f"Of {count} coverages {len(lines)} are off by more than wanted and by more than two standard",
        "errors of so many builds:",
        "",
        *(lines or ["- none"]),
        "",
        f"{perhaps} more are off by more than wanted, but by no more than two standard errors.",
    ]


def overrun_table(over: pd.DataFrame) -> pd.DataFrame:
    """Types by how surely they were said to run over, and how many of them truly do."""
    said = pd.cut(over["said"], _SAID, labels=_SAID_WORDS).astype(str)
    table = over.assign(probability=said).groupby(["kind", "probability"], sort=True)
    out = table.agg(
        types=("over", "size"), over=("over", "mean"), said=("said", "mean"), held=("held", "mean")
    )
    return out.assign(**{c: (out[c] * 100).round(1) for c in ("over", "said", "held")})


def declared_table(over: pd.DataFrame, *by: str) -> pd.DataFrame:
    """Of the types declared over with probability above .8, the share that truly are."""
    sure = over.loc[over["said"] > _SURE].sort_values("share", kind="stable")
    out = sure.groupby(list(by), sort=False).agg(declared=("over", "size"), over=("over", "mean"))
    return out.assign(over=(out["over"] * 100).round(1))


def as_markdown(table: pd.DataFrame) -> str:
    """The table with its index as first columns."""
    flat = table.reset_index()
    lines = ["| " + " | ".join(str(c) for c in flat.columns) + " |", "|" + "---|" * flat.shape[1]]
    for row in flat.itertuples(index=False):
        cells = ("" if isinstance(v, float) and np.isnan(v) else str(v) for v in row)
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def versions() -> str:
    """Of Python and the libraries that the figures depend on."""
    libraries = (f"{name} {version(name)}" for name in ("numpy", "scipy", "pandas", "statsmodels"))
    return f"Python {platform.python_version()}, {', '.join(libraries)}"


def report(scores: pd.DataFrame, over: pd.DataFrame, builds: int, seed: int) -> str:
    """The Markdown page."""
    seconds = scores.loc[scores["way"] == "model"].groupby("share")["seconds"].median()
    return "\n".join(
        [
            "# Skill of the effort model",
            "",
            f"{builds} invented builds of each kind, 240 tasks each, seed {seed}; {versions()}.",
            "Kinds: benchmarks/invented/effort_builds.py; forecasters: benchmarks/yardsticks/effort_forecasters.py.",
            "The ideal forecaster is told the scales of each build; the learner knows how builds come about",
            "and has to learn the scales of this one, the most that anybody can know beforehand. For",
            "mislabelled builds the ideal also knows the right types and the missing plans, so no forecaster",
            "without them can reach it; task records have no ideal.",
            f"Fit: {seconds.max():.2f} s of one core at most (median by share of tasks finished).",
            "",
            "## In short: coverage of 80 % ranges, CRPS of the remaining total and its ratio to others",
            "",
            as_markdown(short_table(scores)),
            "",
            "## Coverages further from nominal than wanted",
            "",
            *misses(scores),
            "",
            "## CRPS of the remaining total, percent of the truth",
            "",
            as_markdown(crps_table(scores, "total")),
            "",
            "## CRPS of the next 50 tasks, percent of the truth",
            "",
            as_markdown(crps_table(scores, "next 50")),
            "",
            "## Coverage of the model's ranges, percent; bias = mean log(median forecast / truth)",
            "",
            as_markdown(coverage_table(scores)),
            "",
            "## Types declared to run over with probability above 80 %: how many, and percent that truly do",
            "",
            as_markdown(declared_table(over, "kind", "share").sort_index()),
            "",
            "## The same over all kinds",
            "",
            as_markdown(declared_table(over, "share")),
            "",
            "## Types by the probability said: percent over, and truths within the 80 % range of the ratio",
            "",
            as_markdown(overrun_table(over)),
            "",
        ]
    )


def study_one(kind: str, build: int, seed: int) -> dict[str, list[dict]]:
    """One build, with a stream of chance of its own."""
    rng = np.random.default_rng([seed, KINDS.index(kind), build])
    scores, over = study_build(kind, rng)
    return {"scores": [row | {"build": build} for row in scores], "over": over}


def study(kinds: list[str], builds: int, seed: int, keep: Path | None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Scores and overruns of so many builds of each kind; the kinds in turn, so that none comes short."""
    parts = [(kind, build, seed) for build in range(builds) for kind in kinds]
    found = kept_rows(keep, parts, study_one)
    scores, over = (pd.DataFrame([row for one in found for row in one[name]]) for name in ("scores", "over"))
    return scores, over


def main() -> None:
    """Measure and write effort.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=300)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--out", type=Path, default=Path(__file__).with_suffix(".md"))
    parser.add_argument("--keep", type=Path, help="file of finished builds, to go on from")
    settings = parser.parse_args()
    scores, over = study(settings.kinds, settings.builds, settings.seed, settings.keep)
    text = report(scores, over, settings.builds, settings.seed)
    settings.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
