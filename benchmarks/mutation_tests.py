"""Which test files call which functions, and how long each takes: measured once, file by file.

Each test file is run by itself with a trace that notes every function of forecast/ that is entered, in the
process of the tests and in those that they start. Functions that numba compiles are never entered as Python;
for them the callers of their module are taken.
"""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import Any

from benchmarks.mutants import Mutant

# Python imports this module by itself at the start of every process that has its folder on the path.
_TRACE = """
import atexit, os, sys, threading
root, out, seen = os.environ["TRACE_ROOT"], os.environ["TRACE_OUT"], set()
def note(frame, event, arg):
    code = frame.f_code
    if code.co_filename.startswith(root):
        seen.add(f"{code.co_filename[len(root):]}::{code.co_qualname}")
def write():
    sys.settrace(None)
    with open(os.path.join(out, f"{os.getpid()}.txt"), "w") as file:
        file.write("\\n".join(seen))
threading.settrace(note)
sys.settrace(note)
atexit.register(write)
"""
PYTEST = (sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", "--no-header")


@dataclass(frozen=True, kw_only=True)
class Calls:
    """What one test file entered.

    Attributes
    ----------
    seconds : how long it took
    entered : "module path::qualified name" of every function
    """

    seconds: float
    entered: frozenset[str]

    @cached_property
    def functions(self) -> frozenset[str]:
        """Functions entered; one defined inside another counts for the outer one."""
        return frozenset(name.split(".<locals>")[0] for name in self.entered)


def environment(root: Path, **more: str) -> dict[str, str]:
    """Environment in which the copy at `root` is what is imported, and nothing is left in it."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST", "NUMBA"))}
    examples = Path(tempfile.gettempdir(), "mutation_examples")
    plain = {"PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"}
    return kept | plain | {"HYPOTHESIS_STORAGE_DIRECTORY": str(examples)} | more


def test_files(root: Path) -> list[str]:
    """Every test file except those that need a browser."""
    return sorted(str(p.relative_to(root)) for p in (root / "tests").glob("test_*.py"))


def measure(root: Path, file: Path, only: list[str] | None = None) -> dict[str, Calls]:
    """Run each test file that `file` has not measured with this code, and write what is found to it."""
    found = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    chosen = only or test_files(root)
    code = b"".join(p.read_bytes() for p in sorted((root / "forecast").rglob("*.py")))
    for test in chosen:
        digest = sha256(code + (root / test).read_bytes()).hexdigest()[:12]
        if found.get(test, {}).get("digest") != digest:
            new = found[test] = {"digest": digest, **_traced(root, test)}
            print(f"{test}: {new['seconds']:.0f} s, {len(new['entered'])} functions", flush=True)
            file.write_text(json.dumps(found, indent=0), encoding="utf-8")
    green = {test: found[test] for test in chosen if found[test]["green"]}
    return {t: Calls(seconds=n["seconds"], entered=frozenset(n["entered"])) for t, n in green.items()}


def _traced(root: Path, test: str) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "sitecustomize.py").write_text(_TRACE, encoding="utf-8")
        out = Path(folder, "out")
        out.mkdir()
        settings = environment(root, TRACE_ROOT=f"{root}/", TRACE_OUT=str(out))
        settings["PYTHONPATH"] = f"{folder}:{root}"
        begun = time.perf_counter()
        done = subprocess.run(
            [*PYTEST, test], cwd=root, env=settings, capture_output=True, text=True, check=False
        )
        seconds = time.perf_counter() - begun
        lines = {line for o in out.glob("*.txt") for line in o.read_text(encoding="utf-8").splitlines()}
    if done.returncode:
        print(f"{test} fails without any mutant and is left out:\n{done.stdout[-600:]}", flush=True)
    entered = sorted(line for line in lines if line.startswith("forecast/"))
    return {"seconds": round(seconds, 1), "entered": entered, "green": done.returncode == 0}


class TestsOf:
    """Finds the test files that may notice a mutant."""

    def __init__(self, root: Path, calls: dict[str, Calls]) -> None:
        self.root, self.calls = root, calls
        files = sorted((root / "forecast").rglob("*.py")) + [root / test for test in calls]
        self.imports = {str(f.relative_to(root)): imported(root, f) for f in files}

    def of(self, mutant: Mutant) -> list[str]:
        """Test files that enter its function: those that import its module first, then the fastest."""
        found = self._enter(mutant.file, mutant.function) if mutant.function else set()
        found = found or self._enter(mutant.file, "")
        users = {mutant.file}
        while not found and users:
            users = {m for m, used in self.imports.items() if used & users and m not in users}
            found = {t for m in users for t in self._enter(m, "")}
        direct = {t for t in found if mutant.file in self.imports[t]}
        return sorted(found, key=lambda t: (t not in direct, self.calls[t].seconds))

    def _enter(self, module: str, function: str) -> set[str]:
        wanted = f"{module}::{function}"
        return {
            test
            for test, calls in self.calls.items()
            if any(_is_within(name, wanted) for name in calls.functions)
        }


def _is_within(name: str, wanted: str) -> bool:
    """Whether a function is the one that is wanted, or a method of the class that is, or in that module."""
    if wanted.endswith("::"):
        return name.startswith(wanted) and not name.endswith("::<module>")
    return name == wanted or name.startswith(f"{wanted}.")


def imported(root: Path, file: Path) -> set[str]:
    """Paths of the modules of this repository that a file imports anywhere."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        for name in names:
            for path in (Path(*name.split(".")).with_suffix(".py"), Path(*name.split("."), "__init__.py")):
                if (root / path).exists():
                    found.add(str(path))
    return found - {str(file.relative_to(root))}
