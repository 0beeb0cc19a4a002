"""Can a foreign file break `take` or lose a row? Odd cells by the million, mutated files by the thousand.

`python -m benchmarks.intake_fuzz [--cells N] [--files N] [--seed S]`

Cells: every reader of cells gets texts made of the forms that real logs hold, of pieces of them, and of
odd letters; any exception is a failure. Files: the messy sheets of sample_logs and a few more are changed at
random (bytes turned, cut, doubled, swapped, for workbooks also inside their XML) and proposed to a folder
that does not exist; the answer must be a proposal in which every record that holds anything is a row of
headings, a row read or a row reported, or one sentence that refuses the file. That the reader itself drops
nothing is counted without it: every letter and digit of a delimited text must stand in its records, in order,
and the rows of a workbook that was not changed must be those that openpyxl reads.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import tempfile
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np

from forecast.errors import BenchdaysError
from forecast.intake import propose_intake
from forecast.intake.cells.dates import DateRules, read_date
from forecast.intake.cells.durations import read_clock, read_duration
from forecast.intake.cells.people import read_helpers, read_people
from forecast.intake.cells.phrases import is_rework, not_building, split_tasks
from forecast.intake.readers.delimited import decode
from forecast.intake.readers.foreign import read_foreign
from forecast.intake.readers.front_matter import is_front_matter
from forecast.intake.readers.workbook import is_zip
from forecast.intake.sheet_cells import ReadFile, Unread, is_blank
from forecast.intake.sheet_choice import choose_sheets

HERE = Path(__file__).parent
MESSY = HERE.parent / "sample_logs" / "messy"
TODAY = date(2026, 9, 1)
FORMS = (
    "2023 0203 2062 4 19 31 13 / . - : , h min hours person-hours ~ about (?) through and May Juni Sat "
    "2.5 2,5 2:30 2h30 9.00 0 180 drilled ribs order redo wing wings Jo & + me helper yes % nan inf "
    "½ ٣ ² ß İ 🙂 e E _ T Z am pm = @ ' \""
)
PIECES = [*FORMS.split(), " ", "\n", "\u00a0", "\u202e"]
MARKDOWN = """---
date: 2023-04-19
hours: 2:30
tags: [tail, ribs]
---
# Ribs
Drilled six.

---
date: 4/20/2023
hours: 1.5
who: Jo & Sam
---
Deburred.
"""
TABBED = """Day\tSpent\tWho\tBit\tJob
4/19/2023\t180 min\tJo\twing\tdrilled
4/20/2023\t1h\tme + 1\twings\tinventory
"""


@dataclass(kw_only=True)
class Tally:
    """What came of one part of the study."""

    what: str
    tried: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0


def cpu_seconds() -> float:
    """Seconds of computing so far, of this process and of those it started and saw end."""
    now = os.times()
    return now.user + now.system + now.children_user + now.children_system


def odd_cell(rng: np.random.Generator) -> str:
    """Up to six pieces of what logs hold, sometimes with a letter from anywhere."""
    pieces = [PIECES[i] for i in rng.integers(len(PIECES), size=rng.integers(1, 7))]
    if rng.random() < 0.1:
        pieces.insert(0, chr(int(rng.integers(1, 0xD7FF))))
    return "".join(pieces)


def try_cells(count: int, rng: np.random.Generator) -> Tally:
    """Every reader of cells on `count` cells."""
    tally = Tally(what="cells")
    rules = [
        DateRules(today=TODAY, order=order, first_year=year)
        for order in (None, "day_first", "month_first")
        for year in (None, 2022)
    ]
    units = ("hours", "minutes", "person_hours", None)
    for number in range(count):
        cell = odd_cell(rng)
        begun = cpu_seconds()
        try:
            hours = read_duration(cell, units[number % 4], minutes_after_point=number % 8 > 3)
            day = read_date(cell, rules[number % 6], date(2022, 12, 30))
            found = (read_people(cell), read_helpers(cell), read_clock(cell), split_tasks(cell))
            found += (not_building(cell), is_rework(cell))
        except Exception as error:  # noqa: BLE001
            tally.failures.append(f"{cell!r}: {type(error).__name__}: {error}")
            continue
        tally.tried += 1
        tally.slowest = max(tally.slowest, cpu_seconds() - begun)
        tally.outcomes["hours read"] += not isinstance(hours, Unread)
        tally.outcomes["day read"] += not isinstance(day, Unread)
        if not isinstance(hours, Unread) and not (hours and all(p.hours > 0 for p in hours)):
            tally.failures.append(f"{cell!r}: hours not above 0")
        if not isinstance(day, Unread) and not day.start <= day.end <= TODAY:
            tally.failures.append(f"{cell!r}: {day.start} to {day.end}")
    return tally


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """The bytes with one to eight changes."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        if not out:
            break
        at, to = sorted(rng.integers(len(out) + 1, size=2).tolist())
        to = min(to, at + int(rng.integers(1, 60)))
        kind = int(rng.integers(6))
        if kind == 0:
            out[at:to] = rng.bytes(to - at)
        elif kind == 1:
            del out[at:to]
        elif kind == 2:
            out[at:at] = out[at:to] * int(rng.integers(1, 5))
        elif kind == 3 and at < len(out):
            out[at] ^= 1 << int(rng.integers(8))
        elif kind == 4:
            out[at:at] = odd_cell(rng).encode("utf-8", "ignore")
        else:
            out[at:at] = bytes(rng.choice(list(b',;\t\n\r"|-:<>/&'), size=2).tolist())
    return bytes(out)


def mutated_inside(data: bytes, rng: np.random.Generator) -> bytes:
    """A workbook with one part changed and packed again, so that the change comes past the unpacking."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        parts = archive.infolist()
        weights = np.array([1.0 + 9.0 * ("sheet" in p.filename or "content" in p.filename) for p in parts])
        chosen = int(rng.choice(len(parts), p=weights / weights.sum()))
        for place, part in enumerate(parts):
            text = archive.read(part)
            new.writestr(part.filename, mutated(text, rng) if place == chosen else text)
    return out.getvalue()


def letters_lost(path: Path, read: ReadFile) -> str:
    """What the records of a delimited text lack of its letters and digits, told without its reader."""
    data = path.read_bytes()
    if is_zip(data) or is_front_matter(text := decode(data, path.name)[0]):
        return ""
    told = "".join(str(cell) for sheet in read.sheets for row in sheet.rows for cell in row.cells if cell)
    if _letters(told) == _letters(text):
        return ""
    return f"letters lost: {len(_letters(text))} in, {len(_letters(told))} in records"


def _letters(text: str) -> str:
    return "".join(filter(str.isalnum, text))


def rows_of_workbook_lost(path: Path) -> str:
    """Rows of the visible sheets that another reader of XLSX finds and ours does not, or the reverse."""
    import openpyxl

    ours = {s.name: {row.line for row in s.rows} for s in read_foreign(path).sheets}
    book = openpyxl.load_workbook(path, data_only=True)
    theirs = {
        sheet.title: {
            cells[0].row for cells in sheet.iter_rows() if any(c.value not in (None, "") for c in cells)
        }
        for sheet in book.worksheets
        if sheet.sheet_state == "visible"
    }
    return "" if ours == theirs else f"rows of the workbook: {theirs} by another reader, {ours} by ours"


def outcome(path: Path, folder: Path) -> str:
    """What a take would say to a file: a proposal that accounts for every record, or a refusal."""
    try:
        intake = propose_intake(path, folder, today=TODAY)
    except BenchdaysError as error:
        return "refused" if str(error).strip() else "refused without a word"
    read = read_foreign(path)
    gathered = choose_sheets(read, sheet=None, answers={})
    records = len(gathered.rows) + len(gathered.above) + len(gathered.heading_rows)
    whole = sum(
        not is_blank(row.cells)
        for sheet in read.sheets
        if not gathered.names or sheet.name in gathered.names
        for row in sheet.rows
    )
    told = len(intake.rows) + len(intake.reported) + intake.heading_rows - len(read.unread)
    places = Counter([(j.parsed.row.file, j.parsed.row.line) for j in intake.rows])
    places += Counter([(p.file, p.line) for p in intake.reported])
    if lost := letters_lost(path, read):
        return lost
    if not told == records == whole or (gathered.names and max(places.values(), default=1) > 1):
        return f"rows lost: {whole} records, {records} gathered, {told} told"
    return "proposed" if intake.rows else "proposed, no row read"


def try_files(count: int, rng: np.random.Generator) -> Tally:
    """`count` mutated files, a quarter of them workbooks."""
    tally = Tally(what="files")
    texts = {
        "shed.csv": (MESSY / "shed.csv").read_bytes(),
        "notes.md": MARKDOWN.encode(),
        "tabs.tsv": TABBED.encode(),
    }
    books = {name: (MESSY / name).read_bytes() for name in ("hangar.xlsx", "pair.ods")}
    names = [*texts, *texts, *texts, *books] * (count // 11 + 1)
    if lost := rows_of_workbook_lost(MESSY / "hangar.xlsx"):
        tally.failures.append(lost)
    with tempfile.TemporaryDirectory() as scratch:
        for number, name in enumerate(names[:count]):
            inside = name in books and number % 2 == 0
            data = (
                mutated_inside(books[name], rng) if inside else mutated(texts.get(name) or books[name], rng)
            )
            path = Path(scratch) / name
            path.write_bytes(data)
            begun = cpu_seconds()
            try:
                said = outcome(path, Path(scratch) / "build")
            except Exception as error:  # noqa: BLE001
                said = f"{type(error).__name__}: {str(error)[:200]}"
            seconds = cpu_seconds() - begun
            tally.tried += 1
            tally.slowest = max(tally.slowest, seconds)
            kind = "workbook" if name in books else "text"
            tally.outcomes[f"{kind} {said}" if said.startswith(("proposed", "refused")) else "FAILED"] += 1
            if not said.startswith(("proposed", "refused")) or said.endswith("without a word"):
                kept = Path(tempfile.gettempdir()) / f"failed-{len(tally.failures)}-{name}"
                kept.write_bytes(data)
                tally.failures.append(f"{kept.name}: {said}")
    return tally


def main() -> None:
    """Run both parts and write intake_fuzz.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cells", type=int, default=1_000_000)
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    cells, files = (np.random.default_rng(s) for s in np.random.SeedSequence(asked.seed).spawn(2))
    tallies = [try_cells(asked.cells, cells), try_files(asked.files, files)]
    versions = ", ".join(f"{p} {version(p)}" for p in ("python-calamine", "scikit-learn", "numpy"))
    command = f"--cells {asked.cells} --files {asked.files} --seed {asked.seed}"
    lines = [
        "# Can a foreign file break `take` or lose a row?",
        "",
        f"`python -m benchmarks.intake_fuzz {command}`; python {sys.version.split()[0]}, {versions}.",
        "",
        "| tried | failed | slowest, s of computing | outcomes |",
        "|---|---|---|---|",
    ]
    for tally in tallies:
        outcomes = ", ".join(f"{n} {what}" for what, n in sorted(tally.outcomes.items()))
        row = f"| {tally.tried} {tally.what} | {len(tally.failures)} | {tally.slowest:.2f} | {outcomes} |"
        lines.append(row)
    (HERE / "intake_fuzz.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))
    for tally in tallies:
        print("\n".join(tally.failures[:20]))
    if any(tally.failures for tally in tallies):
        sys.exit(1)


if __name__ == "__main__":
    main()
