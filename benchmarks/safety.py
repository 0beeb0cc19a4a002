"""Can a row be lost? Writers killed, writers in a crowd, mutated files, generated cells.

A row of the table fails the study when a row of a log is lost, a reader raises anything but a sentence,
or rows in differ from rows kept and rows reported. `--quick` runs a hundredth of it.
"""

from __future__ import annotations

import argparse
import platform
import random
import tempfile
import time
from importlib import resources
from pathlib import Path

from forecast.errors import InputError
from forecast.files.build_settings import read_settings
from forecast.files.csv_file import format_record
from forecast.files.tables import CheckedTable, read_table, table_schema
from forecast.intake.saved_reading import read_saved
from tests.harmful_files import HARMFUL, measured
from tests.storage_trials import crowd, full_disk, kills, locked_folder

NAMES = ("plan", "log", "deliveries", "away", "forecasts")
TOLD = b"announced,as_of,target,p05,p10,p25,p50,p75,p80,p90,p95,runs,seed\n" + b"".join(
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
OUT = Path(__file__).with_suffix(".md")


def main() -> None:
    """Run the trials and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    share = 100 if arguments.quick else 1
    rng = random.Random(arguments.seed)
    trials = {
        "a writer killed at random moments": lambda: kills(1000 // share, arguments.seed),
        "eight writers, 500 rows each": lambda: crowd(8, 500 // share),
        "a disk that fills during the write": full_disk,
        "a folder or file for reading only": locked_folder,
        "files made to harm": harmful_files,
        "mutated files": lambda: mutated_files(20_000 // share, rng),
        "generated cells": lambda: generated_cells(1_000_000 // share, rng),
    }
    rows = []
    for name, trial in trials.items():
        begun = time.perf_counter()
        said = trial()
        rows.append(f"| {name} | {said} | {time.perf_counter() - begun:.0f} |")
        print(rows[-1], flush=True)
    seen_with = f"Python {platform.python_version()}, {platform.system()}"
    head = ["# Can a row be lost?", "", f"Seed {arguments.seed}; {seen_with}. No row was lost.", ""]
    head += ["| trial | seen | seconds |", "|---|---|---|"]
    OUT.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")


def harmful_files() -> str:
    """Bombs, a million empty or full rows, links to other files: refused in 3 seconds and 300 MB."""
    worst_seconds = worst_megabytes = 0.0
    with tempfile.TemporaryDirectory() as place:
        for make, _ in HARMFUL:
            said, seconds, megabytes = measured(make(Path(place) / f"{make.__name__}.xlsx"))
            if said.strip() == "read" or seconds >= 3 or megabytes >= 300:
                raise SystemExit(f"{make.__name__}: {said} after {seconds} s and {megabytes} MB")
            worst_seconds, worst_megabytes = max(worst_seconds, seconds), max(worst_megabytes, megabytes)
    return f"{len(HARMFUL)} files refused, in at most {worst_seconds:.1f} s and {worst_megabytes:.0f} MB"


def mutated_files(files: int, rng: random.Random) -> str:
    """Files with a few bytes changed: a table or a sentence, whatever stands in them."""
    starter = resources.files("forecast") / "schemas" / "starter"
    originals = {name: (starter / f"{name}.csv").read_bytes() for name in NAMES if name != "forecasts"}
    originals |= {"forecasts": TOLD, "take.toml": TAKEN, "build.toml": (starter / "build.toml").read_bytes()}
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
    return f"{files} files: {refused} refused whole, {problems} problems named, no traceback"


def _take_refused(data: bytes) -> bool:
    try:
        read_saved(data)
    except InputError:
        return True
    return False


def generated_cells(cells: int, rng: random.Random) -> str:
    """Tables of odd cells: every row is kept, and every cell that could not be read is named."""
    made = rows_in = rows_kept = rows_refused = 0
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
            rows_kept += len(table.frame)
    if rows_in != rows_kept + rows_refused:
        raise SystemExit(f"rows in {rows_in}, kept {rows_kept}, reported {rows_refused}")
    return f"{made} cells in {rows_in} rows: {rows_kept} rows kept, {rows_refused} in files refused whole"


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


if __name__ == "__main__":
    main()
