"""How fast many builds are, and whether memory and the cost per build are independent of their number.

    python -m benchmarks.speed.many_builds [--builds 1000] [--runs 500] [--tasks 60]

Invented builds are written to a folder once. Then 100 and all of them are forecast with one worker and with
two, each time in a process of its own whose peak memory is measured. The cost per build apart from the
forecast (reading, packing, handing over, caching, the table) is measured on 10 to 10,000 builds with a
constant answer; 10,000 are the same folders under other names. For meaningful figures the machine must be
idle.
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
from pathlib import Path

from benchmarks.invented.workshop import make_build, write_build
from benchmarks.pages import markdown, versions, write_page
from forecast.simulate.settings import Settings

AS_OF = date(2026, 6, 30)
TODAY = date(2060, 1, 1)  # later than any day of an invented log
HALF = 0.5


def write_club(place: Path, builds: int, tasks: int) -> list[Path]:
    """Folders of invented builds, each cut at half of its hours."""
    folders = []
    for seed in range(builds):
        folder = place / f"kit-{seed:05d}"
        if not folder.exists():
            made = make_build(seed=seed, tasks=tasks)
            write_build(made, folder, until=made.cut(HALF))
        folders.append(folder)
    return folders


def constant_answer(data: bytes) -> dict[str, object]:
    """An answer as large as a real one, in place of the forecast."""
    level = {f"p{q:02d}": "2028-01-01" for q in (5, 10, 25, 50, 75, 80, 90, 95)}
    hours = dict.fromkeys(level, 1000.0)
    answer = {"finished": None, "finish": level, "first_90": level, "person_hours_left": hours}
    return {
        "as_of": "2026-06-30", "runs": 1, "seed": 0, "basis": {}, "build": answer,
        "stages": [{"stage": f"stage {n}", **answer} for n in range(4)], "open_stages": ["stage 1"],
        "held_by": {"tasks": [], "causes": {}},
    }  # fmt: skip


def child(given: argparse.Namespace) -> None:
    """Run once in this process; print its seconds and peak memory as JSON."""
    import resource

    import forecast.many.builds as builds_of_many
    from forecast.many.answer_cache import AnswerCache
    from forecast.many.builds import ManyBuilds
    from forecast.many.executors import LocalExecutor
    from forecast.present.many_builds import table_csv

    if given.instant:
        builds_of_many.run_job = constant_answer  # type: ignore[assignment]
    folders = _repeated(
        sorted(Path(given.place).glob("kit-*"))[: given.builds], given.builds, Path(given.place)
    )
    settings = Settings(runs=given.runs)
    with tempfile.TemporaryDirectory() as cache:
        engine = LocalExecutor(workers=given.workers)
        # Warm-up, not timed: starts the processes and loads the kernel.
        ManyBuilds(
            folders=folders[: 2 * given.workers], as_of=AS_OF, today=TODAY, settings=settings,
            cache=AnswerCache(Path(cache) / "warm"),
        ).run(engine)  # fmt: skip
        many = ManyBuilds(
            folders=folders,
            as_of=AS_OF,
            today=TODAY,
            settings=settings,
            cache=AnswerCache(Path(cache) / "all"),
        )
        begun = time.perf_counter()
        many.run(engine)
        table_csv(many)
        seconds = time.perf_counter() - begun
    if many.failed:
        raise SystemExit(next(iter(many.failed.values())).problems[0])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "peak_mb": peak}))


def _repeated(folders: list[Path], builds: int, place: Path) -> list[Path]:
    """`builds` folders; those beyond the first ones repeat their files under other names."""
    copies = place / "copies"
    copies.mkdir(exist_ok=True)
    out = list(folders)
    for number in range(len(folders), builds):
        copy = copies / f"kit-{number:05d}"
        if not copy.exists():
            # A link to the folder would be the same build: folders are identified by their resolved path.
            copy.mkdir()
            for file in folders[number % len(folders)].iterdir():
                os.link(file, copy / file.name)
        out.append(copy)
    return out


def measured(place: Path, builds: int, *, workers: int, runs: int, instant: bool = False) -> dict[str, float]:
    """Seconds and peak memory of one run in a new process."""
    command = [sys.executable, "-m", "benchmarks.speed.many_builds", "--child", "--place", str(place)]
    command += ["--builds", str(builds), "--workers", str(workers), "--runs", str(runs)]
    done = subprocess.run(
        [*command, *(["--instant"] if instant else [])], check=True, capture_output=True, text=True
    )
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def forecast_rows(place: Path, builds: int, runs: int) -> Iterator[list[str]]:
    """Real forecasts of some and of all builds, with one worker and with two."""
    for count in (min(100, builds // 2), builds):
        alone = 0.0
        for workers in (1, 2):
            found = measured(place, count, workers=workers, runs=runs)
            rate = count / found["seconds"]
            alone = alone or rate
            cells = [
                f"{found['seconds']:.1f}",
                f"{rate:.2f}",
                f"{rate / alone:.2f}",
                f"{found['peak_mb']:.0f}",
            ]
            yield [f"{count:,}", str(workers), *cells]


def instant_rows(place: Path, runs: int, most: int) -> Iterator[list[str]]:
    """Ten builds to `most`, each forecast replaced by a constant answer."""
    for count in (n for n in (10, 100, 1_000, 10_000) if n <= most):
        found = measured(place, count, workers=1, runs=runs, instant=True)
        ms = 1000 * found["seconds"] / count
        yield [f"{count:,}", f"{found['seconds']:.1f}", f"{ms:.1f}", f"{found['peak_mb']:.0f}"]


def main() -> None:
    """Run the study and write many_builds.md."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--builds", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=500, help="simulation runs (default: 500)")
    parser.add_argument("--tasks", type=int, default=60, help="per build (default: 60)")
    parser.add_argument(
        "--most", type=int, default=10_000, help="builds with constant answers (default: 10000)"
    )
    parser.add_argument("--place", help="folder of the builds (default: a temporary one)")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--workers", type=int, default=1, help=argparse.SUPPRESS)
    parser.add_argument("--instant", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.child:
        child(given)
        return
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(given.place or temporary)
        write_club(place, given.builds, given.tasks)
        forecasts = list(forecast_rows(place, given.builds, given.runs))
        instant = list(instant_rows(place, given.runs, given.most))
    heads = ["builds", "workers", "seconds", "builds per second", "times one worker", "peak memory, MB"]
    lines = [
        "# Speed of many builds",
        "",
        f"`python -m benchmarks.speed.many_builds --builds {given.builds} --runs {given.runs} "
        f"--tasks {given.tasks}`; {versions('joblib', 'numpy', 'pandas', 'numba')}; {os.cpu_count()} cores, "
        f"load {load:.1f} at the start.",
        "",
        f"Invented builds of about {given.tasks} tasks, half of their hours logged; {given.runs} runs.",
        "Peak memory is that of the coordinating process, which reads the folders, hands them out and caches",
        "the answers; with one worker it also forecasts. The second table replaces the forecast by a",
        "constant answer: what is left is reading, packing, handing over, caching and the table. Beyond the",
        "builds that were written, folders are repeated.",
        "",
        *markdown(heads, forecasts),
        "",
        *markdown(["builds, constant answer", "seconds", "ms per build", "peak memory, MB"], instant),
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
