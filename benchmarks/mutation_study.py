"""Do the tests bite? Faults are put into the core one at a time, and the tests must notice.

    nice python -m benchmarks.mutation_study --measure
    nice python -m benchmarks.mutation_study --mutants 300 --seed 1 [--part 1/2]

Every mutant (see mutants.py) is put into a temporary copy of the repository and the test files that enter its
function are run there, those of its own module first, then the fastest, until one fails. A mutant that
no test notices has survived. Which test files enter which function is measured first (see mutation_tests.py)
and takes as long as all tests by themselves; `--folder` holds the copy and that measurement between runs.
Before two parts run at once, measure by itself, or both will.

Results are appended to mutation_results.csv and are not run again: an interrupted study resumes, and
`--again survived` repeats those that survived after tests have been added. The page mutation_study.md has
every survivor with its judgement from mutation_judgements.csv; `--page` only writes the page.
"""

from __future__ import annotations

import argparse
import compileall
import csv
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from benchmarks.mutants import Mutant, draw
from benchmarks.mutation_page import JUDGEMENTS, RESULTS, write_page
from benchmarks.mutation_tests import PYTEST, Calls, TestsOf, environment, imported, measure

ROOT = Path(__file__).resolve().parents[1]
# Patterns below forecast/; one that matches nothing is reported and skipped.
CORE = (
    "files/plan.py",
    *(f"learn/{m}.py" for m in ("progress", "task_windows", "learning_curve", "deliveries")),
    *(f"learn/effort/{m}.py" for m in (
        "design", "remaining", "rework_and_growth", "reports", "evidence", "posterior", "regression",
    )),
    *(f"learn/bench_time/{m}.py" for m in (
        "silences", "level", "habit", "people", "stage_rank", "weekly", "setting_up", "calling_in_help",
        "history",
    )),
    *(f"simulate/{m}.py" for m in ("outlook", "fitted", "runs", "what_if")),
    *(f"simulate/network/{m}.py" for m in (
        "network", "simulation", "kernel", "dispatch", "ready_queues", "criticality",
    )),
    *(f"questions/{m}.py" for m in (
        "orders", "overruns", "tonight", "readiness", "date_change", "drivers", "burn_down", "scores",
    )),
    "questions/crew/*.py",
    "questions/track_record/*.py",
)  # fmt: skip
LEAST_SECONDS, SLOWER = 180.0, 4.0  # a run may take so much longer than the tests took when measured
ONE_TEST_SECONDS = 120
COLUMNS = ("mutant", "seed", "file", "function", "line", "kind", "change", "code", "outcome", "by", "seconds",
           "test_files", "left_out")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the tests made of one mutant.

    Attributes
    ----------
    outcome : killed, timeout (killed by a test that did not end), survived, or untested (no test enters it)
    by : the test that noticed
    seconds : how long it took
    test_files : how many test files may notice it; `left_out` of them were beyond the limit and not run
    """

    outcome: str
    by: str = ""
    seconds: float = 0.0
    test_files: int = 0
    left_out: int = 0


def core_files(root: Path) -> list[Path]:
    """The modules that are mutated; a pattern without any is named on the way."""
    found: list[Path] = []
    for pattern in CORE:
        files = sorted((root / "forecast").glob(pattern))
        if not files:
            print(f"forecast/{pattern}: there is no such module, so none of it is mutated", flush=True)
        found += files
    return found


def copy_of_repository(folder: Path) -> Path:
    """A fresh copy below `folder`; what numba has compiled in it is thrown away with it."""
    copy = folder / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    ignored = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache", ".hypothesis", "pictures")
    shutil.copytree(ROOT, copy, ignore=ignored)
    # Nothing is compiled by a run of tests, lest a mutant's bytecode is used again; so it is done here.
    compileall.compile_dir(copy, quiet=2)
    return copy


class Study:
    """One copy of the repository, into which mutants are put one after the other."""

    def __init__(self, copy: Path, calls: dict[str, Calls], limit: float) -> None:
        self.copy, self.calls, self.limit = copy, calls, limit
        self.tests = TestsOf(copy, calls)
        self.compiled = _compiled(copy)

    def run(self, mutant: Mutant) -> Outcome:
        """Put a mutant in, run its tests, take it out."""
        wanted = self.tests.of(mutant)
        tests = self._within_limit(wanted)
        if not tests:
            return Outcome(outcome="untested")
        file = self.copy / mutant.file
        source, stat = file.read_text(encoding="utf-8"), file.stat()
        begun = time.perf_counter()
        with tempfile.TemporaryDirectory() as compiled:
            # What numba has compiled of a file is used again until that file changes, whatever it calls.
            own = {"NUMBA_CACHE_DIR": compiled} if mutant.file in self.compiled else {}
            try:
                file.write_text(mutant.applied(source), encoding="utf-8")
                outcome, by = self._tested([mutant.file, *tests], own)
            finally:
                file.write_text(source, encoding="utf-8")
                os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns))
        seconds = round(time.perf_counter() - begun, 1)
        left_out = len(wanted) - len(tests)
        return Outcome(outcome=outcome, by=by, seconds=seconds, test_files=len(wanted), left_out=left_out)

    def _within_limit(self, tests: list[str]) -> list[str]:
        chosen, seconds = [], 0.0
        for test in tests:
            seconds += self.calls[test].seconds
            if seconds > self.limit and chosen:
                break
            chosen.append(test)
        return chosen

    def _tested(self, tests: list[str], own: dict[str, str]) -> tuple[str, str]:
        most = LEAST_SECONDS + SLOWER * sum(self.calls[t].seconds for t in tests if t in self.calls)
        # By a thread: a signal does not reach a loop in compiled code that never ends.
        limits = ["-o", f"timeout={ONE_TEST_SECONDS}", "-o", "timeout_method=thread"]
        command = [*PYTEST, "--tb=no", *limits, *tests]
        process = subprocess.Popen(
            command,
            cwd=self.copy,
            env=environment(self.copy, **own),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        try:
            printed, _ = process.communicate(timeout=most)
        except subprocess.TimeoutExpired:
            return "timeout", "the whole run"
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                process.communicate()
        if process.returncode == 0:
            return "survived", ""
        failed = re.search(r"^(?:FAILED|ERROR) (\S+)", printed, re.MULTILINE)
        if failed is None and process.returncode not in (1, 2):
            raise RuntimeError(f"pytest ended with {process.returncode}:\n{printed[-2000:]}")
        if re.search(r"^\++ Timeout \++$", printed, re.MULTILINE):
            return "timeout", "one test"
        return "killed", failed[1] if failed else "at import"


def _compiled(root: Path) -> set[str]:
    """Modules that numba compiles, and those that they import: what is compiled hides a change in these."""
    files = sorted((root / "forecast").rglob("*.py"))
    uses = {str(f.relative_to(root)): imported(root, f) for f in files}
    roots = {m for m in uses if "import numba" in (t := (root / m).read_text(encoding="utf-8"))
             or "from numba" in t or "compile_cached" in t}  # fmt: skip
    return roots | {used for m in roots for used in uses[m]}


def read_results() -> list[dict[str, str]]:
    """Rows of the results so far."""
    if not RESULTS.exists():
        return []
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def append(mutant: Mutant, seed: int, found: Outcome) -> None:
    """Write one row; the last row of a mutant counts."""
    row = {
        "mutant": mutant.name, "seed": seed, "file": mutant.file, "function": mutant.function,
        "line": mutant.line, "kind": mutant.kind, "change": mutant.change, "code": mutant.code,
        "outcome": found.outcome, "by": found.by, "seconds": found.seconds, "test_files": found.test_files,
        "left_out": found.left_out,
    }  # fmt: skip
    new = not RESULTS.exists()
    with RESULTS.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerow(row)


def main() -> None:
    """Run the mutants that have no result yet, and write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--mutants", type=int, default=300, help="Number of mutants drawn (default 300).")
    parser.add_argument("--seed", type=int, default=1, help="Seed of the draw (default 1).")
    parser.add_argument("--part", default="1/1", help="Share of the work, as 1/2 and 2/2 for two processes.")
    parser.add_argument("--limit", type=float, default=300.0,
                        help="Measured seconds of tests per mutant at most (default 300).")  # fmt: skip
    parser.add_argument("--again", default="", help="Repeat mutants with this outcome, as survived.")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "mutation_study",
                        help="Folder of the copy and of the measured tests.")  # fmt: skip
    parser.add_argument("--tests", nargs="*", help="Only these test files (default: all).")
    parser.add_argument("--measure", action="store_true", help="Only measure the tests.")
    parser.add_argument("--page", action="store_true", help="Only write the page.")
    asked = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended"))  # so that no run of tests is left behind
    part, parts = (int(n) for n in asked.part.split("/"))
    mutants = draw(ROOT, core_files(ROOT), asked.seed)[: asked.mutants]
    results = {r["mutant"]: r["outcome"] for r in read_results()}
    to_do = [m for m in mutants[part - 1 :: parts] if m.name not in results or results[m.name] == asked.again]
    if (to_do or asked.measure) and not asked.page:
        folder = asked.folder / f"part_{part}"
        folder.mkdir(parents=True, exist_ok=True)
        copy = copy_of_repository(folder)
        calls = measure(copy, asked.folder / "calls.json", asked.tests)
        if asked.measure:
            return
        study = Study(copy, calls, asked.limit)
        for number, mutant in enumerate(to_do, start=1):
            found = study.run(mutant)
            append(mutant, asked.seed, found)
            print(
                f"{number}/{len(to_do)} {found.outcome} {found.seconds:.0f} s {mutant.file}:{mutant.line} "
                f"{mutant.kind}: {mutant.change} {found.by}",
                flush=True,
            )
    write_page(mutants, read_results(), asked.seed)
    print(f"{RESULTS.name}, {JUDGEMENTS.name} -> mutation_study.md")


if __name__ == "__main__":
    main()
