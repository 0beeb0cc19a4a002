"""Foreign XLSX and ODS files: inspected before they are opened, and read in a process with limits.

Such a file is a zip archive of XML. A small one can unpack to gigabytes, and the sizes that it declares may
be wrong; so it is first unpacked in pieces that are counted and discarded, before python-calamine sees it.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zipfile
import zlib
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from forecast.errors import InputError
from forecast.intake.readers import workbook_child
from forecast.intake.sheet_cells import MOST_ROWS, Cell, ReadFile, Sheet, SheetRow

# Judgements: what a build log of decades stays far below, and what every machine can spare. Together with the
# program itself, reading must fit into 3 s and 300 MB (tests/test_intake_files.py).
MOST_UNPACKED_BYTES = 50_000_000
MOST_RATIO = 100
MOST_MEMORY_BYTES = 280_000_000
MOST_CPU_SECONDS = 2
MOST_WAIT_SECONDS = 30.0
MOST_CELLS = 2_000_000
_MOST_PARTS = 2_000
_SMALL_BYTES = 1_000_000  # below this size, any ratio is harmless
_PIECE = 1 << 16
_TAIL = 256  # longer than any tag that is searched for, so that none is missed at the end of a piece
_ROW = re.compile(rb"<(?:\w+:)?row[ />]")
_NO_STORED_VALUE = re.compile(rb"</f>\s*(?:<v>\s*</v>|<v\s*/>)?\s*</c>|<f\s*/>\s*</c>")
_ENTITY = re.compile(rb"<!(?:DOCTYPE|ENTITY)")


@dataclass(slots=True, kw_only=True)
class _Counts:
    """Unpacked bytes, rows, and formulas without a stored value."""

    unpacked: int = 0
    rows: int = 0
    valueless: int = 0


def is_zip(data: bytes) -> bool:
    """Whether a file begins as a zip archive does."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def read_workbook(path: Path) -> ReadFile:
    """Read the visible sheets of an XLSX or ODS file.

    Formulas give the value that was stored when the file was saved; nothing is computed, no macro is run and
    no link is followed.

    Raises
    ------
    InputError : one problem, when the file is refused or cannot be read
    """
    counts = _inspect(path)
    sheets, notices = _sheets(path, _run_child(path))
    if counts.valueless:
        notices.append(
            f"{counts.valueless} formulas have no stored value and are read as blank: "
            "open the file in your spreadsheet program and save it once."
        )
    return ReadFile(name=path.name, sheets=tuple(sheets), notices=tuple(notices))


def _inspect(path: Path) -> _Counts:
    """Unpack the archive in pieces that are discarded, and refuse what no build log needs."""
    counts = _Counts()
    try:
        with zipfile.ZipFile(path) as archive:
            parts = [p for p in archive.infolist() if not p.is_dir()]
            if len(parts) > _MOST_PARTS:
                raise _refused(path, f"has {len(parts)} parts: a spreadsheet has a few dozen")
            _check_declared(path, parts)
            for part in parts:
                _unpack(path, archive, part, counts)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise _refused(path, f"is a damaged spreadsheet file ({error})") from None
    _check_names(path, {part.filename for part in parts})
    return counts


def _check_declared(path: Path, parts: list[zipfile.ZipInfo]) -> None:
    declared = sum(p.file_size for p in parts)
    packed = max(sum(p.compress_size for p in parts), 1)
    if declared > MOST_UNPACKED_BYTES:
        raise _too_large(path, f"unpacks to {declared / 1e6:.0f} MB")
    if declared > MOST_RATIO * packed and declared > _SMALL_BYTES:
        raise _too_large(path, f"unpacks to {declared / packed:.0f} times its size")


def _unpack(path: Path, archive: zipfile.ZipFile, part: zipfile.ZipInfo, counts: _Counts) -> None:
    is_xml = part.filename.endswith((".xml", ".rels"))
    tail = b""
    before = counts.unpacked
    with archive.open(part) as stream:
        while piece := stream.read(_PIECE):
            counts.unpacked += len(piece)
            if counts.unpacked > MOST_UNPACKED_BYTES:
                raise _too_large(path, f"unpacks to more than {MOST_UNPACKED_BYTES / 1e6:.0f} MB")
            unpacked = counts.unpacked - before
            if unpacked > _SMALL_BYTES and unpacked > MOST_RATIO * max(part.compress_size, 1):
                raise _too_large(path, f"has a part that unpacks to more than {MOST_RATIO} times its size")
            if is_xml:
                tail = _count_tags(path, part, tail, piece, counts)


def _count_tags(path: Path, part: zipfile.ZipInfo, tail: bytes, piece: bytes, counts: _Counts) -> bytes:
    """Count the tags that end in this piece, and return its tail, where the next tag may begin."""
    text = tail + piece
    if _ENTITY.search(text) or b"\0" in text:
        raise _refused(path, f"declares XML entities or is not plain XML ({part.filename})")
    skip = len(tail)
    if "sheet" in part.filename.casefold():
        counts.rows += sum(m.end() > skip for m in _ROW.finditer(text))
        counts.valueless += sum(m.end() > skip for m in _NO_STORED_VALUE.finditer(text))
    if counts.rows > MOST_ROWS:
        raise _too_large(path, f"has more than {MOST_ROWS} rows, most of them probably empty")
    return text[-_TAIL:]


def _check_names(path: Path, names: set[str]) -> None:
    if any("externallinks/" in name.casefold() for name in names):
        sentence = "links to other files, which are not opened: break the links or save the sheet as CSV"
        raise _refused(path, sentence)
    if not {"xl/workbook.xml", "content.xml"} & names:
        raise _refused(path, "is a zip archive, but not an XLSX or ODS spreadsheet")


def _run_child(path: Path) -> bytes:
    limits = (MOST_MEMORY_BYTES, MOST_CPU_SECONDS, MOST_ROWS, MOST_CELLS)
    # -I: neither the current folder nor an environment variable can make the process load foreign code.
    command = [sys.executable, "-I", workbook_child.__file__, str(path.resolve()), *map(str, limits)]
    try:
        run = subprocess.run(command, capture_output=True, timeout=MOST_WAIT_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        raise _too_large(path, "takes too long to read") from None
    if run.returncode == 0:
        return run.stdout
    if run.returncode == workbook_child.EXIT_UNREADABLE:
        reason = run.stderr.decode("utf-8", "replace").strip() or "its contents are not as expected"
        raise _refused(path, f"could not be read as a spreadsheet ({reason})")
    raise _too_large(path, "takes more memory or time to read than a build log should")


def _sheets(path: Path, lines: bytes) -> tuple[list[Sheet], list[str]]:
    """The visible sheets from the output of the reading process, and notices."""
    sheets: list[tuple[str, list[SheetRow]]] = []
    hidden = []
    for record in map(json.loads, lines.splitlines()):
        if isinstance(record, dict):
            if record["hidden"] or record["kind"] != "WorkSheet":
                hidden.append(record["sheet"])
            else:
                sheets.append((record["sheet"], []))
        else:
            name, rows = sheets[-1]
            cells = tuple(map(_cell, record[1:]))
            rows.append(SheetRow(file=f"{path.name} ({name})", line=record[0], cells=cells))
    notices = [f"Hidden or chart sheets are not read: {', '.join(hidden)}."] if hidden else []
    return [Sheet(name=name, rows=tuple(rows)) for name, rows in sheets], notices


def _cell(value: Any) -> Cell:
    if not isinstance(value, dict):
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if "seconds" in value:
        return timedelta(seconds=value["seconds"])
    if "time" in value:
        return time.fromisoformat(value["time"])
    text = value["day"]
    return date.fromisoformat(text) if len(text) == 10 else datetime.fromisoformat(text)


def _refused(path: Path, sentence: str) -> InputError:
    return InputError.about(path.name, sentence)


def _too_large(path: Path, sentence: str) -> InputError:
    return _refused(path, f"{sentence}: copy the rows of the log into a new sheet, or save it as CSV")
