"""How well the effort model forecasts on builds whose truth is known.

    python -m benchmarks.skill.effort [--builds 300] [--seed 11] [--cases FILE] [--part 1/2]

For each kind of build (benchmarks/invented/effort_builds.py) and at 10, 25, 50 and 75 % of the tasks:
coverage of the 50, 80 and 90 % ranges of the remaining total and of the next 20 and 50 tasks; CRPS of the
total of the model, of four naive ways, of the ideal forecaster and of the oracle (benchmarks/yardsticks/
effort_forecasters.py); and of the types declared to run over, the share that truly do.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import parser_of
from benchmarks.invented.effort_builds import KINDS, TrueBuild, draw_build
from benchmarks.pages import markdown_of, versions, write_page
from benchmarks.yardsticks import effort_forecasters as others
from forecast.learn.effort import EffortModel
from forecast.learn.progress import Progress
from forecast.questions.overruns import overruns
from forecast.questions.scores import crps

SHARES = (0.10, 0.25, 0.50, 0.75)
LEVELS = (0.50, 0.80, 0.90)
WAYS = ("model", "planned", "x median", "x type median", "independent", "learner", "ideal", "oracle")
TARGETS = {"total": None, "next 20": 20, "next 50": 50}
LIBRARIES = ("numpy", "scipy", "pandas", "statsmodels")
# Targets, in points off the nominal coverage: judgement. The model's own kind has the narrower one.
ALLOWED, ALLOWED_ELSE = {"model": 4.0}, 8.0
_DRAWS = 2000
_SURE = 0.8
_PROBABILITY_BINS = [-0.01, 0.2, 0.4, 0.6, 0.8, 1.0]
_BIN_LABELS = ["0 to 0.2", "0.2 to 0.4", "0.4 to 0.6", "0.6 to 0.8", "0.8 to 1"]


def build_cases(kind: str, rng: np.random.Generator) -> tuple[list[dict], list[dict]]:
    """Scores, one row per forecaster, share and target; and overruns, one row per share and type."""
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


def _overrun_rows(build: TrueBuild, progress: Progress, model: EffortModel) -> list[dict]:
    types = overruns(progress, model).types
    planned = build.tasks["planned_hours"].to_numpy(dtype=float)
    rows = []
    for row in types.loc[types["probability_over"].notna()].itertuples():
        mine = (build.tasks["type"] == row.type).to_numpy() & ~np.isnan(planned)
        truth = build.expected[mine].sum() / planned[mine].sum()
        rows.append(
            {"forecast": row.probability_over, "over": truth > 1.0, "finished": row.finished}
            | {"inside": row.ratio_p10 <= truth <= row.ratio_p90}
        )
    return rows


def crps_table(scores: pd.DataFrame, target: str) -> pd.DataFrame:
    """Mean CRPS in percent of the truth, one column per way, and ratios to two of them."""
    mine = scores.loc[scores["target"] == target].assign(crps=scores["crps"] * 100)
    table = mine.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    table = table[[w for w in WAYS if w in table]].round(2)
    means = mine.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    if "ideal" in means:
        table["model / ideal"] = (means["model"] / means["ideal"]).round(2)
    table["model / independent"] = (means["model"] / means["independent"]).round(2)
    return table


def coverage_table(scores: pd.DataFrame, way: str = "model") -> pd.DataFrame:
    """Percent of the truths within the central ranges of a way, and its mean log error."""
    mine = scores.loc[scores["way"] == way]
    apart = (mine["rank"] - 0.5).abs() * 2
    covered = {f"{level:.0%}": (apart <= level) * 100.0 for level in LEVELS}
    table = mine[["kind", "target", "share", "bias"]].assign(**covered)
    table = table.groupby(["kind", "target", "share"], sort=False).mean()
    return table[[*covered, "bias"]].round({"50%": 1, "80%": 1, "90%": 1, "bias": 3})


def short_table(scores: pd.DataFrame) -> pd.DataFrame:
    """Coverage of 80 % ranges, CRPS of the total, and its ratio to others, per kind and share."""
    covered = coverage_table(scores)["80%"].unstack("target")
    total = scores.loc[scores["target"] == "total"]
    means = total.pivot_table(index=["kind", "share"], columns="way", values="crps", sort=False)
    out = pd.DataFrame({f"80 % of {target}": covered[target] for target in TARGETS})
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
    """The coverages that miss the target by more than chance explains."""
    covered = coverage_table(scores)
    builds = scores.groupby("kind")["build"].nunique()
    lines, perhaps = [], 0
    for (kind, target, share), row in covered.iterrows():
        allowed = ALLOWED.get(kind, ALLOWED_ELSE)
        for level in LEVELS:
            off = row[f"{level:.0%}"] - 100 * level
            error = 100 * np.sqrt(level * (1 - level) / builds[kind])
            perhaps += allowed < abs(off) <= 2 * error
            if abs(off) > max(allowed, 2 * error):
                lines.append(
                    f"- {kind}, {target} at {share:.0%}: {level:.0%} ranges cover {row[f'{level:.0%}']:.1f} "
                    f"(target: within {allowed:.0f} points; one standard error is {error:.1f})"
                )
    count = len(covered) * len(LEVELS)
    return [
        f"Of {count} coverages {len(lines)} miss the target, and nominal by more than two standard errors:",
        "",
        *(lines or ["- none"]),
        "",
        f"{perhaps} more miss the target, but nominal by no more than two standard errors.",
    ]


def overrun_table(over: pd.DataFrame) -> pd.DataFrame:
    """Types by the forecast probability of running over, and the percent that truly do."""
    bins = pd.cut(over["forecast"], _PROBABILITY_BINS, labels=_BIN_LABELS).astype(str)
    table = over.assign(probability=bins).groupby(["kind", "probability"], sort=True)
    out = table.agg(
        types=("over", "size"),
        over=("over", "mean"),
        forecast=("forecast", "mean"),
        inside=("inside", "mean"),
    )
    return out.assign(**{c: (out[c] * 100).round(1) for c in ("over", "forecast", "inside")})


def declared_table(over: pd.DataFrame, *by: str) -> pd.DataFrame:
    """Of the types declared over with probability above .8, the share that truly are."""
    sure = over.loc[over["forecast"] > _SURE].sort_values("share", kind="stable")
    out = sure.groupby(list(by), sort=False).agg(declared=("over", "size"), over=("over", "mean"))
    return out.assign(over=(out["over"] * 100).round(1))


def report(scores: pd.DataFrame, over: pd.DataFrame, builds: int, seed: int) -> list[str]:
    """The lines of effort.md."""
    seconds = scores.loc[scores["way"] == "model"].groupby("share")["seconds"].median()
    declared = declared_table(over, "kind", "share").sort_index()
    tables = {
        "Coverages further from nominal than the target": misses(scores),
        "CRPS of the remaining total, percent of the truth": markdown_of(crps_table(scores, "total")),
        "CRPS of the next 50 tasks, percent of the truth": markdown_of(crps_table(scores, "next 50")),
        "Coverage of the model's ranges, percent; bias = mean log(median forecast / truth)": markdown_of(
            coverage_table(scores)
        ),
        "Types declared to run over with probability above 80 %: how many, and percent that truly do": (
            markdown_of(declared)
        ),
        "The same over all kinds": markdown_of(declared_table(over, "share")),
        "Types by forecast probability: percent over, and truths within the 80 % range of the ratio": (
            markdown_of(overrun_table(over))
        ),
    }
    lines = [
        "# Skill of the effort model",
        "",
        f"{builds} invented builds of each kind, 240 tasks each, seed {seed};",
        f"{versions(*LIBRARIES, python=True)}.",
        "Kinds: benchmarks/invented/effort_builds.py; forecasters:",
        "benchmarks/yardsticks/effort_forecasters.py. The ideal forecaster knows the scales of each build;",
        "the learner knows how builds are generated and has to learn the scales of this one, which is the",
        "most that anybody can know beforehand. For mislabelled builds the ideal also knows the true types",
        "and the missing planned hours, so no forecaster without them can reach it; task records have no",
        "ideal.",
        f"Fit: {seconds.max():.2f} s of one core at most (median by share of tasks finished).",
        "",
        "## In short: coverage of 80 % ranges, CRPS of the remaining total and its ratio to others",
        "",
        *markdown_of(short_table(scores)),
    ]
    for heading, table in tables.items():
        lines += ["", f"## {heading}", "", *table]
    return lines


def study_part(kind: str, build: int, seed: int) -> dict[str, list[dict]]:
    """One build, with random numbers of its own: `scores` and `over`, lists of rows."""
    rng = np.random.default_rng([seed, KINDS.index(kind), build])
    scores, over = build_cases(kind, rng)
    return {"scores": [row | {"build": build} for row in scores], "over": over}


def main() -> None:
    """Run the study, or one part of it; write effort.md when every build is finished."""
    given = parser_of(__doc__, resumable=True, builds=300, seed=11).parse_args()
    # The kinds take turns, so that an unfinished study has about as many builds of each.
    parts = [(kind, build, given.seed) for build in range(given.builds) for kind in KINDS]
    found = resuming.ResumableCases(given.cases, {"seed": given.seed}).run(parts, study_part, given.part)
    if found is None:
        return
    scores, over = (pd.DataFrame([row for one in found for row in one[name]]) for name in ("scores", "over"))
    write_page(__file__, report(scores, over, given.builds, given.seed))


if __name__ == "__main__":
    main()
