"""Does forgetting over breaks earn its place in the effort model?

    python -m benchmarks.skill.forgetting [--builds 24] [--seed 21] [--cases FILE] [--part 1/2]

In half of the builds the builder forgets during breaks of months, in the other half not
(benchmarks/invented/effort_builds.py). Each is forecast without forgetting, with the half-life that is true
of those who forget, and with one three times as long, on the same random numbers. The term would be on by
default only if it gained more where it is true than it lost where it is not.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from benchmarks import resuming
from benchmarks.command_line import parser_of
from benchmarks.invented.effort_builds import BREAK_KINDS, HALF_DAYS, draw_build
from benchmarks.pages import markdown_of, versions, write_page
from benchmarks.skill.effort import LIBRARIES
from forecast.learn.effort import EffortModel
from forecast.questions.scores import crps

SHARES = (0.25, 0.50, 0.75)
TERMS = {"none": None, "35 days": HALF_DAYS, "105 days": 3 * HALF_DAYS}
_DRAWS = 2000
_SWEEPS = {"draws": 200, "warm_up": 100}


def build_cases(kind: str, build: int, seed: int) -> list[dict]:
    """One row per point of the build and half-life."""
    made = draw_build(kind, np.random.default_rng([seed, BREAK_KINDS.index(kind), build]))
    rows = []
    for share in SHARES:
        finished = round(share * len(made.hours))
        truth = made.hours[finished:].sum()
        for name, half_days in TERMS.items():
            own = np.random.default_rng([seed, build, finished])
            model = EffortModel(half_days=half_days, **_SWEEPS).fit(made.progress(finished), own)
            draws = model.sample_first_time_hours(_DRAWS, own).sum(axis=1)
            score = float(crps(draws, truth, estimator="fair")) / truth
            rows.append(
                {"builder": kind, "build": build, "share": share, "half-life": name, "crps": 100 * score}
            )
    return rows


def table(frame: pd.DataFrame) -> pd.DataFrame:
    """Mean CRPS without forgetting, and the mean difference with each half-life, with its error."""
    by = ["builder", "share"]
    wide = frame.pivot_table(index=[*by, "build"], columns="half-life", values="crps", sort=False)
    out = wide[["none"]].groupby(by, sort=False).mean().round(2)
    for name in list(TERMS)[1:]:
        more = (wide[name] - wide["none"]).groupby(by, sort=False)
        mean, error = more.mean(), more.std() / np.sqrt(more.size())
        out[f"{name}: more by"] = [f"{m:+.2f} ± {e:.2f}" for m, e in zip(mean, error, strict=True)]
    return out


def main() -> None:
    """Run the study, or one part of it; write forgetting.md when every build is finished."""
    given = parser_of(__doc__, resumable=True, builds=24, seed=21).parse_args()
    parts = [(kind, build, given.seed) for build in range(given.builds) for kind in BREAK_KINDS]
    found = resuming.run_parts(parts, build_cases, given, ("seed",))
    if found is None:
        return
    lines = [
        "# Forgetting over breaks",
        "",
        f"{given.builds} builds of each builder, seed {given.seed}; {versions(*LIBRARIES, python=True)}.",
        "CRPS of the remaining total in percent of the truth when the model assumes no forgetting, and the",
        "difference when it assumes this half-life of practice (below 0 is better; ± one standard error of",
        f"the difference over builds). For builders who forget, {HALF_DAYS:.0f} days is the truth.",
        "",
        *markdown_of(table(found)),
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
