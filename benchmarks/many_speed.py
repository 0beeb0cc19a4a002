"""How fast many builds are, and whether memory and the cost of one stay the same however many there are.

    python -m benchmarks.many_speed [--builds 1000] [--runs 500] [--tasks 60]

Invented builds are written to a folder once. Then, each in a process of its own: 100 and all of them with
one worker and with two, peak memory of the process that reads, hands out and keeps. The cost of one build
in runs of 10 to 10,000 is taken with a job that is answered at once (reading, packing, handing over, keeping,
the table): 10,000 are the same folders again under other names, by repetition. To be run on a machine that
does nothing else.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import date
from importlib.metadata import version
from pathlib import Path

from benchmarks.invented.workshop import make_build, write_build
from forecast.simulate.settings import Settings

AS_OF = date(2026, 6, 30)
TODAY = date(2060, 1, 1)  # no day of an invented log lies after it
HALF = 0.5


def write_club(place: Path, builds: int, tasks: int) -> list[Path]:
    """Folders of so many builds, each cut at half of its hours."""
    folders = []
    for seed in range(builds):
        folder = place / f"kit-{seed:05d}"
        if not folder.exists():
            made = make_build(seed=seed, tasks=tasks)
            write_build(made, folder, until=made.cut(HALF))
        folders.append(folder)
    return folders


def answered_at_once(data: bytes) -> dict[str, object]:
    """In place of the forecast: an answer as large as a real one."""
    level = {f"p{q:02d}": "2028-01-01" for q in (5, 10, 25, 50, 75, 80, 90, 95)}
    hours = dict.fromkeys(level, 1000.0)
    answer = {"finished": None, "finish": level, "first_90": level, "person_hours_left": hours}
    return {
        "as_of": "2026-06-30", "runs": 1, "seed": 0, "basis": {}, "build": answer,
        "stages": [{"stage": f"stage {n}", **answer} for n in range(4)], "open_stages": ["stage 1"],
        "held_by": {"tasks": [], "causes": {}},
    }  # fmt: skip


def child(asked: argparse.Namespace) -> None:
    """One run in this process; its seconds and peak memory as JSON."""
    import resource

    import forecast.many.builds as builds_of_many
    from forecast.many.answer_cache import AnswerCache
    from forecast.many.builds import ManyBuilds
    from forecast.many.executors import LocalExecutor
    from forecast.present.many_builds import table_csv

    if asked.at_once:
        builds_of_many.run_job = answered_at_once  # type: ignore[assignment]
    folders = _repeated(
        sorted(Path(asked.place).glob("kit-*"))[: asked.builds], asked.builds, Path(asked.place)
    )
    settings = Settings(runs=asked.runs)
    with tempfile.TemporaryDirectory() as kept:
        engine = LocalExecutor(workers=asked.workers)
        # Once before the clock runs: processes started, kernel loaded.
        ManyBuilds(
            folders=folders[: 2 * asked.workers], as_of=AS_OF, today=TODAY, settings=settings,
            cache=AnswerCache(Path(kept) / "warm"),
        ).run(engine)  # fmt: skip
        many = ManyBuilds(
            folders=folders,
            as_of=AS_OF,
            today=TODAY,
            settings=settings,
            cache=AnswerCache(Path(kept) / "all"),
        )
        begun = time.perf_counter()
        many.run(engine)
        size = len(table_csv(many))
        seconds = time.perf_counter() - begun
    if many.failed:
        raise SystemExit(next(iter(many.failed.values())).problems[0])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mb": peak, "table_bytes": size}))


def _repeated(folders: list[Path], builds: int, place: Path) -> list[Path]:
    """So many folders; those that are missing are links to the first ones under other names."""
    again = place / "again"
    again.mkdir(exist_ok=True)
    out = list(folders)
    for number in range(len(folders), builds):
        link = again / f"kit-{number:05d}"
        if not link.exists():
            # A link would be the same build: folders are told apart by where they really are.
            link.mkdir()
            for file in folders[number % len(folders)].iterdir():
                os.link(file, link / file.name)
        out.append(link)
    return out


def measured(place: Path, builds: int, *, workers: int, runs: int, at_once: bool = False) -> dict[str, float]:
    """One run in a new process."""
    command = [sys.executable, "-m", "benchmarks.many_speed", "--child", "--place", str(place)]
    command += ["--builds", str(builds), "--workers", str(workers), "--runs", str(runs)]
    done = subprocess.run(
        [*command, *(["--at-once"] if at_once else [])], check=True, capture_output=True, text=True
    )
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def lines(place: Path, builds: int, runs: int, most: int) -> Iterator[str]:
    """The tables, run by run."""
    few = min(100, builds // 2)
    yield "| builds | workers | seconds | builds a second | times one worker | peak memory, MB |"
    yield "|---|---|---|---|---|---|"
    for count in (few, builds):
        alone = 0.0
        for workers in (1, 2):
            found = measured(place, count, workers=workers, runs=runs)
            rate = count / found["seconds"]
            alone = alone or rate
            yield (
                f"| {count:,} | {workers} | {found['seconds']:.1f} | {rate:.2f} | {rate / alone:.2f} | "
                f"{found['peak_mb']:.0f} |"
            )
    yield ""
    yield "| builds, answered at once | seconds | ms a build | peak memory, MB |"
    yield "|---|---|---|---|"
    counts = [n for n in (10, 100, 1_000, 10_000) if n <= most]
    for count in counts:
        found = measured(place, count, workers=1, runs=runs, at_once=True)
        ms = 1000 * found["seconds"] / count
        yield f"| {count:,} | {found['seconds']:.1f} | {ms:.1f} | {found['peak_mb']:.0f} |"


def main() -> None:
    """Run the study and write its table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--builds", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--tasks", type=int, default=60)
    parser.add_argument("--most", type=int, default=10_000, help="builds that are answered at once")
    parser.add_argument("--place", help="where the folders are, or are to be written")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--workers", type=int, default=1, help=argparse.SUPPRESS)
    parser.add_argument("--at-once", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.child:
        child(asked)
        return
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(asked.place or temporary)
        write_club(place, asked.builds, asked.tasks)
        versions = ", ".join(f"{p} {version(p)}" for p in ("joblib", "numpy", "pandas", "numba"))
        page = [
            "# Speed of many builds",
            "",
            f"`python -m benchmarks.many_speed --builds {asked.builds} --runs {asked.runs} "
            f"--tasks {asked.tasks}`; {versions}; {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at "
            "the start.",
            "",
            f"Invented builds of about {asked.tasks} tasks, half of their hours logged; {asked.runs} runs.",
            "Peak memory is that of the process that reads the folders, hands them out and keeps the",
            "answers; with one worker it is the one that forecasts too. The second table replaces the",
            "forecast by an answer that is there at once: what is left is reading, packing, handing over,",
            "keeping and the table. Beyond the builds that were written, folders are repeated.",
            "",
        ]
        for line in page:
            print(line, flush=True)
        for line in lines(place, asked.builds, asked.runs, asked.most):
            print(line, flush=True)
            page.append(line)
    Path(__file__).with_suffix(".md").write_text("\n".join(page) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
