"""Write the folder of a sample: `python -m benchmarks.invented.workshop SAMPLE FOLDER`."""

from __future__ import annotations

import argparse
from pathlib import Path

from benchmarks.invented.workshop.samples import SAMPLES, write_sample


def main() -> None:
    """Read the command line and write the folder."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.invented.workshop", description=__doc__)
    parser.add_argument("sample", choices=sorted(SAMPLES))
    parser.add_argument("folder", type=Path, help="such as sample_logs/turnstone; its files are replaced")
    given = parser.parse_args()
    write_sample(given.sample, given.folder)


if __name__ == "__main__":
    main()
