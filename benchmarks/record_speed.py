"""How long the record of a ten-year log takes, by one process and by two.

    python -m benchmarks.record_speed [--runs 500] [--workers 1 2]

An invented build with more than ten years of sessions is cut after ten years; every past day is refitted and
played. Beside the wall time stands the processor time of all processes: on a machine with nothing else to do
the wall time is that, shared out over the processes.
Writes record_speed.md beside this file.
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
from joblib.externals.loky import get_reusable_executor

from forecast.folder import Build
from forecast.outlook import Settings
from forecast.progress import read_progress
from forecast.synthetic import make_build
from forecast.track_record import RUNS, past_days, track_record

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


def main() -> None:
    """Measure and write record_speed.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    asked = parser.parse_args()
    build, as_of = ten_years()
    settings = Settings(runs=asked.runs)
    days = past_days(read_progress(build.plan, build.sessions, as_of))
    lines = [
        "# Speed of the record",
        "",
        f"A log of {YEARS} years: {len(build.sessions):,} sessions, {len(build.plan.tasks)} tasks, "
        f"{len(days)} past days, {asked.runs:,} runs each, seed {SEED}; {os.cpu_count()} cores, "
        f"numpy {version('numpy')}, numba {version('numba')}, joblib {version('joblib')}.",
        "",
        "| processes | seconds | processor seconds | load of the machine before and after |",
        "|---|---|---|---|",
    ]
    answers = []
    for workers in asked.workers:
        load, used = os.getloadavg()[0], processor_seconds()
        begun = time.perf_counter()
        record = track_record(build, as_of, settings, days=days, workers=workers)
        seconds = time.perf_counter() - begun
        answers.append(record.finishes)
        used = processor_seconds() - used
        lines.append(f"| {workers} | {seconds:.0f} | {used:.0f} | {load:.1f}, {os.getloadavg()[0]:.1f} |")
        print(lines[-1], flush=True)
    for other in answers[1:]:
        pd.testing.assert_frame_equal(answers[0], other, check_exact=True)
    lines += ["", "Every number of processes gave the same answer, digit by digit."]
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
