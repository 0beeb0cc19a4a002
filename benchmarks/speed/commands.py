"""How long the commands take, as ratios to importing the libraries that they use.

    python -m benchmarks.speed.commands [--rounds 7]

`finish` on the sample is compared with a bare import of pandas and statsmodels (target: at most 2 when warm),
and `--help` with a bare import of the command-line library (target: at most 3). Each pair is timed in turn,
several times over; the table has the medians. The very first command runs on a copy of the program of which
nothing has been compiled, neither by Python nor by numba (target: within 15 seconds).
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.command_line import parser_of
from benchmarks.pages import markdown, write_page

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = "sample_logs/turnstone"
FINISH = ["-m", "forecast.cli", "finish", SAMPLE, "--as-of", "2026-09-30", "--no-keep"]
PAIRS = {
    "finish, 10,000 runs / import pandas, statsmodels": (FINISH, ["-c", "import pandas, statsmodels.api"]),
    "--help / import typer": (["-m", "forecast.cli", "--help"], ["-c", "import typer"]),
}
FRESH_ROUNDS = 3


def seconds(arguments: list[str], folder: Path = ROOT, **environment: str) -> float:
    """Wall time of one Python process."""
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, **environment},
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - begun


def seconds_of_first() -> float:
    """Wall time of `finish` when nothing of the program has been compiled."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("forecast", SAMPLE):
            shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
        return seconds(FINISH, folder, HOME=name, PYTHONPATH=name)


def compare(command: list[str], yardstick: list[str], rounds: int) -> tuple[float, float]:
    """Median seconds of both, timed in turn after one warm-up round."""
    seconds(command), seconds(yardstick)
    pairs = [(seconds(command), seconds(yardstick)) for _ in range(rounds)]
    ours, theirs = zip(*pairs, strict=True)
    return statistics.median(ours), statistics.median(theirs)


def main() -> None:
    """Run the study and write commands.md."""
    rounds = parser_of(__doc__, rounds=7).parse_args().rounds
    rows = []
    for name, (command, yardstick) in PAIRS.items():
        ours, theirs = compare(command, yardstick, rounds)
        rows.append([name, f"{ours:.2f}", f"{theirs:.2f}", f"{ours / theirs:.2f}"])
    first = [seconds_of_first() for _ in range(FRESH_ROUNDS)]
    lines = [
        "# Speed of the commands",
        "",
        f"Medians of {rounds} rounds in turn, warm.",
        "",
        *markdown(["pair", "seconds", "yardstick", "ratio"], rows),
        "",
        f"Very first command, `finish` with nothing compiled: {statistics.median(first):.1f} s "
        f"(longest of {FRESH_ROUNDS}: {max(first):.1f} s; target: within 15 s).",
    ]
    write_page(__file__, lines)


if __name__ == "__main__":
    main()
