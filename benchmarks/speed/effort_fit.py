"""How long the effort fit takes, compared with a plain mixed model of the same finished tasks.

    python -m benchmarks.speed.effort_fit [--rounds 5]

The yardstick is statsmodels' MixedLM with a level and a learning slope per type: the closest model that a
library fits, without drift, pairs, open tasks, heavy tails, or draws. Both are timed in turn on one core,
several times over; the table has the medians.
"""

from __future__ import annotations

import statistics
import time
import warnings
from collections.abc import Callable

import numpy as np
from threadpoolctl import threadpool_limits

from benchmarks.command_line import parser_of
from benchmarks.invented.effort_builds import TrueBuild, draw_build
from benchmarks.pages import markdown, versions, write_page
from benchmarks.skill.effort import LIBRARIES
from forecast.learn.effort import EffortModel
from forecast.learn.effort.design import build_design
from forecast.learn.effort.priors import EffortPriors

SIZES = ((260, 16), (2000, 30))
_FINISHED = 0.5


def fit_ours(build: TrueBuild, finished: int) -> None:
    """The effort model, posterior draws included."""
    EffortModel().fit(build.progress(finished), np.random.default_rng(1))


def fit_mixed(build: TrueBuild, finished: int) -> None:
    """Level, size and learning, with a level and a learning slope per type, by REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    design = build_design(build.progress(finished), EffortPriors())
    rows = design.observed_rows
    own = np.column_stack([np.ones(len(rows)), design.log_piece[rows]])
    fixed = np.column_stack([own, design.size[rows]])
    y = design.log_hours[rows] - design.offset[rows]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # scales at their bounds do not change the time
        MixedLM(y, fixed, groups=design.type_of[rows], exog_re=own).fit()


def seconds(fit: Callable[[TrueBuild, int], None], build: TrueBuild, finished: int) -> float:
    """Processor time of one fit."""
    begun = time.process_time()
    fit(build, finished)
    return time.process_time() - begun


def main() -> None:
    """Run the study and write effort_fit.md."""
    rounds = parser_of(__doc__, rounds=5).parse_args().rounds
    rows = []
    with threadpool_limits(limits=1, user_api="blas"):
        for count, types in SIZES:
            build = draw_build("model", np.random.default_rng(2), count=count, types=types)
            finished = round(_FINISHED * count)
            seconds(fit_ours, build, finished), seconds(fit_mixed, build, finished)  # warm-up
            times = [[seconds(fit, build, finished) for fit in (fit_ours, fit_mixed)] for _ in range(rounds)]
            ours, mixed = (statistics.median(t) for t in zip(*times, strict=True))
            rows.append([str(count), str(finished), f"{ours:.2f}", f"{mixed:.2f}", f"{ours / mixed:.2f}"])
    lines = [
        "# Speed of the effort fit",
        "",
        f"{versions(*LIBRARIES, python=True)}; medians of {rounds} rounds in turn.",
        "",
        *markdown(["tasks", "finished", "effort fit, s", "mixed model, s", "ratio"], rows),
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
