"""How good the kernel's rule of picking in row order is, and how often more hours make it later.

On random networks of 30 tasks for two full-time builders, with rows in the order of the longest path,
the makespan is compared with the optimum that CP-SAT proves (on average within 5 %, never below), and with
the bounds of list scheduling (Graham 1969, SIAM J. Applied Math. 17). More hours of the same builders can
make a schedule by fixed preference later: Graham's anomalies. They are counted here.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from benchmarks.yardsticks.optimum import (
    by_longest_path,
    least_makespan,
    least_makespan_shared,
    longest_path_after,
    played_makespan,
    random_case,
)  # fmt: skip
from forecast.simulate.network import Network, simulate_schedule
from tests.schedule_cases import random_draws, random_network

TASKS = 30
PENALTY = 1.14


def compare_with_optimum(networks: int, two_share: float, seed: int) -> dict[str, float]:
    """Makespan by the rule over the proven optimum (or its proven lower bound), on average and at worst."""
    rng = np.random.default_rng(seed)
    longest_first, as_it_comes, proven, over_bound = [], [], 0, 0
    for _ in range(networks):
        case = random_case(TASKS, rng, two_share=two_share)
        best, is_proven = least_makespan(case)
        proven += is_proven
        played = played_makespan(by_longest_path(case))
        longest_first.append(played / best)
        as_it_comes.append(played_makespan(case) / best)
        path, total = float(longest_path_after(case).max()), float(sum(case.hours))
        over_bound += two_share == 0 and played > total / 2 + path / 2 + 1e-9
    return {
        "mean": float(np.mean(longest_first)),
        "worst": float(np.max(longest_first)),
        "best": float(np.min(longest_first)),
        "mean_as_it_comes": float(np.mean(as_it_comes)),
        "proven": float(proven),
        "over_bound": float(over_bound),
    }


def compare_sharing(networks: int, reach: int, seed: int) -> dict[str, float]:
    """Makespan over the least with sharing from end to end or not at all: when idle, and when it pays."""
    rng = np.random.default_rng(seed)
    idle, pays, proven = [], [], 0
    for _ in range(networks):
        case = random_case(TASKS, rng, two_share=0.05, either_share=0.5, reach=reach)
        best, is_proven = least_makespan_shared(case, PENALTY, seconds=10.0)
        proven += is_proven
        idle.append(played_makespan(case, penalty=PENALTY) / best)
        pays.append(played_makespan(case, penalty=PENALTY, weighs=True) / best)
    change = np.array(pays) / np.array(idle) - 1
    return {
        "proven": proven,
        "idle": float(np.mean(idle)),
        "pays": float(np.mean(pays)),
        "sooner": float(np.sum(change < -1e-9)),
        "later": float(np.sum(change > 1e-9)),
        "worst": float(change.max()),
    }


def count_anomalies(networks: int, runs: int, more: float, seed: int) -> tuple[float, float, float]:
    """Share of runs that more hours make later by over half a day, their mean delay, and the mean gain."""
    rng = np.random.default_rng(seed)
    changes = []
    for _ in range(networks):
        network = random_network(TASKS, rng, limits=False)
        draws = random_draws(network, runs, 400, 2, rng)
        changes.append(_change(network, draws, more))
    days = np.concatenate(changes)
    later = days[days > 0.5]
    return len(later) / len(days), float(later.mean()) if len(later) else 0.0, float(-days.mean())


def _change(network: Network, draws: dict, more: float) -> np.ndarray:
    """(run,) days by which the build is later when everybody stays longer by a share of their hours."""
    usual = simulate_schedule(network, **draws).build_finish
    longer = simulate_schedule(network, **{**draws, "bench": draws["bench"] * (1 + more)}).build_finish
    done = np.isfinite(usual) & np.isfinite(longer)
    return longer[done] - usual[done]


def table(networks: int, seed: int) -> list[str]:
    """The lines of row_order.md."""
    lines = [
        "# Picking in row order",
        "",
        f"`python -m benchmarks.skill.row_order --networks {networks} --seed {seed}`",
        "",
        f"Makespan of {networks} random networks of {TASKS} tasks for two builders over the optimum.",
        "",
        "| two-person tasks | proven | mean | worst | least | rows as they come | over Graham's bound |",
        "|---|---|---|---|---|---|---|",
    ]
    for share in (0.0, 0.05, 0.1):
        found = compare_with_optimum(networks, share, seed)
        lines.append(
            f"| {share:.0%} | {found['proven']:.0f} | {found['mean']:.4f} | {found['worst']:.3f} | "
            f"{found['best']:.3f} | {found['mean_as_it_comes']:.3f} | {found['over_bound']:.0f} |"
        )
        print(lines[-1], flush=True)
    lines += sharing_lines(networks // 3, seed)
    lines += [
        "",
        "Everybody stays longer: how often that makes the finish later by more than half a day.",
        "",
    ]
    lines += [
        "| longer by | runs made later | mean delay of those, days | mean gain of all, days |",
        "|---|---|---|---|",
    ]
    for more in (0.05, 0.1, 0.25, 0.5):
        share, delay, gain = count_anomalies(networks, 200, more, seed)
        lines.append(f"| {more:.0%} | {share:.1%} | {delay:.1f} | {gain:.1f} |")
        print(lines[-1], flush=True)
    return lines


def sharing_lines(networks: int, seed: int) -> list[str]:
    """The part of row_order.md on sharing."""
    lines = [
        "",
        f"Half of the tasks may be shared at {PENALTY} times the person-hours; {networks} networks each, "
        "rows as they come. Makespan over the least (each task shared from end to end or not at all; the "
        "kernel may share a part), when two share only while nothing else is ready, and when they also do "
        "where it pays.",
        "",
        "| after up to two of the last | proven | when idle | when it pays | sooner | later | worst change |",
        "|---|---|---|---|---|---|---|",
    ]
    for reach in (2, 3, 8):
        found = compare_sharing(networks, reach, seed)
        lines.append(
            f"| {reach} | {found['proven']:.0f} | {found['idle']:.4f} | {found['pays']:.4f} | "
            f"{found['sooner']:.0f} | {found['later']:.0f} | {found['worst']:+.1%} |"
        )
        print(lines[-1], flush=True)
    return lines


def main() -> None:
    """Measure and write row_order.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--networks", type=int, default=60)
    parser.add_argument("--seed", type=int, default=3)
    args = parser.parse_args()
    lines = table(args.networks, args.seed)
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
