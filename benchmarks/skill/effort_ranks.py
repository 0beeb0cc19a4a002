"""Simulation-based calibration of the effort model: the rank of every true parameter among its draws.

    python -m benchmarks.skill.effort_ranks [--builds 500] [--seed 7]

Parameters are drawn from the model's own priors, and logs from those parameters. If the sampler is right,
each true value is equally likely to have any rank among its posterior draws (Talts, Betancourt, Simpson,
Vehtari & Gelman, "Validating Bayesian inference algorithms with simulation-based calibration", 2018, arXiv
1804.06788). The page has a chi-square test of the binned ranks; a small p reveals an error.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
from scipy.special import gammaincc

from benchmarks.command_line import parser_of
from benchmarks.pages import markdown, write_page
from forecast.learn.effort.design import EffortDesign, build_design
from forecast.learn.effort.draws import LOG_EXCESS, OpenEvidence
from forecast.learn.effort.posterior import draw_posterior
from forecast.learn.effort.priors import (
    DRIFT_TASKS,
    HALF_T_DEGREES,
    SPREADS,
    SPREADS_APART,
    TAIL_DEGREES,
    TAIL_WEIGHTS,
    EffortPriors,
)
from forecast.learn.progress import Progress

_BINS = 10  # with 500 builds, 50 ranks are expected in each: enough for a chi-square test


def half_t(rng: np.random.Generator, scale: float) -> float:
    """One draw of a half-t variable as in the priors, at most five times its scale."""
    while (value := abs(rng.standard_t(HALF_T_DEGREES))) > 5.0:
        pass
    return float(scale * value)


def random_plan(rng: np.random.Generator, count: int, types: int, finished: int) -> pd.DataFrame:
    """The tasks frame of a build before any hours are known, with pairs and unplanned rows."""
    quantity = rng.integers(1, 25, size=count).astype(float)
    repeat_of = np.full(count, "", dtype=object)
    for i in rng.choice(np.arange(1, count), size=count // 4, replace=False):
        repeat_of[i] = f"T{rng.integers(i)}"
    frame = pd.DataFrame(
        {
            "task": [f"T{i}" for i in range(count)],
            "type": [f"k{k}" for k in rng.integers(types, size=count)],
            "crew": "either",
            "repeat_of": repeat_of,
            "quantity": quantity,
            "planned_hours": np.where(
                rng.random(count) < 0.2, np.nan, np.exp(rng.normal(np.log(4), 0.8, count))
            ),
            "position": np.arange(count),
            "done": np.arange(count) < finished,
            "hours_first": np.where(np.arange(count) < finished, 1.0, 0.0),
            "shared_fraction": np.where(rng.random(count) < 0.3, rng.random(count), 0.0),
            "idle_days": np.nan,
        }
    )
    return frame.assign(pieces_before=frame.groupby("type")["quantity"].cumsum() - frame["quantity"])


def _progress(tasks: pd.DataFrame) -> Progress:
    empty = pd.DataFrame({"task": pd.Series([], dtype="str"), "done": pd.Series([], dtype=bool)})
    return Progress(tasks=tasks, reports=empty, sessions=empty, outside=empty, as_of=date(2026, 1, 1))


def draw_truth(design: EffortDesign, priors: EffortPriors, rng: np.random.Generator) -> dict:
    """One value of every parameter from the priors."""
    types = len(design.types)
    scales = {
        "level": priors.type_level_scale,
        "learning": priors.type_learning_scale,
        "rate": priors.type_rate_scale,
        "pair": priors.pair_scale,
        "drift": priors.drift_scale,
    }
    truth: dict = {f"{name}_scale": half_t(rng, s) for name, s in scales.items()}
    truth["fixed"] = np.array([rng.normal(p.centre, p.sd) for p in design.fixed_priors])
    truth["type_level"] = rng.normal(0, truth["level_scale"], types)
    truth["type_learning"] = rng.normal(0, truth["learning_scale"], types)
    truth["type_rate"] = rng.normal(0, truth["rate_scale"], types)
    truth["pair"] = rng.normal(0, truth["pair_scale"], design.pairs)
    truth["drift_step"] = float(np.exp(-1.0 / rng.choice(DRIFT_TASKS)))
    step = truth["drift_step"] ** design.block_tasks
    level = rng.normal(0, truth["drift_scale"])
    drift = []
    for _ in range(int(design.block_of.max()) + 1):
        drift.append(level)
        level = step * level + truth["drift_scale"] * np.sqrt(1 - step**2) * rng.normal()
    truth["drift"] = np.array(drift)
    truth |= _draw_spreads(types, priors, rng)
    truth["spread_by_size"] = rng.normal(priors.spread_by_size.centre, priors.spread_by_size.sd)
    truth["unplanned_spread"] = abs(rng.normal(0, 0.3))
    truth["tail"] = rng.choice(TAIL_DEGREES, p=TAIL_WEIGHTS)
    return truth


def _draw_spreads(types: int, priors: EffortPriors, rng: np.random.Generator) -> dict:
    """Spreads of the types, redrawn until they are inside the sampler's grid."""
    while True:
        mean, apart = (
            rng.normal(priors.log_spread.centre, priors.log_spread.sd),
            half_t(rng, priors.type_spread_scale),
        )
        spread = np.exp(rng.normal(mean, apart, types))
        if apart > SPREADS_APART[0] and spread.min() > SPREADS[0] and spread.max() < SPREADS[1]:
            return {"mean_spread": mean, "type_spread": apart, "spread": spread}


def log_hours(design: EffortDesign, truth: dict, rng: np.random.Generator) -> np.ndarray:
    """(task,) log first-time hours of every task under these parameters."""
    kind = design.type_of
    mean = design.offset + design.fixed @ truth["fixed"] + truth["type_level"][kind]
    mean += truth["type_learning"][kind] * design.log_piece + truth["type_rate"][kind] * design.unplanned
    member = design.pair_of >= 0
    mean[member] += truth["pair"][design.pair_of[member]]
    mean += truth["drift"][design.block_of]
    spread = truth["spread"][kind] * np.exp(
        -truth["spread_by_size"] * design.size + truth["unplanned_spread"] * design.unplanned
    )
    residual = rng.standard_normal(len(mean)) / np.sqrt(
        rng.gamma(truth["tail"] / 2, size=len(mean)) * 2 / truth["tail"]
    )
    return mean + spread * residual


def ranks_of_build(
    rng: np.random.Generator, count: int, types: int, draws: int, thin: int
) -> dict[str, float]:
    """Ranks (0 to 1) of the true parameters of one build among their posterior draws.

    Parameters
    ----------
    rng : source of parameters, log and draws
    count, types : tasks, and types of work
    draws, thin : posterior draws that are compared, one in `thin` of those drawn
    """
    priors = EffortPriors()
    finished = int(count * 0.7)
    tasks = random_plan(rng, count, types, finished)
    design = build_design(_progress(tasks), priors)
    truth = draw_truth(design, priors, rng)
    y = log_hours(design, truth, rng)
    seen = np.arange(count) < finished
    floor = np.where(rng.random(count) < 0.15, rng.normal(np.log(3.0), 1.0, count), np.inf)
    open_ = seen & (floor < y)
    design = replace(
        design,
        finished=seen & ~open_,
        under_way=open_,
        reopened=np.zeros(count, dtype=bool),
        log_hours=np.where(open_, floor, np.where(seen, y, -np.inf)),
    )
    evidence = OpenEvidence(
        log_floor=floor[open_], report_log_density=np.zeros((int(open_.sum()), len(LOG_EXCESS)))
    )
    post = draw_posterior(design, priors, evidence, rng, draws=draws * thin, warm_up=200)
    at = np.arange(0, draws * thin, thin)
    ranks = {}

    def rank(name: str, values: np.ndarray, true: float) -> None:
        below, same = np.sum(values[at] < true), np.sum(values[at] == true)
        ranks[name] = float((below + rng.integers(same + 1)) / len(at))

    for i, name in enumerate(design.fixed_names):
        rank(name, post.fixed[:, i], truth["fixed"][i])
    for k in range(2):
        rank(f"type_level {k}", post.type_level[:, k], truth["type_level"][k])
        rank(f"type_learning {k}", post.type_learning[:, k], truth["type_learning"][k])
        rank(f"type_rate {k}", post.type_rate[:, k], truth["type_rate"][k])
        rank(f"spread {k}", post.spread[:, k], truth["spread"][k])
    for name in ("level", "learning", "rate", "pair"):
        rank(f"{name}_scale", post.scales[name], truth[f"{name}_scale"])
    rank("drift_scale", post.drift_scale, truth["drift_scale"])
    rank("drift_step", post.drift_step, truth["drift_step"])
    rank("level_now", post.drift[:, -1], truth["drift"][design.block_of[design.observed_rows].max()])
    rank("mean_spread", post.mean_spread, truth["mean_spread"])
    rank("type_spread", post.type_spread, truth["type_spread"])
    rank("spread_by_size", post.spread_by_size, truth["spread_by_size"])
    rank("unplanned_spread", post.unplanned_spread, truth["unplanned_spread"])
    rank("tail", post.tail, truth["tail"])
    rank("pair 0", post.pair[:, 0], truth["pair"][0])
    return ranks


def uniform_p(ranks: np.ndarray) -> float:
    """p-value of a chi-square test that ranks are uniform on 0 to 1.

    Parameters
    ----------
    ranks : (build,)

    Examples
    --------
    >>> float(uniform_p((np.arange(100) + 0.5) / 100))
    1.0
    """
    counts = np.histogram(ranks, bins=_BINS, range=(0, 1 + 1e-9))[0]
    expected = len(ranks) / _BINS
    chi2 = float(((counts - expected) ** 2 / expected).sum())
    return float(gammaincc((_BINS - 1) / 2, chi2 / 2))


def main() -> None:
    """Run the study and write effort_ranks.md."""
    given = parser_of(__doc__, builds=500, seed=7).parse_args()
    streams = np.random.default_rng(given.seed).spawn(given.builds)
    found = pd.DataFrame([ranks_of_build(rng, 60, 4, 60, 10) for rng in streams])
    rows = []
    for name, column in found.items():
        ranks = column.to_numpy()
        outer = float(np.mean((ranks < 0.1) | (ranks > 0.9)))
        rows.append([str(name), f"{ranks.mean():.3f}", f"{outer:.3f}", f"{uniform_p(ranks):.3f}"])
    lines = [
        "# Ranks of the true parameters among their draws",
        "",
        f"{given.builds} builds drawn from the priors, seed {given.seed}.",
        "",
        *markdown(["parameter", "mean rank", "in the outer fifths", "p"], rows),
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
