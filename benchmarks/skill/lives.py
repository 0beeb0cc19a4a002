"""Finish dates and hours on builds that were invented without reading the model.

    python -m benchmarks.skill.lives [--builds 2] [--runs 500] [--unseen] [--cases FILE] [--part 1/2]

Every kind of household in benchmarks/invented/lives is asked `--builds` times. Each build is cut on the days
on which 25, 50 and 75 % of its true person-hours have been worked, and forecast from what its files were on
that day. Scored are the whole build, the open stage that was worked on last, the other open stages, and the
person-hours left. A household that never finished counts as one that finishes on the last day of the horizon.
`--unseen` takes the builds that were kept for the end; nothing may be tuned on them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import date
from functools import partial

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.lives import (
    DEVELOPMENT_SEEDS,
    KIND_NAMES,
    UNSEEN_SEEDS,
    LivedBuild,
    cuts,
    hours_left,
    invent,
)
from benchmarks.pages import markdown_of, versions, write_page
from benchmarks.skill.finish import coverage, naive_days, naive_hours, ratio_so_far, scored
from forecast.files.folder import Build, read_build
from forecast.learn.progress import Progress, read_progress
from forecast.simulate.finish import forecast_finish
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

SHARES = (0.25, 0.5, 0.75)
BUILD, OPEN, OTHER, HOURS = "build", "open stage", "other open stage", "hours left"
LONGEST_DAYS = float(Settings().horizon_days)


def cases_of(runs: int, kind: str, seed: int) -> list[dict[str, object]]:
    """One row per cut, target and way of forecasting."""
    return list(_cases(invent(kind, seed), runs))


def _cases(build: LivedBuild, runs: int) -> Iterator[dict[str, object]]:
    for share, as_of in zip(SHARES, cuts(build, SHARES), strict=True):
        known = known_on(build, as_of)
        progress = read_progress(known.plan, known.sessions, as_of)
        outlook = forecast_finish(known, as_of, Settings(runs=runs, seed=build.seed))
        dice = np.random.default_rng([build.seed, round(100 * share)])
        for case in _targets(build, as_of, progress, outlook, dice):
            yield {
                "build": f"{build.kind} {build.seed}",
                "kind": build.kind,
                "seed": build.seed,
                "at": share,
            } | case


def known_on(build: LivedBuild, as_of: date) -> Build:
    """The build folder as its files were on that day: no later rows of the plan, no later sessions."""
    with tempfile.TemporaryDirectory() as folder:
        place = build.write(folder, as_of)
        if build.truth.plan_versions:
            # Sessions on tasks that the plan of that day does not have yet would be refused.
            log = pd.read_csv(place / "log.csv", dtype=str, keep_default_na=False)
            ended = log["until"].where(log["until"] != "", log["date"])
            log.loc[ended <= as_of.isoformat()].to_csv(place / "log.csv", index=False)
        return read_build(place)


def _targets(
    build: LivedBuild, as_of: date, progress: Progress, outlook: Outlook, dice: np.random.Generator
) -> Iterator[dict[str, object]]:
    last = last_worked_stage(progress, outlook.open_stages)
    begun = set(progress.sessions.loc[progress.sessions["task"] != "", "stage"])
    for stage in (None, *outlook.open_stages):
        finish = build.truth.finish if stage is None else build.truth.stage_finish.get(stage)
        if finish is not None and finish <= as_of:
            continue
        actual = LONGEST_DAYS if finish is None else min((finish - as_of).days, LONGEST_DAYS)
        target = BUILD if stage is None else OPEN if stage == last else OTHER
        named = {"target": target, "stage": stage or "", "begun": stage in begun}
        draws = np.minimum(np.ceil(outlook.days(stage)), LONGEST_DAYS)
        yield named | {"way": "program"} | _score(draws, actual, dice)
        pace = min(naive_days(progress, stage)["average pace"], LONGEST_DAYS)
        yield named | {"way": "average pace"} | _score(np.array([pace]), actual, dice)
    named = {"target": HOURS, "stage": "", "begun": True}
    left = hours_left(build, as_of)
    yield named | {"way": "program"} | _score(outlook.person_hours_left(None), left, dice)
    naive = naive_hours(progress, None, ratio_so_far(progress))
    yield named | {"way": "average pace"} | _score(np.array([naive]), left, dice)


def _score(draws: np.ndarray, actual: float, dice: np.random.Generator) -> dict[str, float]:
    p50, p80 = np.quantile(draws, [0.5, 0.8], method="inverted_cdf")
    return scored(draws, actual, dice) | {"by_80": float(actual <= p80), "by_50": float(actual <= p50)}


def last_worked_stage(progress: Progress, open_stages: tuple[str, ...]) -> str | None:
    """The open stage with the latest session, or the first open one when none was begun."""
    rows = progress.sessions.loc[progress.sessions["stage"].isin(open_stages)]
    if rows.empty:
        return open_stages[0] if open_stages else None
    return str(rows.sort_values("date", kind="stable")["stage"].iloc[-1])


def summary(found: pd.DataFrame, groups: list[str]) -> pd.DataFrame:
    """Coverage, one-sided shares, actual over median, and CRPS beside the average pace, per group."""
    rows = []
    for key, part in found.groupby(groups, sort=False):
        program = part.loc[part["way"] == "program"]
        naive = part.loc[part["way"] == "average pace"]
        rows.append(
            dict(zip(groups, key, strict=True))
            | {
                "cases": len(program),
                "50 %": coverage(program["position"], 0.5),
                "80 %": coverage(program["position"], 0.8),
                "by 80 %": program["by_80"].mean(),
                "by even odds": program["by_50"].mean(),
                "actual / median": float((program["actual"] / program["middle"].clip(lower=0.5)).median()),
                "CRPS": program["crps"].mean(),
                "/ average pace": program["crps"].mean() / naive["crps"].mean(),
                # Scores of long builds drown those of short ones: here each case counts alike.
                "log / pace": float(
                    np.exp(np.mean(np.log((program["crps"].to_numpy() + 1) / (naive["crps"].to_numpy() + 1))))
                ),
            }
        )
    return pd.DataFrame(rows)


def jobs(builds: int, unseen: bool) -> list[tuple[str, int]]:
    """(kind, seed) of every build, one of each kind before the next of any."""
    seeds = UNSEEN_SEEDS if unseen else DEVELOPMENT_SEEDS
    return [(kind, seed) for seed in seeds[:builds] for kind in KIND_NAMES]


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """The figures of a summary as a page shows them."""
    whole = ("CRPS", "cases")
    numbers = [c for c in table.select_dtypes("number") if c != "at"]
    return table.assign(**{c: table[c].map(("{:.0f}" if c in whole else "{:.2f}").format) for c in numbers})


def report(found: pd.DataFrame, command: str) -> list[str]:
    """The whole page."""
    lines = [
        "# Finish dates on builds invented without reading the model",
        "",
        f"`{command}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        f"{found['build'].nunique()} builds, cut at 25, 50 and 75 % of their true person-hours.",
        "`50 %`, `80 %`: share of cases inside that central range. `by 80 %`: share finished by the day that",
        "the program calls 80 % sure (of hours: not more than that). CRPS in days or person-hours; `/ "
        "average",
        "pace`: over that of an average pace. `log / pace`: geometric mean of the same ratio, case by case, "
        "so",
        "that long builds do not drown short ones.",
    ]
    for groups in (["target"], ["target", "at"], ["target", "begun"], ["target", "kind"]):
        lines += ["", *markdown_of(rounded(summary(found, groups)).set_index(groups))]
    return lines


def main() -> None:
    """Run the study, or one part of it; write lives.md when every build is finished."""
    parser = parser_of(__doc__, resumable=True, builds=2, runs=500)
    parser.add_argument("--unseen", action="store_true", help="the builds that were kept for the end")
    given = parser.parse_args()
    found = resuming.run_parts(
        jobs(given.builds, given.unseen), partial(cases_of, given.runs), given, ("runs",)
    )
    if found is not None:
        write_page(__file__, report(found, command_of(__file__, given)))


if __name__ == "__main__":
    main()
