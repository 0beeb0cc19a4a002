"""How long the commands take, as ratios to importing the libraries they stand on, side by side.

`finish` on the sample against a bare import of pandas and statsmodels (at most 2 once warm), and
`--help` against a bare import of the command-line library (at most 3). Each pair is timed in turn,
several times over; the table has the medians. The first command of all is run on a copy of the program of
which nothing was compiled, neither by Python nor for the play, and should answer within 15 seconds.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = "sample_logs/turnstone"
FINISH = ["-m", "forecast.cli", "finish", SAMPLE, "--as-of", "2026-09-30", "--no-keep"]
PAIRS = {
    "finish, 10,000 runs / import pandas, statsmodels": (FINISH, ["-c", "import pandas, statsmodels.api"]),
    "--help / import typer": (["-m", "forecast.cli", "--help"], ["-c", "import typer"]),
}
FRESH_ROUNDS = 3


def seconds(words: list[str], folder: Path = ROOT, **environment: str) -> float:
    """Wall time of one Python process."""
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env={**os.environ, **environment},
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - begun


def seconds_of_first() -> float:
    """Wall time of `finish` where nothing of the program was compiled before."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("forecast", SAMPLE):
            shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
        return seconds(FINISH, folder, HOME=name, PYTHONPATH=name)


def compare(words: list[str], yardstick: list[str], rounds: int) -> tuple[float, float]:
    """Median seconds of both, taken in turn after one warm round."""
    seconds(words), seconds(yardstick)
    pairs = [(seconds(words), seconds(yardstick)) for _ in range(rounds)]
    ours, theirs = zip(*pairs, strict=True)
    return statistics.median(ours), statistics.median(theirs)


def main() -> None:
    """Measure and write commands.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    rounds = parser.parse_args().rounds
    lines = ["# Speed of the commands", "", f"Medians of {rounds} rounds in turn, warm.", ""]
    lines += ["| pair | seconds | yardstick | ratio |", "|---|---|---|---|"]
    for name, (words, yardstick) in PAIRS.items():
        ours, theirs = compare(words, yardstick, rounds)
        lines.append(f"| {name} | {ours:.2f} | {theirs:.2f} | {ours / theirs:.2f} |")
        print(lines[-1])
    first = [seconds_of_first() for _ in range(FRESH_ROUNDS)]
    lines += ["", f"First command of all, `finish` with nothing compiled: {statistics.median(first):.1f} s"]
    lines[-1] += f" (of {FRESH_ROUNDS} the longest {max(first):.1f} s; wanted within 15 s)."
    print(lines[-1])
    Path(__file__).with_suffix(".md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
