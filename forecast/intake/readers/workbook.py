"""XLSX and ODS files from anywhere: looked at before they are opened, read in a process that is limited.

Such a file is a zip archive of XML. A small one can unpack to gigabytes, and the sizes that it declares
can lie; so it is unpacked once in small pieces, counted and thrown away, before python-calamine sees it.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zipfile
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from forecast.errors import InputError, Problem
from forecast.intake.readers import workbook_child
from forecast.intake.sheet_cells import MOST_ROWS, Cell, ReadFile, Sheet, SheetRow

MOST_UNPACKED_BYTES = 50_000_000
MOST_RATIO = 100
MOST_MEMORY_BYTES = 280_000_000
MOST_CPU_SECONDS = 2
MOST_WAIT_SECONDS = 30.0
MOST_CELLS = 2_000_000
_MOST_PARTS = 2_000
_PIECE = 1 << 16
_TAIL = 256
_ROW = re.compile(rb"<(?:\w+:)?row[ />]")
_NO_STORED_VALUE = re.compile(rb"</f>\s*(?:<v>\s*</v>|<v\s*/>)?\s*</c>|<f\s*/>\s*</c>")
_ENTITY = re.compile(rb"<!(?:DOCTYPE|ENTITY)")


@dataclass(slots=True, kw_only=True)
class _Counts:
    unpacked: int = 0
    rows: int = 0
    valueless: int = 0
    names: list[str] = field(default_factory=list)


def is_zip(data: bytes) -> bool:
    """Whether a file begins as a zip archive does."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def read_workbook(path: Path) -> ReadFile:
    """The visible sheets of an XLSX or ODS file.

    Formulas give the value that was stored when the file was saved; nothing is computed, no macro is
    run and no link is followed.

    Raises
    ------
    InputError with one problem when the file is refused or cannot be read.
    """
    counts = look_before_opening(path)
    sheets, notices = _sheets(path, _run_child(path))
    if counts.valueless:
        notices.append(
            f"{counts.valueless} formulas hold no stored value and are read as blank: "
            "open the file in your spreadsheet program and save it once."
        )
    return ReadFile(name=path.name, sheets=tuple(sheets), notices=tuple(notices))


def look_before_opening(path: Path) -> _Counts:
    """Unpack the archive piece by piece without keeping it, and refuse what no build log needs."""
    counts = _Counts()
    try:
        with zipfile.ZipFile(path) as archive:
            parts = [p for p in archive.infolist() if not p.is_dir()]
            if len(parts) > _MOST_PARTS:
                raise _refused(path, f"holds {len(parts)} parts: a spreadsheet has a few dozen")
            _check_declared(path, parts)
            for part in parts:
                counts.names.append(part.filename)
                _unpack(path, archive, part, counts)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise _refused(path, f"is a damaged spreadsheet file ({error})") from None
    _check_names(path, counts.names)
    return counts


def _check_declared(path: Path, parts: list[zipfile.ZipInfo]) -> None:
    declared = sum(p.file_size for p in parts)
    packed = max(sum(p.compress_size for p in parts), 1)
    if declared > MOST_UNPACKED_BYTES:
        raise _too_large(path, f"unpacks to {declared / 1e6:.0f} MB")
    if declared > MOST_RATIO * packed and declared > 1_000_000:
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
            if counts.unpacked - before > 1_000_000 and _ratio(part, counts.unpacked - before) > MOST_RATIO:
                raise _too_large(path, f"holds a part that unpacks to more than {MOST_RATIO} times its size")
            if is_xml:
                tail = _look_at(path, part, tail, piece, counts)


def _ratio(part: zipfile.ZipInfo, unpacked: int) -> float:
    return unpacked / max(part.compress_size, 1)


def _look_at(path: Path, part: zipfile.ZipInfo, tail: bytes, piece: bytes, counts: _Counts) -> bytes:
    """Count the tags that end in this piece; the tail of the last one may hold the beginning of a tag."""
    text = tail + piece
    if _ENTITY.search(text) or b"\0" in text:
        raise _refused(path, f"declares XML entities or is not plain XML ({part.filename})")
    skip = len(tail)
    if "sheet" in part.filename.casefold():
        counts.rows += sum(m.end() > skip for m in _ROW.finditer(text))
        counts.valueless += sum(m.end() > skip for m in _NO_STORED_VALUE.finditer(text))
    if counts.rows > MOST_ROWS:
        raise _too_large(path, f"holds more than {MOST_ROWS} rows, most of them probably empty")
    return text[-_TAIL:]


def _check_names(path: Path, names: list[str]) -> None:
    if any("externallinks/" in name.casefold() for name in names):
        raise _refused(
            path, "links to other files, which are not opened: break the links or save the sheet as CSV"
        )
    known = {"xl/workbook.xml", "content.xml"}
    if not known & set(names):
        raise _refused(path, "is a zip archive, but not an XLSX or ODS spreadsheet")


def _run_child(path: Path) -> bytes:
    limits = (MOST_MEMORY_BYTES, MOST_CPU_SECONDS, MOST_ROWS, MOST_CELLS)
    command = [sys.executable, "-I", workbook_child.__file__, str(path.resolve()), *map(str, limits)]
    try:
        run = subprocess.run(command, capture_output=True, timeout=MOST_WAIT_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        raise _too_large(path, "takes too long to read") from None
    if run.returncode == 0:
        return run.stdout
    if run.returncode == workbook_child.EXIT_UNREADABLE:
        reason = run.stderr.decode("utf-8", "replace").strip() or "its inside is not what it should be"
        raise _refused(path, f"could not be read as a spreadsheet ({reason})")
    raise _too_large(path, "takes more memory or time to read than a build log should")


def _sheets(path: Path, lines: bytes) -> tuple[list[Sheet], list[str]]:
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
    return InputError([Problem(path.name, None, "", "", sentence)])


def _too_large(path: Path, sentence: str) -> InputError:
    return _refused(path, f"{sentence}: copy the rows of the log into a new sheet, or save it as CSV")
