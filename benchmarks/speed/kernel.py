"""How fast the kernel of the schedule is, as ratios measured in one run.

    python -m benchmarks.speed.kernel [--runs 10000] [--tasks 500] [--event-runs 200] [--seed 1]

It is compared with the time that NumPy's Generator takes to draw the numbers that the kernel consumes
(target: at most 1.5) and with the same rules written plainly with simpy (target: at least 500, with equal
results on the same draws). Further targets: the time grows with tasks and with runs by log-log slopes of at
most 1.1, and a large build simulated in chunks needs less than 600 MB. The kernel is serial, so processor
time is counted, which other work on the machine disturbs least; the seconds of a first compilation are wall
time.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.command_line import command_of, parser_of
from benchmarks.pages import markdown, versions, write_page
from forecast.files.plan import Plan, Task
from forecast.simulate.network import Network, Simulation, network_of_untouched, simulate_schedule

ROOT = Path(__file__).resolve().parents[2]
CHUNK = 500  # as the program simulates
HOURS_PER_TASK = 4.0
REWORK_CHANCE = 0.04
HOURS_PER_DAY = 1.6  # both builders together, days without work included
STAGES = ("tail", "wing", "hull", "controls", "systems")


def build_network(tasks: int, rng: np.random.Generator) -> Network:
    """Five stages; up to two predecessors among twenty tasks before; one task in seven needs two people."""
    rows = []
    for i in range(tasks):
        earlier = rng.choice(np.arange(max(0, i - 20), i), min(i, int(rng.integers(0, 3))), replace=False)
        rows.append(
            Task(
                task=f"T{i}", stage=STAGES[i * len(STAGES) // tasks], title="",
                after=tuple(f"T{j}" for j in sorted(earlier)),
                crew=str(rng.choice(["one", "either", "two"], p=[0.25, 0.6, 0.15])),
                hold_days=float(rng.choice([0, 2], p=[0.95, 0.05])),
            )
        )  # fmt: skip
    return network_of_untouched(Plan(tasks=tuple(rows)))


def horizon_of(tasks: int) -> int:
    """Days within which nearly every run finishes."""
    return round(1.15 * tasks * HOURS_PER_TASK / HOURS_PER_DAY) + 60


def draw(tasks: int, runs: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """A pair that shares one habit: somebody comes on 30 % of days, both on nine of ten of those."""
    days = horizon_of(tasks)
    somebody = rng.random((runs, days, 1), dtype=np.float32) < 0.30
    missing = rng.random((runs, days, 1), dtype=np.float32)
    bench = rng.standard_gamma(4.2, (runs, days, 2), dtype=np.float32)
    bench *= 0.67 * (somebody & np.concatenate([missing > 0.05, missing < 0.95], axis=2))
    hours = rng.lognormal(np.log(HOURS_PER_TASK) - 0.245, 0.7, (runs, tasks))
    rework = rng.random((runs, tasks), dtype=np.float32) < REWORK_CHANCE
    return {
        "hours": hours,
        "reopening_hours": 0.2 * hours * rework,
        "reopening_after_hours": 24.0 * rework,
        "bench": bench,
        "stage_rank": np.minimum(rng.geometric(0.7, (runs, days)) - 1, 4).astype(np.uint8),
    }


def draw_as_many(tasks: int, runs: int, rng: np.random.Generator) -> None:
    """Draw as many numbers as the kernel is handed: two per task, one per person and day, one per day.

    The second of a task decides whether it needs rework.
    """
    days = horizon_of(tasks)
    rng.standard_normal((runs, tasks))
    rng.random((runs, tasks), dtype=np.float32)
    rng.standard_gamma(4.2, (runs, days, 2))
    rng.integers(0, 5, (runs, days), dtype=np.uint8)


def draw_no_more(tasks: int, runs: int, rng: np.random.Generator) -> None:
    """The strictest reading: hours only of people present, one number for the rest, none after the finish."""
    days = round(tasks * HOURS_PER_TASK / HOURS_PER_DAY)
    rng.standard_normal((runs, tasks))
    rng.random((runs, tasks), dtype=np.float32)
    rng.random((runs, days, 2), dtype=np.float32)
    rng.standard_gamma(4.2, (runs, round(0.285 * days), 2))
    rng.integers(0, 5, (runs, round(0.30 * days)), dtype=np.uint8)


def processor_seconds(work: Callable[[], object]) -> float:
    """Processor time of one call."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def play(network: Network, draws: dict[str, np.ndarray]) -> Simulation:
    """Simulate one chunk, with the burn-down read every fortnight."""
    grid = np.arange(0, draws["bench"].shape[1], 14)
    expected = np.full(len(network.tasks), HOURS_PER_TASK)
    return simulate_schedule(network, **draws, shared_penalty=1.14, expected_hours=expected, grid=grid)


def kernel_and_generator(tasks: int, runs: int, seed: int) -> tuple[float, float, float, float]:
    """Processor seconds of the kernel and of both ways to draw, timed in turn; share of runs finished."""
    rng = np.random.default_rng(seed)
    network = build_network(tasks, rng)
    play(network, draw(tasks, 1, rng))
    kernel = generator = strict = finished = 0.0
    chunks = max(1, runs // CHUNK)
    for _ in range(chunks):
        draws = draw(tasks, CHUNK, rng)
        kernel += processor_seconds(partial(play, network, draws))
        generator += processor_seconds(partial(draw_as_many, tasks, CHUNK, rng))
        strict += processor_seconds(partial(draw_no_more, tasks, CHUNK, rng))
        finished += np.isfinite(play(network, draws).build_finish).mean()
    return kernel, generator, strict, finished / chunks


def against_events(tasks: int, runs: int, seed: int) -> tuple[float, float, float]:
    """Processor seconds per run of the kernel and of the plain model; largest difference in days.

    Raises
    ------
    AssertionError when one of the two finishes a task that the other does not.
    """
    from benchmarks.yardsticks.discrete_events import play_once

    rng = np.random.default_rng(seed)
    network = build_network(tasks, rng)
    draws = draw(tasks, runs, rng)
    play(network, draws)
    kernel = min(processor_seconds(lambda: play(network, draws)) for _ in range(5))
    nobody, nothing = np.zeros(2, dtype=bool), np.zeros(0)
    begun = time.process_time()
    plain = [
        play_once(
            network, draws["hours"][r], draws["bench"][r], draws["stage_rank"][r], nothing, nobody, 1.14,
            expected_hours=np.full(tasks, HOURS_PER_TASK), reopening_hours=draws["reopening_hours"][r],
            reopening_after_hours=draws["reopening_after_hours"][r],
        )
        for r in range(runs)
    ]  # fmt: skip
    events = time.process_time() - begun
    played = play(network, draws).finish
    theirs = np.array([p.finish for p in plain])
    if not np.array_equal(np.isfinite(played), np.isfinite(theirs)):
        raise AssertionError("the plain model finishes other tasks than the kernel")
    both = np.isfinite(played)
    return kernel / runs, events / runs, float(np.abs(played[both] - theirs[both]).max())


def slope(sizes: list[int], seconds: list[float]) -> float:
    """The exponent with which time grows."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def growth_with_tasks(sizes: list[int], seed: int) -> list[float]:
    """Processor seconds per run at each number of tasks."""
    return [kernel_and_generator(n, CHUNK, seed)[0] / CHUNK for n in sizes]


def growth_with_runs(sizes: list[int], tasks: int, seed: int) -> list[float]:
    """Processor seconds at each number of runs, simulated in chunks."""
    rng = np.random.default_rng(seed)
    network = build_network(tasks, rng)
    draws = draw(tasks, CHUNK, rng)
    few = {name: array[:100] for name, array in draws.items()}
    play(network, draws)
    seconds = []
    for runs in sizes:
        chunks = [draws] * (runs // CHUNK) or [few]
        seconds.append(sum(processor_seconds(partial(play, network, chunk)) for chunk in chunks))
    return seconds


def peak_memory_megabytes(tasks: int, runs: int, seed: int) -> float:
    """Peak memory of a separate process that simulates all runs in chunks, as a forecast does."""
    program = f"from benchmarks.speed.kernel import stream; stream({tasks}, {runs}, {seed})"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, check=True, capture_output=True, text=True
    )
    return float(done.stdout)


def stream(tasks: int, runs: int, seed: int) -> None:
    """Simulate in chunks, store of each what a forecast stores, print the peak memory in megabytes."""
    rng = np.random.default_rng(seed)
    network = build_network(tasks, rng)
    stored = []
    for _ in range(runs // CHUNK):
        played = play(network, draw(tasks, CHUNK, rng))
        stored.append((played.stage_finish, played.build_finish, played.stage_first_90, played.hours_done))
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def first_and_second_play() -> tuple[float, float]:
    """Wall seconds of one small simulation in a new process: with nothing compiled yet, and again."""
    program = (
        "import time; t = time.perf_counter(); from benchmarks.speed.kernel import *; "
        "rng = np.random.default_rng(1); play(build_network(5, rng), draw(5, 1, rng)); "
        "print(time.perf_counter() - t)"
    )
    with tempfile.TemporaryDirectory() as folder:
        runs = [
            subprocess.run(
                [sys.executable, "-c", program], cwd=ROOT, check=True, capture_output=True, text=True,
                env={**os.environ, "NUMBA_CACHE_DIR": folder},
            )
            for _ in range(2)
        ]  # fmt: skip
    return float(runs[0].stdout), float(runs[1].stdout)


def report(given: argparse.Namespace) -> list[str]:
    """The lines of kernel.md."""
    runs, tasks, seed = given.runs, given.tasks, given.seed
    kernel, generator, strict, finished = kernel_and_generator(tasks, runs, seed)
    ours, events, difference = against_events(tasks, given.event_runs, seed)
    sizes, counts = [50, 150, 500, 1500, 5000], [100, 1000, 10_000, 100_000]
    by_tasks, by_runs = growth_with_tasks(sizes, seed), growth_with_runs(counts, 50, seed)
    memory = peak_memory_megabytes(4 * tasks, runs, seed)
    first, second = first_and_second_play()
    rows = [
        ("kernel, processor seconds", f"{kernel:.2f}", ""),
        ("as many numbers drawn by NumPy's Generator, processor seconds", f"{generator:.2f}", ""),
        ("ratio", f"{kernel / generator:.2f}", "at most 1.5"),
        ("ratio when only hours of people present are drawn, up to the finish", f"{kernel / strict:.2f}", ""),
        ("simpy model, processor seconds per run", f"{events:.4f}", ""),
        ("simpy / kernel", f"{events / ours:.0f}", "at least 500"),
        (
            f"largest difference of a finish in {given.event_runs} runs, days",
            f"{difference:.1e}",
            "below 1e-6",
        ),
        (f"growth, {sizes[0]} to {sizes[-1]} tasks: power", f"{slope(sizes, by_tasks):.2f}", "at most 1.1"),
        (f"growth, {counts[0]} to {counts[-1]} runs: power", f"{slope(counts, by_runs):.2f}", "at most 1.1"),
        (f"peak memory at {runs} x {4 * tasks}, MB", f"{memory:.0f}", "under 600"),
        ("first run on a new machine, compilation included, seconds", f"{first:.1f}", ""),
        ("the same with the compiled code cached, seconds", f"{second:.1f}", ""),
    ]
    growth = ([str(n), f"{1000 * s:.3f}"] for n, s in zip(sizes, by_tasks, strict=True))
    return [
        "# Speed of the kernel",
        "",
        f"`{command_of(__file__, given)}`; {versions('numpy', 'numba', python=True)}.",
        f"{runs} runs x {tasks} tasks x two builders over {horizon_of(tasks)} days; "
        f"{finished:.1%} of the runs finished.",
        "",
        *markdown(["measure", "value", "target"], rows),
        "",
        *markdown(["tasks", "processor ms per run"], growth),
    ]


def main() -> None:
    """Run the study and write kernel.md."""
    given = parser_of(__doc__, runs=10_000, tasks=500, event_runs=200, seed=1).parse_args()
    write_page(__file__, report(given))


if __name__ == "__main__":
    main()
