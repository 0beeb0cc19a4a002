"""Does a term of the effort model earn its place? Forgetting over breaks, with and without it in truth.

Builds in which the builder now and then stops for months, half of them by somebody who forgets and half
by somebody who does not (see effort_builds). Each is forecast without the term, with the half-life that
is true of those who forget, and with one three times as long, on the same chance. On by default only if
it helps where it is true by more than it harms where it is not.

    python -m benchmarks.skill.forgetting --builds 60
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.invented.effort_builds import BREAK_KINDS, HALF_DAYS, draw_build
from benchmarks.kept_rows import kept_rows
from benchmarks.skill.effort import as_markdown, versions
from forecast.learn.effort import EffortModel
from forecast.questions.scores import crps

SHARES = (0.25, 0.50, 0.75)
TERMS = {"none": None, "35 days": HALF_DAYS, "105 days": 3 * HALF_DAYS}
_DRAWS = 2000
_SWEEPS = {"draws": 200, "warm_up": 100}


def study_build(kind: str, build: int, seed: int) -> list[dict]:
    """One row a point of the build and setting of the term."""
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
    """Mean CRPS without the term, and what each half-life adds to it, build by build, with its error."""
    by = ["builder", "share"]
    wide = frame.pivot_table(index=[*by, "build"], columns="half-life", values="crps", sort=False)
    out = wide[["none"]].groupby(by, sort=False).mean().round(2)
    for name in list(TERMS)[1:]:
        more = (wide[name] - wide["none"]).groupby(by, sort=False)
        mean, error = more.mean(), more.std() / np.sqrt(more.size())
        out[f"{name}: more by"] = [f"{m:+.2f} ± {e:.2f}" for m, e in zip(mean, error, strict=True)]
    return out


def main() -> None:
    """Measure and write forgetting.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=150)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_suffix(".md"))
    parser.add_argument("--keep", type=Path, help="file of finished builds, to go on from")
    settings = parser.parse_args()
    parts = [(kind, build, settings.seed) for build in range(settings.builds) for kind in BREAK_KINDS]
    frame = pd.DataFrame([row for found in kept_rows(settings.keep, parts, study_build) for row in found])
    text = "\n".join(
        [
            "# Forgetting over breaks",
            "",
            f"{settings.builds} builds of each builder, seed {settings.seed}; {versions()}. CRPS of the",
            "remaining total in percent of the truth when nothing is forgotten, and what the half-life of",
            "practice that the model is given adds to it (less than 0 is better; ± one standard error of the",
            f"difference, build by build). {HALF_DAYS:.0f} days is true of those who forget.",
            "",
            as_markdown(table(frame)),
            "",
        ]
    )
    settings.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
