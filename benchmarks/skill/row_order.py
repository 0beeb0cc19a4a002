"""How good the kernel's rule of taking ready tasks in row order is, and how often more hours cause a delay.

    python -m benchmarks.skill.row_order [--networks 60] [--seed 3]

On random networks of 30 tasks for two full-time builders, with rows in the order of the longest path, the
makespan is compared with the optimum that CP-SAT proves (target: on average within 5 %, never below it), and
with the bound of list scheduling (Graham 1969, SIAM J. Applied Math. 17). In any schedule by fixed priorities
more hours of the same builders can delay the finish (Graham's anomalies); they are counted here.
"""

from __future__ import annotations

import numpy as np

from benchmarks.command_line import command_of, parser_of
from benchmarks.pages import markdown, write_page
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
PENALTY = 1.14  # person-hours of a shared task, relative to one person alone: the built-in prior


def compare_with_optimum(networks: int, two_share: float, seed: int) -> dict[str, float]:
    """Makespan of the rule over the proven optimum (or its proven lower bound), on average and at worst."""
    rng = np.random.default_rng(seed)
    longest_first, random_order, proven, over_bound = [], [], 0, 0
    for _ in range(networks):
        case = random_case(TASKS, rng, two_share=two_share)
        best, is_proven = least_makespan(case)
        proven += is_proven
        played = played_makespan(by_longest_path(case))
        longest_first.append(played / best)
        random_order.append(played_makespan(case) / best)
        path, total = float(longest_path_after(case).max()), float(sum(case.hours))
        over_bound += two_share == 0 and played > total / 2 + path / 2 + 1e-9
    return {
        "mean": float(np.mean(longest_first)),
        "worst": float(np.max(longest_first)),
        "best": float(np.min(longest_first)),
        "mean_random_order": float(np.mean(random_order)),
        "proven": float(proven),
        "over_bound": float(over_bound),
    }


def compare_sharing(networks: int, reach: int, seed: int) -> dict[str, float]:
    """Makespan over the least of schedules that share whole tasks: sharing when idle, and where it pays."""
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
    """Share of runs that more hours delay by over half a day, their mean delay, and the mean gain of all."""
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
    """(run,) days by which the finish is later when everybody stays longer by this share of their hours."""
    usual = simulate_schedule(network, **draws).build_finish
    longer = simulate_schedule(network, **{**draws, "bench": draws["bench"] * (1 + more)}).build_finish
    done = np.isfinite(usual) & np.isfinite(longer)
    return longer[done] - usual[done]


def optimum_table(networks: int, seed: int) -> list[str]:
    """Makespan over the optimum, one row per share of two-person tasks."""
    rows = []
    for share in (0.0, 0.05, 0.1):
        found = compare_with_optimum(networks, share, seed)
        rows.append(
            [
                f"{share:.0%}",
                f"{found['proven']:.0f}",
                f"{found['mean']:.4f}",
                *(f"{found[name]:.3f}" for name in ("worst", "best", "mean_random_order")),
                f"{found['over_bound']:.0f}",
            ]
        )
    heads = ["two-person tasks", "proven", "mean", "worst", "least", "rows in random order"]
    return markdown([*heads, "over Graham's bound"], rows)


def sharing_table(networks: int, seed: int) -> list[str]:
    """Makespan over the optimum with sharing, one row per reach of predecessors."""
    rows = []
    for reach in (2, 3, 8):
        found = compare_sharing(networks, reach, seed)
        rows.append(
            [
                str(reach),
                f"{found['proven']:.0f}",
                *(f"{found[name]:.4f}" for name in ("idle", "pays")),
                *(f"{found[name]:.0f}" for name in ("sooner", "later")),
                f"{found['worst']:+.1%}",
            ]
        )
    heads = ["predecessors among the last", "proven", "when idle", "when it pays", "sooner", "later"]
    return markdown([*heads, "worst change"], rows)


def anomaly_table(networks: int, seed: int) -> list[str]:
    """How often more hours delay the finish, one row per share of additional hours."""
    rows = []
    for more in (0.05, 0.1, 0.25, 0.5):
        share, delay, gain = count_anomalies(networks, 200, more, seed)
        rows.append([f"{more:.0%}", f"{share:.1%}", f"{delay:.1f}", f"{gain:.1f}"])
    return markdown(
        ["longer by", "runs delayed", "mean delay of those, days", "mean gain of all, days"], rows
    )


def main() -> None:
    """Run the study and write row_order.md."""
    given = parser_of(__doc__, networks=60, seed=3).parse_args()
    networks, seed, sharing = given.networks, given.seed, max(given.networks // 3, 1)
    lines = [
        "# Tasks in row order",
        "",
        f"`{command_of(__file__, given)}`",
        "",
        f"Makespan of {networks} random networks of {TASKS} tasks for two builders, over the optimum.",
        "",
        *optimum_table(networks, seed),
        "",
        f"Half of the tasks may be shared at {PENALTY} times the person-hours; {sharing} networks each, rows",
        "in random order. Makespan over the least (each task shared from end to end or not at all;",
        "the kernel may share a part of a task), when two share only while nothing else is ready,",
        "and when they also share where it pays.",
        "",
        *sharing_table(sharing, seed),
        "",
        "Everybody stays longer: how often that delays the finish by more than half a day.",
        "",
        *anomaly_table(networks, seed),
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
