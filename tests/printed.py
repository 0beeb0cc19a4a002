"""The output blocks of the README: what is shown, what is printed now, and how to bring them together.

`python -m tests.printed` writes what the commands print now into the README.
"""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
_BLOCK = re.compile(r"(<!-- output: make demo -->\n```text\n)(.*?)(```)", flags=re.DOTALL)


def run(command: list[str]) -> str:
    """What a command prints on standard output, without a terminal."""
    environment = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1"}
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=240
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def demo_command() -> list[str]:
    """What `make demo` runs once it is set up."""
    # Within `make test` this make would take itself for a part of it, and say which folder it leaves.
    environment = {name: value for name, value in os.environ.items() if not name.startswith("MAKE")}
    recipe = subprocess.run(
        ["make", "-n", "demo"], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    words = shlex.split(recipe[-1])
    assert words[1:4] == ["-m", "forecast.cli", "finish"]
    return [sys.executable, *words[1:]]


def printed() -> str:
    """The demo's output as the README shows it."""
    return "\n".join(line.rstrip() for line in run(demo_command()).splitlines()).strip("\n")


def shown() -> str:
    """The demo's output in the README."""
    block = _BLOCK.search(README.read_text(encoding="utf-8"))
    assert block is not None
    return block[2].strip("\n")


def write() -> None:
    """Put what the demo prints now into the README."""
    text = README.read_text(encoding="utf-8")
    now = printed()
    README.write_text(_BLOCK.sub(lambda m: f"{m[1]}{now}\n{m[3]}", text), encoding="utf-8")


if __name__ == "__main__":
    write()
