"""Can a row be lost? Killed writers, many writers at once, full disks, mutated files, generated cells.

    python -m benchmarks.safety.lost_rows [--quick] [--seed 0]

The study fails when a row of a log is lost, when a reader raises anything but a sentence, or when the rows of
a file differ from the rows read plus the rows reported.
"""

from __future__ import annotations

import platform
import random
import tempfile
import time
from importlib import resources
from pathlib import Path

from benchmarks.command_line import parser_of
from benchmarks.pages import markdown, write_page
from forecast.errors import InputError
from forecast.files.build_settings import read_settings
from forecast.files.csv_file import format_record
from forecast.files.tables import CheckedTable, read_table, table_schema
from forecast.intake.saved_reading import read_saved
from tests.harmful_files import HARMFUL, measured
from tests.storage_trials import crowd, full_disk, kills, locked_folder

NAMES = ("plan", "log", "deliveries", "away", "forecasts")
ANNOUNCED = b"announced,as_of,target,p05,p10,p25,p50,p75,p80,p90,p95,runs,seed\n" + b"".join(
    b"2026-0%d-01,2026-02-01,build,2026-02-05,2026-02-06,2026-02-08,2026-02-10,2026-02-20,,,,100,0\n" % n
    for n in range(3, 8)
)
TAKEN = b"""[[sheet]]
file = "mine.csv"
headings = ["Day", "Hours"]
key = ["Day", "Hours"]

[sheet.columns]
Day = "date"
Hours = "hours"

[sheet.taken]
rows = '''
2 925dfc0801881170 2022-04-03 3.5000 280ad347
3 8be42f10e50be5cf 2022-04-19 2.5000 adab3c85
'''
"""
ODD = [
    *["", " ", "0", "-1", "25", "two", "nan", "inf", "-0.0", "1e308", "1e309", "1_0", "0x1f", "2,5", "1.5.2"],
    *["2:60", "24:00", "2026-02-30", "2026-13-01", "20260101", "0001-01-01", "9999-12-31", "yes", "TRUE"],
    *[
        "=1+1",
        "'=1",
        "+2",
        "A+2",
        "A+A",
        "NA",
        "None",
        "\u202e",
        "½",
        "٣",
        "\x1c",
        "a" * 200,
        '"',
        "two\nlines",
    ],
    *["D1 D1", "D1;D2", "x:1@y", "no"],
]
SNIPPETS = [*(bytes([c]) for c in b',"\n\r\0\xff;\t-=9'), b'""', b"\xef\xbb\xbf", b"\xe2\x80"]


def harmful_files() -> str:
    """Decompression bombs, a million empty or full rows, links to other files: refused in 3 s and 300 MB."""
    worst_seconds = worst_megabytes = 0.0
    with tempfile.TemporaryDirectory() as place:
        for make, _ in HARMFUL:
            answer, seconds, megabytes = measured(make(Path(place) / f"{make.__name__}.xlsx"))
            if answer.strip() == "read" or seconds >= 3 or megabytes >= 300:
                raise SystemExit(f"{make.__name__}: {answer} after {seconds} s and {megabytes} MB")
            worst_seconds, worst_megabytes = max(worst_seconds, seconds), max(worst_megabytes, megabytes)
    return f"{len(HARMFUL)} files refused, in at most {worst_seconds:.1f} s and {worst_megabytes:.0f} MB"


def mutated_files(files: int, rng: random.Random) -> str:
    """Files with a few bytes changed: each gives a table or a sentence."""
    starter = resources.files("forecast") / "schemas" / "starter"
    originals = {name: (starter / f"{name}.csv").read_bytes() for name in NAMES if name != "forecasts"}
    originals |= {
        "forecasts": ANNOUNCED,
        "take.toml": TAKEN,
        "build.toml": (starter / "build.toml").read_bytes(),
    }
    refused = problems = 0
    for _ in range(files):
        name = rng.choice([*originals])
        data = _mutated(originals[name], rng)
        if name == "build.toml":
            settings, found, _ = read_settings(data)
            refused += settings is None
            problems += len(found)
        elif name == "take.toml":
            refused += _take_refused(data)
        else:
            table = _read(data, name)
            refused += table is None
            problems += len(table.problems) if table is not None else 0
    return f"{files} files: {refused} refused, {problems} problems reported, no traceback"


def _take_refused(data: bytes) -> bool:
    try:
        read_saved(data)
    except InputError:
        return True
    return False


def generated_cells(cells: int, rng: random.Random) -> str:
    """Tables of odd cells: every row is read, and every cell that could not be read is reported."""
    made = rows_in = rows_read = rows_refused = 0
    while made < cells:
        name = rng.choice(NAMES)
        columns = table_schema(name).columns
        rows = [[_cell(rng) for _ in columns] for _ in range(1 + made % 60)]
        made += len(rows) * len(columns)
        written = sum(any(c.strip() for c in row) for row in rows)
        rows_in += written
        lines = [format_record(row, ";") for row in [list(columns), *rows]]
        table = _read("\r\n".join(lines).encode(), name)
        if table is None:
            rows_refused += written
        else:
            rows_read += len(table.frame)
    if rows_in != rows_read + rows_refused:
        raise SystemExit(f"rows in {rows_in}, read {rows_read}, refused {rows_refused}")
    return f"{made} cells in {rows_in} rows: {rows_read} rows read, {rows_refused} in refused files"


def _read(data: bytes, name: str) -> CheckedTable | None:
    try:
        return read_table(data, f"{name}.csv", name)
    except InputError:
        return None


def _cell(rng: random.Random) -> str:
    if rng.random() < 0.7:
        return rng.choice(ODD)
    return "".join(
        chr(rng.choice([rng.randrange(32, 127), rng.randrange(160, 0xD7FF)])) for _ in range(rng.randrange(9))
    )


def _mutated(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.randrange(1, 9)):
        at = rng.randrange(len(out) + 1)
        match rng.randrange(4):
            case 0:
                out[at:at] = rng.choice(SNIPPETS)
            case 1:
                del out[at : at + rng.randrange(1, 30)]
            case 2:
                out[at : at + 1] = bytes([rng.randrange(256)])
            case _:
                begin = rng.randrange(len(out) + 1)
                out[at:at] = out[begin : begin + rng.randrange(60)]
    return bytes(out)


def main() -> None:
    """Run the trials and write lost_rows.md.

    Raises
    ------
    SystemExit when a trial fails.
    """
    parser = parser_of(__doc__, seed=0)
    parser.add_argument("--quick", action="store_true", help="a hundredth of the trials")
    given = parser.parse_args()
    share = 100 if given.quick else 1
    rng = random.Random(given.seed)
    trials = {
        "a writer killed at random times": lambda: kills(1000 // share, given.seed),
        "eight writers, 500 rows each": lambda: crowd(8, 500 // share),
        "a disk that fills during the write": full_disk,
        "a read-only folder or file": locked_folder,
        "malicious files": harmful_files,
        "mutated files": lambda: mutated_files(20_000 // share, rng),
        "generated cells": lambda: generated_cells(1_000_000 // share, rng),
    }
    rows = []
    for name, trial in trials.items():
        begun = time.perf_counter()
        result = trial()
        rows.append([name, result, f"{time.perf_counter() - begun:.0f}"])
        print(" | ".join(rows[-1]), flush=True)
    system = f"Python {platform.python_version()}, {platform.system()}"
    lines = ["# Can a row be lost?", "", f"Seed {given.seed}; {system}. No row was lost.", ""]
    write_page(__file__, [*lines, *markdown(["trial", "result", "seconds"], rows)])


if __name__ == "__main__":
    main()
