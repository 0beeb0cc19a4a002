"""Can a foreign file break `take` or lose a row? Odd cells by the million, mutated files by the thousand.

    python -m benchmarks.safety.intake_fuzz [--cells 1000000] [--files 20000] [--seed 0]

Cells: every reader of cells gets texts made of the forms that real logs have, of pieces of them, and of odd
letters; any exception is a failure. Files: the messy sheets of sample_logs and a few more are changed at
random (bytes flipped, cut, doubled, swapped; for workbooks also inside their XML) and proposed for a new
build folder. The answer must be a proposal that counts every record as a heading, a row read or a row
reported, or one sentence that refuses the file. Whether the reader itself drops anything is checked without
it: every letter and digit of a delimited text must appear in its records, in order, and the rows of an
unchanged workbook must be those that openpyxl reads. A reader, a gathering
and a joining that each dropped one row on purpose were all caught within 66 files.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np

from benchmarks.command_line import command_of, parser_of
from benchmarks.pages import markdown, versions, write_page
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

MESSY = Path(__file__).resolve().parents[2] / "sample_logs" / "messy"
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
    """The outcome of one part of the study."""

    what: str
    tried: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0


def cpu_seconds() -> float:
    """Processor seconds so far, of this process and of its children that have ended."""
    now = os.times()
    return now.user + now.system + now.children_user + now.children_system


def odd_cell(rng: np.random.Generator) -> str:
    """Up to six pieces of real log cells, sometimes with an arbitrary letter."""
    pieces = [PIECES[i] for i in rng.integers(len(PIECES), size=rng.integers(1, 7))]
    if rng.random() < 0.1:
        pieces.insert(0, chr(int(rng.integers(1, 0xD7FF))))
    return "".join(pieces)


def try_cells(count: int, rng: np.random.Generator) -> Tally:
    """Run every reader of cells on `count` cells."""
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
    """The bytes after one to eight changes."""
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
    """A workbook with one part changed and packed again, so that the change survives the unpacking."""
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
    """Letters and digits of a delimited text that are missing in its records, found without its reader."""
    data = path.read_bytes()
    if is_zip(data) or is_front_matter(text := decode(data, path.name)[0]):
        return ""
    found = "".join(str(cell) for sheet in read.sheets for row in sheet.rows for cell in row.cells if cell)
    if _letters(found) == _letters(text):
        return ""
    return f"letters lost: {len(_letters(text))} in, {len(_letters(found))} in records"


def _letters(text: str) -> str:
    return "".join(filter(str.isalnum, text))


def rows_of_workbook_lost(path: Path) -> str:
    """Differences between the rows of the visible sheets that openpyxl reads and ours."""
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
    return "" if ours == theirs else f"rows of the workbook: {theirs} by openpyxl, {ours} by ours"


def outcome(path: Path, folder: Path) -> str:
    """The answer of `take` to a file: a proposal that accounts for every record, or a refusal."""
    try:
        intake = propose_intake(path, folder, today=TODAY)
    except BenchdaysError as error:
        return "refused" if str(error).strip() else "refused without a sentence"
    read = read_foreign(path)
    gathered = choose_sheets(read, sheet=None, answers={})
    records = len(gathered.rows) + len(gathered.above) + len(gathered.heading_rows)
    whole = sum(
        not is_blank(row.cells)
        for sheet in read.sheets
        if not gathered.names or sheet.name in gathered.names
        for row in sheet.rows
    )
    counted = len(intake.rows) + len(intake.reported) + intake.heading_rows - len(read.unread)
    places = Counter([(j.parsed.row.file, j.parsed.row.line) for j in intake.rows])
    places += Counter([(p.file, p.line) for p in intake.reported])
    if lost := letters_lost(path, read):
        return lost
    if not counted == records == whole or (gathered.names and max(places.values(), default=1) > 1):
        return f"rows lost: {whole} records, {records} gathered, {counted} counted"
    return "proposed" if intake.rows else "proposed, no row read"


def try_files(count: int, rng: np.random.Generator) -> Tally:
    """Propose `count` mutated files, two in eleven of them workbooks."""
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
                answer = outcome(path, Path(scratch) / "build")
            except Exception as error:  # noqa: BLE001
                answer = f"{type(error).__name__}: {str(error)[:200]}"
            seconds = cpu_seconds() - begun
            tally.tried += 1
            tally.slowest = max(tally.slowest, seconds)
            kind = "workbook" if name in books else "text"
            tally.outcomes[
                f"{kind} {answer}" if answer.startswith(("proposed", "refused")) else "FAILED"
            ] += 1
            if not answer.startswith(("proposed", "refused")) or answer.endswith("without a sentence"):
                failed = Path(tempfile.gettempdir()) / f"failed-{len(tally.failures)}-{name}"
                failed.write_bytes(data)
                tally.failures.append(f"{failed.name}: {answer}")
    return tally


def main() -> None:
    """Run both parts and write intake_fuzz.md; exit with 1 when anything failed."""
    given = parser_of(__doc__, cells=1_000_000, files=20_000, seed=0).parse_args()
    cells, files = (np.random.default_rng(s) for s in np.random.SeedSequence(given.seed).spawn(2))
    tallies = [try_cells(given.cells, cells), try_files(given.files, files)]
    rows = []
    for tally in tallies:
        outcomes = ", ".join(f"{n} {what}" for what, n in sorted(tally.outcomes.items()))
        rows.append(
            [f"{tally.tried} {tally.what}", str(len(tally.failures)), f"{tally.slowest:.2f}", outcomes]
        )
    lines = [
        "# Can a foreign file break `take` or lose a row?",
        "",
        f"`{command_of(__file__, given)}`; "
        f"{versions('python-calamine', 'scikit-learn', 'numpy', python=True)}.",
        "",
        *markdown(["tried", "failed", "slowest, s of computing", "outcomes"], rows),
    ]
    write_page(__file__, lines)
    for tally in tallies:
        print("\n".join(tally.failures[:20]))
    if any(tally.failures for tally in tallies):
        sys.exit(1)


if __name__ == "__main__":
    main()
