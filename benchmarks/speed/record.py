"""How long the record of a ten-year log takes, with one process and with two.

    python -m benchmarks.speed.record [--runs 500] [--workers 1 2] [--every 1]

An invented build with more than ten years of sessions is cut after ten years; every past day, or every n-th,
is fitted and simulated again. The table has the wall time and the processor time of all processes, their
start included. On an idle machine the wall time is the processor time divided by the processes; on a busy one
the wall time says little, and the processor time is somewhat too long.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from dataclasses import replace
from datetime import date

import pandas as pd
from joblib import Parallel, delayed
from joblib.externals.loky import get_reusable_executor

from benchmarks.invented.workshop import make_build
from benchmarks.pages import markdown, versions, write_page
from forecast.files.folder import Build
from forecast.learn.progress import read_progress
from forecast.questions.track_record import RUNS, past_days, track_record
from forecast.simulate.settings import Settings

YEARS, SEED, TASKS = 10, 5, 500


def ten_years() -> tuple[Build, date]:
    """The build, cut ten years after its first session, and that day.

    Raises
    ------
    ValueError when the invented build ends before.
    """
    build = make_build(habit="bursts", tasks=TASKS, seed=SEED).build
    first = build.sessions["date"].min().date()
    as_of = first.replace(year=first.year + YEARS)
    sessions = build.sessions
    if sessions["until"].max().date() < as_of:
        raise ValueError(
            f"The invented build must last {YEARS} years; it ends on {sessions['until'].max():%Y-%m-%d}."
        )
    known = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)].reset_index(drop=True)
    return replace(build, sessions=known), as_of


def processor_seconds() -> float:
    """Processor time of this process and of every child that has ended; workers are shut down first."""
    get_reusable_executor().shutdown(wait=True)
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def start_up_seconds(workers: int) -> float:
    """Processor seconds to start the worker processes, with one small job for each."""
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
    """Run the study and write record.md."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--runs", type=int, default=RUNS, help=f"simulation runs (default: {RUNS})")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2], help="processes (default: 1 2)")
    parser.add_argument("--every", type=int, default=1, help="use every n-th past day (default: 1)")
    given = parser.parse_args()
    build, as_of = ten_years()
    settings = Settings(runs=given.runs)
    every_day = past_days(read_progress(build.plan, build.sessions, as_of))
    days = every_day[:: given.every]
    answers, rows = [], []
    for workers in given.workers:
        load, used = os.getloadavg()[0], processor_seconds()
        begun = time.perf_counter()
        answers.append(track_record(build, as_of, settings, days=days, workers=workers).finishes)
        seconds = time.perf_counter() - begun
        used = processor_seconds() - used
        start = start_up_seconds(workers)
        per_day = (used - start) / len(days)
        whole = (per_day * len(every_day) + start) / workers
        rows.append([str(workers), f"{seconds:.0f}", f"{used:.0f}", f"{per_day:.2f}", f"{whole:.0f}"])
        rows[-1].append(f"{load:.1f}, {os.getloadavg()[0]:.1f}")
    for other in answers[1:]:
        pd.testing.assert_frame_equal(answers[0], other, check_exact=True)
    heads = ["processes", "seconds", "processor seconds", "per past day", "all past days, per core"]
    lines = [
        "# Speed of the record",
        "",
        f"A log of {YEARS} years: {len(build.sessions):,} sessions, {len(build.plan.tasks)} tasks, "
        f"{len(days)} of {len(every_day)} past days, {given.runs:,} runs each, seed {SEED}; "
        f"{os.cpu_count()} cores, {versions('numpy', 'numba', 'joblib')}.",
        "",
        *markdown([*heads, "load of the machine before and after"], rows),
        "",
        "Every number of processes gave the same answer, digit by digit.",
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
