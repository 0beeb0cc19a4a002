"""The weight of built-in priors beside pooled ones: every weight is scored from one pass of fits.

    python -m benchmarks.skill.pooled_weight [--seeds 7 11] [--newcomers 20] [--strangers 12]
                                             [--cases FILE] [--part 1/2]

The clubs are those of pooled_priors.py, with other seeds, so that the weight is chosen on one set of builds
and judged on another. Each build is forecast with effort and habits of both fits, in all four combinations,
and the evidence of the log for either is recorded. The CRPS of a mixture follows from the distances within
and between its parts, for any weight.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import logit

from benchmarks import resuming
from benchmarks.command_line import command_of, parser_of
from benchmarks.pages import markdown, ratio_and_error, resamples, versions, write_page
from benchmarks.resuming import ResumableCases
from benchmarks.skill.pooled_priors import CUTS, EARLY, LATER, Pools, alone, builder_of
from forecast.learn.mixture import pooled_weight
from forecast.learn.pooled_priors import PooledPriors
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import Fitted, fit_build
from forecast.simulate.settings import Settings

WEIGHTS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.5)
SIZES = {"newcomer": (5, 50, 500), "unlike": (50, 500)}
RUNS = 300
_LONGEST_DAYS = 15 * 365  # as in pooled_priors.py


def build_cases(pools: Pools, sort: str, number: int) -> Iterator[dict[str, Any]]:
    """One row per cut and size of pool, from which every weight can be scored."""
    made = builder_of(sort, number, pools.seed)
    settings = Settings(runs=RUNS, seed=made.seed)
    for at in CUTS[sort]:
        as_of = made.cut(at)
        known, actual = made.as_known_on(as_of), (made.truth.build_finish - as_of).days
        built_in = fit_build(known, as_of, settings)
        plain = _days(built_in, settings)
        for size in SIZES[sort]:
            priors = alone(pools.pooled(number, size))
            pooled = fit_build(known, as_of, replace(settings, priors=priors))
            even = fit_build(known, as_of, replace(settings, priors=_evenly(priors)))
            mixed = (replace(pooled, bench=built_in.bench), replace(built_in, bench=pooled.bench))
            parts = np.array([_days(pooled, settings), *(_days(m, settings) for m in mixed), plain])
            distance, apart = distances(parts, min(actual, _LONGEST_DAYS))
            yield {
                "seed": pools.seed,
                "sort": sort,
                "builder": number,
                "at": at,
                "size": size,
                "effort": _log_odds(even.effort.pooled_weight_),
                "bench": _log_odds(even.bench.pooled_weight_),
                "distance": distance.tolist(),
                "apart": apart.tolist(),
            }


def _days(fitted: Fitted, settings: Settings) -> np.ndarray:
    return np.minimum(np.ceil(simulate_build(fitted, settings).days(None)), _LONGEST_DAYS)


def _evenly(priors: PooledPriors) -> PooledPriors:
    """Both priors with equal weight: the posterior weight then measures the evidence of the log."""
    return replace(
        priors,
        effort=replace(priors.effort, built_in_weight=0.5),
        bench=replace(priors.bench, built_in_weight=0.5),
    )


def _log_odds(weight: float) -> float:
    return float(logit(np.clip(weight, 1e-15, 1 - 1e-15)))  # a weight of 0 or 1 has no odds


def distances(parts: np.ndarray, actual: float) -> tuple[np.ndarray, np.ndarray]:
    """The terms from which the CRPS of any mixture of the parts follows.

    Parameters
    ----------
    parts : (part, draw) days
    actual : days

    Returns
    -------
    (part,) mean distance of draws from the actual value, and (part, part) mean distance of draws from each
    other; a draw is not compared with itself

    Examples
    --------
    >>> distance, apart = distances(np.array([[1.0, 3.0], [2.0, 2.0]]), 2.0)
    >>> distance.tolist(), apart.tolist()
    ([1.0, 0.0], [[2.0, 1.0], [1.0, 0.0]])
    """
    count, draws = parts.shape
    apart = np.array([[np.abs(a[:, None] - b).mean() for b in parts] for a in parts])
    apart[np.diag_indices(count)] *= draws / (draws - 1)
    return np.abs(parts - actual).mean(axis=1), apart


def mixed_score(case: dict[str, Any], built_in_weight: float) -> float:
    """CRPS of the mixture when the built-in priors have this weight before the log.

    Examples
    --------
    >>> case = {"effort": 0.0, "bench": 0.0, "distance": [1, 1, 1, 3], "apart": np.zeros((4, 4))}
    >>> mixed_score(case, 0.0), mixed_score(case, 0.5)
    (1.0, 1.5)
    """
    effort, bench = (pooled_weight(case[part], built_in_weight) for part in ("effort", "bench"))
    weight = np.outer([effort, 1 - effort], [bench, 1 - bench]).ravel()
    return float(weight @ case["distance"] - 0.5 * weight @ np.asarray(case["apart"]) @ weight)


def built_in_score(case: dict[str, Any]) -> float:
    """CRPS with the built-in priors alone."""
    return float(case["distance"][-1] - 0.5 * case["apart"][-1][-1])


def table(found: pd.DataFrame, rng: np.random.Generator) -> list[str]:
    """A Markdown table of mean CRPS as a ratio to the built-in priors, one row per stage and size."""
    stages = (("first 10 %", found["at"].isin(EARLY)), ("later", found["at"].isin(LATER)))
    rows = []
    for (name, chosen), size in itertools.product(stages, sorted(found["size"].unique())):
        part = found.loc[chosen & (found["size"] == size)]
        by_builder = part.groupby(["seed", "builder"])[["built in", *WEIGHTS]].sum()
        index = resamples(len(by_builder), rng)
        built_in = by_builder[["built in"]].to_numpy()
        ratios = [ratio_and_error(by_builder[[w]].to_numpy(), built_in, index) for w in WEIGHTS]
        cells = [name, str(size), str(len(by_builder)), f"{part['built in'].mean():.0f}"]
        cells += [f"{ratio:.3f}" for ratio, _ in ratios]
        rows.append([*cells, f"{ratios[0][1]:.2f}", _between(part["effort"]), _between(part["bench"])])
    heads = ["at", "pooled", "builders", "CRPS, built in", *(f"{100 * w:.0f} %" for w in WEIGHTS), "+-"]
    return [*markdown([*heads, "log odds of effort, 10 to 90 %", "of habits"], rows), ""]


def _between(values: pd.Series) -> str:
    return f"{values.quantile(0.1):.1f} to {values.quantile(0.9):.1f}"


def report(found: pd.DataFrame, given: argparse.Namespace) -> list[str]:
    """The lines of pooled_weight.md."""
    rng = np.random.default_rng(0)
    cases = found.to_dict("records")
    scores = [{w: mixed_score(c, w) for w in WEIGHTS} | {"built in": built_in_score(c)} for c in cases]
    frame = pd.concat([found, pd.DataFrame(scores)], axis=1)
    return [
        "# The weight of built-in priors beside pooled ones",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'pandas', 'scipy', 'numba')}.",
        "",
        "Builds as in pooled_priors.md, with other seeds. Each column gives the built-in priors this weight",
        "before the log: the ratio of mean CRPS to that with the built-in priors alone, all from the same",
        "fits. `+-`: standard error over builders of the first of them (the columns share their builds, so",
        "they differ by far less). Log odds: evidence of the log for the pooled priors. The weight that was",
        "chosen, and why: forecast/learn/pooled_priors.py.",
        "",
        "## Newcomers to the club",
        "",
        *table(frame.loc[frame["sort"] == "newcomer"], rng),
        "## Builders unlike the club",
        "",
        *table(frame.loc[frame["sort"] == "unlike"], rng),
    ]


def main() -> None:
    """Run the study, or one part of it; write pooled_weight.md when every builder is finished."""
    parser = parser_of(__doc__, resumable=True, newcomers=20, strangers=12)
    parser.add_argument("--seeds", type=int, nargs="+", default=[7, 11], help="of clubs (default: 7 11)")
    given = parser.parse_args()
    pools = {seed: Pools(seed, ResumableCases(given.cases, {})) for seed in given.seeds}
    counts = {"unlike": given.strangers, "newcomer": given.newcomers}
    parts = [(seed, sort, n) for seed in given.seeds for sort, count in counts.items() for n in range(count)]
    found = resuming.run_parts(parts, lambda seed, *part: list(build_cases(pools[seed], *part)), given)
    if found is not None:
        write_page(__file__, report(found, given))


if __name__ == "__main__":
    main()
