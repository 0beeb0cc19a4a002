"""Whether two checkouts answer alike: every forecasting command on every sample, number by number.

    python -m benchmarks.same_answers OTHER_CHECKOUT [--runs 2000]

For changes that must not move a forecast: sentences may differ, every other value must be the same to the
byte. Exits with 1, and names the answers that differ, when one does.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ("turnstone", "dinghy", "dunlin")
AS_OF = "2026-09-30"
EVENING = ("--hours", "3", "--builders", "A")


def questions(runs: int) -> list[tuple[str, ...]]:
    """Every command line to compare, folders relative to the checkout."""
    asked: list[tuple[str, ...]] = []
    for sample in SAMPLES:
        folder, common = f"sample_logs/{sample}", ("--as-of", AS_OF, "--json")
        asked += [
            ("finish", folder, *common, "--runs", str(runs), "--no-keep"),
            ("crew", folder, *common, "--runs", str(runs)),
            ("orders", folder, *common, "--runs", str(runs)),
            ("tonight", folder, *common, "--runs", str(runs), *EVENING),
            ("overruns", folder, *common),
        ]
    folders = [f"sample_logs/{sample}" for sample in SAMPLES]
    asked.append(("many", *folders, "--as-of", AS_OF, "--json", "--runs", str(runs), "--workers", "1"))
    return asked


def without_sentences(value: Any) -> Any:
    """A JSON value whose sentences are left out: whatever text has a space between words.

    >>> without_sentences({"stage": "wings", "why": "Nothing is left.", "hours": [1.5, None]})
    {'stage': 'wings', 'why': '...', 'hours': [1.5, None]}
    """
    if isinstance(value, dict):
        return {key: without_sentences(part) for key, part in value.items()}
    if isinstance(value, list):
        return [without_sentences(part) for part in value]
    return "..." if isinstance(value, str) and " " in value else value


def answer(checkout: Path, command: tuple[str, ...]) -> str:
    """The values that a checkout prints.

    Raises
    ------
    RuntimeError when the command fails there: two equal failures are no proof of anything.
    """
    # Absolute folders, and a working folder of its own: `many` caches what it has answered there.
    line = [str(checkout / part) if part.startswith("sample_logs/") else part for part in command]
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-m", "forecast.cli", *line],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(checkout)},
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)} failed in {checkout}: {done.stderr}")
    return json.dumps(without_sentences(json.loads(done.stdout))).replace(str(checkout), "")


def main() -> int:
    """Compare and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path)
    parser.add_argument("--runs", type=int, default=2000)
    given = parser.parse_args()
    different = 0
    for command in questions(given.runs):
        same = answer(ROOT, command) == answer(given.other.resolve(), command)
        different += not same
        print(f"{'same' if same else 'DIFFERENT':9} {' '.join(command)}", flush=True)
    print(f"{different} answers differ.")
    return 1 if different else 0


if __name__ == "__main__":
    sys.exit(main())
