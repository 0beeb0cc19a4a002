"""How long the record of a ten-year log takes, by one process and by two.

    python -m benchmarks.speed.record [--runs 500] [--workers 1 2] [--every 1]

An invented build with more than ten years of sessions is cut after ten years; every past day is refitted and
played, or every n-th of them. Beside the wall time stands the processor time of all processes, their start
included: on a machine with nothing else to do the wall time is that, shared out over the processes; on a busy
one the wall time says little, and the processor time is somewhat too long.
Writes record.md beside this file.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from dataclasses import replace
from datetime import date
from importlib.metadata import version
from pathlib import Path

import pandas as pd
from joblib import Parallel, delayed
from joblib.externals.loky import get_reusable_executor

from benchmarks.invented.workshop import make_build
from forecast.files.folder import Build
from forecast.learn.progress import read_progress
from forecast.questions.track_record import RUNS, past_days, track_record
from forecast.simulate.settings import Settings

YEARS, SEED, TASKS = 10, 5, 500


def ten_years() -> tuple[Build, date]:
    """The build and the day ten years after its first session."""
    build = make_build(habit="bursts", tasks=TASKS, seed=SEED).build
    first = build.sessions["date"].min().date()
    as_of = first.replace(year=first.year + YEARS)
    sessions = build.sessions
    if sessions["until"].max().date() < as_of:
        raise ValueError("The invented build must last longer than the log that is wanted.")
    kept = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)].reset_index(drop=True)
    return replace(build, sessions=kept), as_of


def processor_seconds() -> float:
    """Processor time of this process and of every child that has ended; workers are ended first."""
    get_reusable_executor().shutdown(wait=True)
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def starts(workers: int) -> float:
    """Processor seconds that it takes to start the worker processes, with one small task for each."""
    if workers == 1:
        return 0.0
    used = processor_seconds()
    Parallel(n_jobs=workers, backend="loky")(delayed(_ready)() for _ in range(workers))
    return processor_seconds() - used


def _ready() -> str:
    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel

    return f"{BenchTime.__name__}, {EffortModel.__name__}"


def main() -> None:
    """Measure and write record.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--every", type=int, default=1)
    asked = parser.parse_args()
    build, as_of = ten_years()
    settings = Settings(runs=asked.runs)
    every_day = past_days(read_progress(build.plan, build.sessions, as_of))
    days = every_day[:: asked.every]
    lines = [
        "# Speed of the record",
        "",
        f"A log of {YEARS} years: {len(build.sessions):,} sessions, {len(build.plan.tasks)} tasks, "
        f"{len(days)} of {len(every_day)} past days, {asked.runs:,} runs each, seed {SEED}; "
        f"{os.cpu_count()} cores, numpy {version('numpy')}, numba {version('numba')}, "
        f"joblib {version('joblib')}.",
        "",
        "| processes | seconds | processor seconds | of these a past day | all past days, a core | "
        "load of the machine before and after |",
        "|---|---|---|---|---|---|",
    ]
    answers = []
    for workers in asked.workers:
        load, used = os.getloadavg()[0], processor_seconds()
        begun = time.perf_counter()
        record = track_record(build, as_of, settings, days=days, workers=workers)
        seconds = time.perf_counter() - begun
        answers.append(record.finishes)
        used = processor_seconds() - used
        start = starts(workers)
        a_day = (used - start) / len(days)
        whole = (a_day * len(every_day) + start) / workers
        lines.append(
            f"| {workers} | {seconds:.0f} | {used:.0f} | {a_day:.2f} | {whole:.0f} | "
            f"{load:.1f}, {os.getloadavg()[0]:.1f} |"
        )
        print(lines[-1], flush=True)
    for other in answers[1:]:
        pd.testing.assert_frame_equal(answers[0], other, check_exact=True)
    lines += ["", "Every number of processes gave the same answer, digit by digit."]
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
