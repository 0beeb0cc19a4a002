"""What pooled priors are worth over many clubs, each with a guide and habits of its own.

    python -m benchmarks.many_clubs [--clubs 24] [--newcomers 2] [--members 5 50] [--to many_clubs.md]

many_large_clubs.md was made with --clubs 4 --newcomers 6 --members 5 50 500 --to many_large_clubs.md.

many_priors.py looks at one club from all sides. How much others' logs help hangs on how far a club lies
from what the program believes of builders anywhere, so here clubs are drawn from that belief, where it
speaks of what a build is invented from, and habits are drawn around those of published logs. Priors pooled
from some of the members stand beside the built-in ones for newcomers to each club.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from importlib.metadata import version
from math import exp, log
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from benchmarks.invented.workshop.random_kit import TYPES
from benchmarks.many_priors import (
    BUILT_IN,
    EARLY,
    EVENINGS,
    LATER,
    WEEKENDS,
    Like,
    member,
    said_by,
    scored,
    table,
)
from forecast.learn.effort import EffortPriors, Normal
from forecast.learn.pooled_priors import PooledPriors
from forecast.many.pool import CLUB_SHARE, pool_priors

# What members of a club are not believed to be apart by is left for clubs.
BETWEEN_CLUBS = (1 - CLUB_SHARE**2) ** 0.5


def draw_club(seed: int, number: int) -> Like:
    """A club whose centre is drawn from what is believed of builders anywhere."""
    rng = np.random.default_rng([seed, 10, number])
    believed = EffortPriors()

    def centre(of: Normal) -> float:
        return float(rng.normal(of.centre, BETWEEN_CLUBS * of.sd))

    effects = believed.type_level_scale * rng.standard_normal(len(TYPES))
    weekend = rng.random()
    return Like(
        level=centre(believed.level),
        learning=min(centre(believed.learning), 0.0),
        repeat=min(centre(believed.repeat), 0.1),
        rework=float(rng.uniform(0.03, 0.2)),
        day_chance=tuple(np.average([WEEKENDS, EVENINGS], axis=0, weights=[weekend, 1 - weekend]).tolist()),
        session_hours=exp(rng.normal(log(2.9), 0.4)),
        stop_chance=exp(rng.normal(log(0.165), 0.3)),
        long_chance=0.05,
        type_effect=dict(zip(TYPES, effects.tolist(), strict=True)),
    )


def club_cases(
    seed: int, number: int, newcomers: int, sizes: Sequence[int], runs: int
) -> list[dict[str, object]]:
    """The scores of every forecast for the newcomers to one club."""
    like, first = draw_club(seed, number), seed + 100_000 * (number + 1)
    said = [said_by(member(like, first + number)) for number in range(max(sizes))]
    rows = []
    for i in range(newcomers):
        made = member(like, first + 50_000 + i)
        priors: dict[str, PooledPriors | None] = {BUILT_IN: None}
        for size in sizes:
            begin = size * (i % (len(said) // size))
            priors[str(size)] = pool_priors(said[begin : begin + size])
        for at in EARLY + LATER:
            for row in scored(made, at, priors, runs):
                rows.append({"builder": newcomers * number + i, "club": number} | row)
    return rows


def report(found: pd.DataFrame, words: str, sizes: Sequence[int], seed: int) -> str:
    """The whole page."""
    versions = ", ".join(f"{p} {version(p)}" for p in ("numpy", "pandas", "scipy", "numba"))
    early = found.loc[found["at"].isin(EARLY)]
    score = early.pivot_table(index="club", columns="priors", values="crps")
    lines = [
        "# Pooled priors, over many clubs",
        "",
        f"`python -m benchmarks.many_clubs {words}`; {versions}.",
        "",
        f"{found['club'].nunique()} invented clubs, each with a guide, a rate of learning and habits of",
        "its own, drawn from what the program believes of builders anywhere; builds of about 80 tasks. Mean",
        "CRPS of the day on which the whole build is finished, in days, and its ratio (+- one standard error",
        "over builders) to that with the built-in priors. `80 %`: how often the central 80 % range held.",
        "",
        *table(found, np.random.default_rng(seed)),
        "Clubs in which the first tenth is foretold better than with the built-in priors:",
        ", ".join(
            f"{(score[str(s)] < score[BUILT_IN]).sum()} of {len(score)} with {s} members" for s in sizes
        )
        + ".",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run the study and write many_clubs.md."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--clubs", type=int, default=24)
    parser.add_argument("--newcomers", type=int, default=2)
    parser.add_argument("--members", type=int, nargs="+", default=[5, 50])
    parser.add_argument("--to", default="many_clubs.md")
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=20261128)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    jobs = (
        delayed(club_cases)(asked.seed, n, asked.newcomers, asked.members, asked.runs)
        for n in range(asked.clubs)
    )
    rows: list[dict[str, object]] = []
    for done in Parallel(n_jobs=asked.workers, return_as="generator")(jobs):
        rows += done
        print(f"{int(str(rows[-1]['club'])) + 1} of {asked.clubs} clubs", flush=True)
    members = " ".join(map(str, asked.members))
    words = f"--clubs {asked.clubs} --newcomers {asked.newcomers} --members {members}"
    words += f" --runs {asked.runs} --seed {asked.seed}"
    page = report(pd.DataFrame(rows), words, asked.members, asked.seed)
    print(page)
    Path(__file__).with_name(asked.to).write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
