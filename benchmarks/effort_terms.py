"""Does a term of the effort model earn its place? Forgetting over breaks, with and without it in truth.

Builds in which the builder now and then stops for months, half of them by somebody who forgets and half
by somebody who does not (see effort_builds). Each is forecast without the term, with the half-life that
is true of those who forget, and with one three times as long. On by default only if it helps where it
is true by more than it harms where it is not.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.effort_builds import BREAK_KINDS, HALF_DAYS, draw_build
from benchmarks.effort_skill import as_markdown, versions
from forecast.effort import EffortModel
from forecast.scores import crps

SHARES = (0.25, 0.50, 0.75)
TERMS = {"none": None, "35 days": HALF_DAYS, "105 days": 3 * HALF_DAYS}
_DRAWS = 2000


def study_build(kind: str, rng: np.random.Generator) -> list[dict]:
    """One row a point of the build and setting of the term."""
    build = draw_build(kind, rng)
    rows = []
    for share in SHARES:
        finished = round(share * len(build.hours))
        truth = build.hours[finished:].sum()
        for name, half_days in TERMS.items():
            own = np.random.default_rng(finished)
            model = EffortModel(half_days=half_days).fit(build.progress(finished), own)
            draws = model.sample_first_time_hours(_DRAWS, own).sum(axis=1)
            score = float(crps(draws, truth, estimator="fair")) / truth
            rows.append({"builder": kind, "share": share, "half-life": name, "crps": 100 * score})
    return rows


def main() -> None:
    """Measure and write effort_terms.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--builds", type=int, default=150)
    parser.add_argument("--seed", type=int, default=21)
    settings = parser.parse_args()
    rows = []
    for kind in BREAK_KINDS:
        for rng in np.random.default_rng([settings.seed, BREAK_KINDS.index(kind)]).spawn(settings.builds):
            rows += study_build(kind, rng)
    frame = pd.DataFrame(rows)
    mean = frame.pivot_table(index=["builder", "share"], columns="half-life", values="crps", sort=False)
    builds = frame.groupby(["builder", "share", "half-life"], sort=False)["crps"]
    error = (builds.std() / np.sqrt(settings.builds)).unstack("half-life")["none"]
    text = "\n".join(
        [
            "# Forgetting over breaks",
            "",
            f"{settings.builds} builds of each builder, seed {settings.seed}; {versions()}. CRPS of the",
            "remaining total in percent of the truth, by the half-life of practice that the model is given.",
            "",
            as_markdown(mean.round(2).assign(**{"standard error": error.round(2)})),
            "",
        ]
    )
    Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
