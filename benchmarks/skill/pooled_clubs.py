"""What pooled priors gain over many clubs, each with a guide and habits of its own.

    python -m benchmarks.skill.pooled_clubs [--clubs 24] [--newcomers 2] [--members 5 50] [--runs 300]
                                            [--to pooled_clubs.md] [--cases FILE] [--part 1/2]

pooled_large_clubs.md was made with --clubs 4 --newcomers 6 --members 5 50 500 --to pooled_large_clubs.md.

pooled_priors.py looks at one club from all sides. How much the logs of others help depends on how far a club
lies from the built-in priors, so here clubs are drawn from those priors, as far as they describe what a build
is invented from; habits are drawn around those of published logs.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from math import exp, log
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.invented.clubs import EVENINGS, WEEKENDS, Club, member
from benchmarks.invented.workshop.random_kit import TYPES
from benchmarks.pages import versions, write_page
from benchmarks.skill.pooled_priors import BUILT_IN, EARLY, LATER, scored, summarise_member, table
from forecast.learn.effort import EffortPriors, Normal
from forecast.learn.pooled_priors import PooledPriors
from forecast.many.pool import CLUB_SHARE, pool_priors
from forecast.many.summary import BuildSummary

# Builders anywhere differ by the variance between clubs plus that within a club.
BETWEEN_CLUBS = (1 - CLUB_SHARE**2) ** 0.5


def draw_club(seed: int, number: int) -> Club:
    """A club whose centres are drawn from the built-in priors."""
    rng = np.random.default_rng([seed, 10, number])
    built_in = EffortPriors()

    def centre(of: Normal) -> float:
        return float(rng.normal(of.centre, BETWEEN_CLUBS * of.sd))

    effects = built_in.type_level_scale * rng.standard_normal(len(TYPES))
    weekend = rng.random()
    return Club(
        level=centre(built_in.level),
        learning=min(centre(built_in.learning), 0.0),
        repeat=min(centre(built_in.repeat), 0.1),
        rework=float(rng.uniform(0.03, 0.2)),
        day_chance=tuple(np.average([WEEKENDS, EVENINGS], axis=0, weights=[weekend, 1 - weekend]).tolist()),
        session_hours=exp(rng.normal(log(2.9), 0.4)),
        stop_chance=exp(rng.normal(log(0.165), 0.3)),
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def build_cases(
    seed: int, number: int, newcomers: int, sizes: Sequence[int], runs: int
) -> list[dict[str, object]]:
    """One row per newcomer, cut and priors: the scores of the forecasts for the newcomers to one club."""
    club, first = draw_club(seed, number), seed + 100_000 * (number + 1)
    members = [BuildSummary.from_dict(summarise_member(club, first + n)) for n in range(max(sizes))]
    rows = []
    for i in range(newcomers):
        made = member(club, first + 50_000 + i)
        priors: dict[str, PooledPriors | None] = {BUILT_IN: None}
        for size in sizes:
            begin = size * (i % (len(members) // size))
            priors[str(size)] = pool_priors(members[begin : begin + size])
        for at in EARLY + LATER:
            for row in scored(made, at, priors, runs):
                rows.append({"builder": newcomers * number + i, "club": number} | row)
    return rows


def report(found: pd.DataFrame, given: argparse.Namespace) -> list[str]:
    """The lines of the page."""
    early = found.loc[found["at"].isin(EARLY)]
    score = early.pivot_table(index="club", columns="priors", values="crps")
    better = (
        f"{(score[str(s)] < score[BUILT_IN]).sum()} of {len(score)} with {s} members" for s in given.members
    )
    return [
        "# Pooled priors, over many clubs",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        f"{found['club'].nunique()} invented clubs, each with a guide, a rate of learning and habits of its",
        "own, drawn from the built-in priors; builds of about 80 tasks. Mean CRPS of the finish of the whole",
        "build, in days, and its ratio (+- one standard error over builders) to that with the built-in",
        "priors. `80 %`: share of finishes inside the central 80 % range.",
        "",
        *table(found, np.random.default_rng(given.seed)),
        "Clubs whose first tenth is forecast better than with the built-in priors:",
        f"{', '.join(better)}.",
    ]


def main() -> None:
    """Run the study, or one part of it; write its page when every club is finished."""
    parser = parser_of(__doc__, resumable=True, clubs=24, newcomers=2, runs=300, seed=20261128)
    parser.add_argument("--members", type=int, nargs="+", default=[5, 50], help="sizes (default: 5 50)")
    parser.add_argument("--to", default="pooled_clubs.md", help="page to write (default: pooled_clubs.md)")
    given = parser.parse_args()
    sizes = tuple(given.members)
    parts = [(given.seed, n, given.newcomers, sizes, given.runs) for n in range(given.clubs)]
    found = resuming.run_parts(parts, build_cases, given)
    if found is not None:
        write_page(__file__, report(found, given), Path(__file__).with_name(given.to))


if __name__ == "__main__":
    main()
