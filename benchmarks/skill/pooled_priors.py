"""What pooled priors gain for a builder who has just started, and what they cost later.

    python -m benchmarks.skill.pooled_priors [--newcomers 32] [--strangers 40] [--runs 300] [--seed 20261127]
                                             [--cases FILE] [--part 1/2]

The members of an invented club build to one guide that is optimistic (benchmarks/invented/clubs.py). They
differ from each other, and as a club from the built-in priors. Priors pooled from 5, 50 and 500 of them, each
at some point of a build, are compared with the built-in ones, for newcomers to the club and for strangers who
are unlike it. Two more priors serve as limits: the truth about the club, and the priors of the largest club
without the built-in ones. With --cases, members and scores are cached in that file.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from math import log
from typing import Any

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.clubs import (
    ADDED_PER_HOUR,
    APART,
    EVENTS,
    OUTSIDE_PER_HOUR,
    REWORK_TASKS,
    SIZE_SLOPE,
    SPREAD,
    SPREADS_APART,
    TASKS,
    TYPE_SPREADS,
    Club,
    member,
    optimistic_club,
    strangers_club,
)
from benchmarks.invented.workshop import SyntheticBuild
from benchmarks.pages import markdown, ratio_and_error, resamples, versions, write_page
from benchmarks.resuming import ResumableCases
from forecast.learn.effort import Normal
from forecast.learn.pooled_priors import BUILT_IN_WEIGHT, PooledPriors
from forecast.many.pool import pool_priors
from forecast.many.summary import BuildSummary, summary_of
from forecast.questions.scores import crps
from forecast.simulate.finish import forecast_finish
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from forecast.wording import format_percent

SIZES = (5, 50, 500)
EARLY, LATER = (0.02, 0.05, 0.10), (0.25, 0.50, 0.75)
CUTS = {"newcomer": EARLY + LATER, "unlike": (0.05, 0.10, *LATER)}
BUILT_IN, ALONE, TRUE = "built in", f"{SIZES[-1]} alone", "truth"
_LONGEST_DAYS = 15 * 365  # later finishes are scored as if they came on this day: judgement


def summarise_member(club: Club, seed: int) -> dict[str, Any]:
    """The summary of a member's build, cut somewhere between 30 % and the end, as JSON values."""
    made = member(club, seed)
    as_of = made.cut(float(np.random.default_rng([made.seed, 4]).uniform(0.3, 1.0)))
    return summary_of(fit_build(made.as_known_on(as_of), as_of, Settings(seed=made.seed))).to_dict()


def summaries(count: int, seed: int, cases: ResumableCases) -> list[BuildSummary]:
    """Summaries of the first `count` members of the optimistic club, each computed once."""
    found = cases.read()
    for number in range(count):
        if (part := ("member", seed, number)) not in found:
            found[part] = summarise_member(optimistic_club(seed), seed + 10_000 + number)
            cases.append(part, found[part])
            if number % 25 == 24:
                print(f"{number + 1} of {count} members", flush=True)
    return [BuildSummary.from_dict(found["member", seed, number]) for number in range(count)]


def true_priors(club: Club, pooled: PooledPriors) -> PooledPriors:
    """The true distribution of the members' effort, with pooled priors on habits: the limit of pooling.

    Habits have no true values in the model's terms, so those of many members are used.
    """
    effort = replace(
        pooled.effort,
        built_in_weight=0.0,
        degrees=np.inf,
        level=Normal(centre=club.level, sd=APART["level"]),
        size_slope=Normal(centre=SIZE_SLOPE, sd=APART["size_slope"]),
        learning=Normal(centre=club.learning, sd=APART["learning"]),
        repeat=Normal(centre=club.repeat, sd=APART["repeat"]),
        type_level=dict(club.type_effect),
        type_level_scale=APART["type_level"],
        type_learning={},
        type_learning_scale=APART["learning"],
        log_spread=Normal(centre=log(SPREAD), sd=SPREADS_APART),
        type_spread_scale=TYPE_SPREADS,
        beyond=replace(
            pooled.effort.beyond,
            rework_chance=(REWORK_TASKS * club.rework, REWORK_TASKS * (1 - club.rework)),
            outside_per_hour=(EVENTS, 1 / OUTSIDE_PER_HOUR),
            growth_per_hour=(EVENTS, 1 / ADDED_PER_HOUR),
        ),
    )
    return replace(pooled, effort=effort, bench=replace(pooled.bench, built_in_weight=0.0))


def alone(pooled: PooledPriors) -> PooledPriors:
    """Pooled priors without the built-in ones."""
    return replace(
        pooled,
        effort=replace(pooled.effort, built_in_weight=0.0),
        bench=replace(pooled.bench, built_in_weight=0.0),
    )


class Pools:
    """Priors pooled from members of the club; each newcomer gets another pool where there are enough members.

    Parameters
    ----------
    seed : of the club
    cases : cache of the members' summaries
    """

    def __init__(self, seed: int, cases: ResumableCases) -> None:
        self.seed, self.cases = seed, cases
        self.known: dict[tuple[int, int], PooledPriors] = {}

    def priors(self, newcomer: int, label: str) -> PooledPriors | None:
        """The priors of one column of the table."""
        if label == BUILT_IN:
            return None
        if label == TRUE:
            return true_priors(optimistic_club(self.seed), self.pooled(newcomer, SIZES[-1]))
        if label == ALONE:
            return alone(self.pooled(newcomer, SIZES[-1]))
        return self.pooled(newcomer, int(label))

    def pooled(self, newcomer: int, size: int) -> PooledPriors:
        """Priors of `size` members; up to 50 of the first 100, which keeps small studies quick."""
        among = max(size, 100)
        first = size * (newcomer % (among // size))
        if (size, first) not in self.known:
            members = summaries(among, self.seed, self.cases)
            self.known[size, first] = pool_priors(members[first : first + size])
        return self.known[size, first]


def parts_of(newcomers: int, strangers: int) -> list[tuple[str, int, tuple[str, ...]]]:
    """(sort, number, columns) of every part, small pools first."""
    small, largest = (BUILT_IN, *map(str, SIZES[:-1])), str(SIZES[-1])
    new, strange, large = range(newcomers), range(strangers), (largest, ALONE)
    out = [("newcomer", n, small) for n in new]
    out += [("unlike", n, (BUILT_IN,)) for n in strange]
    out += [("unlike", n, large) for n in strange]
    return out + [("newcomer", n, (*large, TRUE)) for n in new]


def build_cases(
    pools: Pools, runs: int, sort: str, number: int, columns: Sequence[str]
) -> list[dict[str, object]]:
    """One row per cut and column: the score of each forecast of one builder."""
    made = builder_of(sort, number, pools.seed)
    rows = []
    for at in CUTS[sort]:
        priors = {label: pools.priors(number, label) for label in columns}
        rows += [{"sort": sort, "builder": number} | row for row in scored(made, at, priors, runs)]
    return rows


def builder_of(sort: str, number: int, seed: int) -> SyntheticBuild:
    """The build of a newcomer to the club, or of a stranger ("unlike")."""
    if sort == "newcomer":
        return member(optimistic_club(seed), seed + 20_000 + number)
    return member(strangers_club(seed), seed + 30_000 + number)


def scored(
    made: SyntheticBuild, at: float, priors: Mapping[str, PooledPriors | None], runs: int
) -> Iterator[dict[str, object]]:
    """The score of a forecast with each of the priors, when the share `at` of the hours is in the log."""
    as_of = made.cut(at)
    known = made.as_known_on(as_of)
    actual = min((made.truth.build_finish - as_of).days, _LONGEST_DAYS)
    for label, pooled in priors.items():
        outlook = forecast_finish(known, as_of, Settings(runs=runs, seed=made.seed, priors=pooled))
        days = np.minimum(np.ceil(outlook.days(None)), _LONGEST_DAYS)
        yield {
            "at": at,
            "priors": label,
            "days": actual,
            "crps": float(crps(days, actual, estimator="fair")),
            "middle": float(np.median(days)),
            "inside_80": bool(np.quantile(days, 0.1) <= actual <= np.quantile(days, 0.9)),
            "hours": float(np.median(outlook.person_hours_left(None))),
        }


def table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """A Markdown table with one row per cut: mean CRPS, its ratio to the built-in priors, coverage."""
    labels = [p for p in (BUILT_IN, *map(str, SIZES), ALONE, TRUE) if (found["priors"] == p).any()]
    pooled = labels[1:]
    groups = [(f"{at:.0%}", part) for at, part in found.groupby("at")]
    for name, cuts in (("first 10 %", EARLY), ("later", LATER)):
        groups.append((name, found.loc[found["at"].isin(cuts)]))
    rows = []
    for name, part in groups:
        score = part.pivot_table(index=["builder", "at"], columns="priors", values="crps")
        cells = [name, str(part["builder"].nunique()), f"{part['days'].mean():.0f}"]
        cells += [f"{score[BUILT_IN].mean():.0f}", *(_ratio(score, p, rng) for p in pooled)]
        cells += [f"{part.loc[part['priors'] == p, 'inside_80'].mean():.2f}" for p in labels]
        rows.append(cells)
    heads = ["at", "builders", "days ahead", f"CRPS, {BUILT_IN}", *(f"/ by {p}" for p in pooled)]
    return [*markdown([*heads, *(f"80 %, {p}" for p in labels)], rows), ""]


def _ratio(score: pd.DataFrame, label: str, rng: np.random.Generator) -> str:
    """Ratio of mean scores, with its standard error over builders."""
    by_builder = score[[label, BUILT_IN]].dropna().groupby("builder").sum()
    index = resamples(len(by_builder), rng)
    ratio, error = ratio_and_error(by_builder[[label]].to_numpy(), by_builder[[BUILT_IN]].to_numpy(), index)
    return f"{ratio:.2f} +- {error:.2f}"


def report(found: pd.DataFrame, given: argparse.Namespace) -> list[str]:
    """The lines of pooled_priors.md."""
    rng = np.random.default_rng(given.seed)
    return [
        "# Pooled priors",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        f"Invented builds of about {TASKS} tasks. The members of the club build to a guide whose hours are",
        "55 % of the true ones, learn at 82 % per doubling, redo one task in five and build on short",
        "evenings; they differ from each other. Priors were pooled from 5, 50 and 500 of them, each cut",
        "between 30 % of its hours and its end; twenty pools of 5 and two of 50 take turns. CRPS of",
        "the finish of the whole build, in days, and its ratio (+- one standard error over builders) to that",
        "with the built-in priors, on the same draws. `80 %`: share of finishes inside the central 80 %",
        "range. `500 alone`: the same pooled priors without the built-in ones (else these have a weight of",
        f"{format_percent(BUILT_IN_WEIGHT)} before the log speaks). `truth`: the true effort and rework of",
        "the club, in place of what 500 members show (habits as pooled).",
        "",
        "## Newcomers to the club",
        "",
        *table(found.loc[found["sort"] == "newcomer"], rng),
        "## Builders unlike the club",
        "",
        "Below the guide's hours, hardly any learning, long days at weekends.",
        "",
        *table(found.loc[found["sort"] == "unlike"], rng),
    ]


def main() -> None:
    """Run the study, or one part of it; write pooled_priors.md when every builder is finished."""
    defaults = {"newcomers": 32, "strangers": 40, "runs": 300, "seed": 20261127}
    given = parser_of(__doc__, resumable=True, **defaults).parse_args()
    made_with = ("seed", "runs")
    pools = Pools(given.seed, ResumableCases(given.cases, {n: getattr(given, n) for n in made_with}))
    parts = parts_of(given.newcomers, given.strangers)
    found = resuming.run_parts(parts, partial(build_cases, pools, given.runs), given, made_with)
    if found is not None:
        write_page(__file__, report(found, given))


if __name__ == "__main__":
    main()
