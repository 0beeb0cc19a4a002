"""Rows of the log changed or removed: only the row that was seen, validated first, and undoable."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import InputError, Problem, UsageError
from forecast.files.csv_file import (
    CsvFile,
    decode_text,
    parse_csv,
    require_text,
    unguard_formula,
    with_records,
)
from forecast.files.folder import log_files, read_partial_build
from forecast.files.logbook import read_sessions
from forecast.files.storage import change_file
from forecast.files.tables import read_table, table_schema


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One record of a log file, as text.

    Attributes
    ----------
    file : name within the folder, log.csv or log/NAME.csv
    line : the line on which it begins
    cells : column (lower case) -> text, unknown columns included, in the order of the file
    """

    file: str
    line: int
    cells: dict[str, str]


def log_rows(folder: Path | str) -> tuple[LogRow, ...]:
    """Every record of the log files, good or bad, in the order of the files.

    Raises
    ------
    InputError : when a file cannot be parsed as CSV
    """
    folder = Path(folder)
    rows = []
    for path in filter(Path.is_file, log_files(folder)):
        file = path.relative_to(folder).as_posix()
        read = _parse(path.read_bytes(), file)
        rows += [LogRow(file=file, line=line, cells=_cells(read, i)) for i, line in enumerate(read.lines)]
    return tuple(rows)


def change_row(folder: Path | str, seen: LogRow, changed: Mapping[str, str]) -> int:
    """Change some cells of one row of the log.

    Parameters
    ----------
    folder : path of the build folder
    seen : the row as it was when somebody decided to change it
    changed : new texts by column; other columns keep their text

    Returns
    -------
    The line of the row.

    Raises
    ------
    UsageError : one line per problem, when the changed row would be wrong or make another row wrong
    InputError : when the row is no longer what was seen, or the file cannot be written; nothing is written
        in either case
    """
    folder = Path(folder)
    texts = {column: unguard_formula(text) for column, text in seen.cells.items()} | dict(changed)
    require_text(texts)

    def replaced(data: bytes) -> bytes:
        read = _parse(data, seen.file)
        _require_unchanged(read, seen)
        if any(read.rows[read.lines.index(seen.line)][len(read.header) :]):
            # Writing the row anew would drop the cells that have no column.
            sentence = "has more cells than the header names columns: fix it in the file itself"
            raise InputError.about(seen.file, sentence, seen.line)
        columns = table_schema("log").columns
        inserted, _ = with_records(data, seen.file, columns, [texts], after_line=seen.line)
        new = _without_record(inserted, seen)
        _refuse_new_problems(folder, seen, data, new)
        return new

    change_file(folder / seen.file, replaced)
    return seen.line


def remove_row(folder: Path | str, seen: LogRow) -> None:
    """Remove one row from the log.

    Parameters
    ----------
    folder : path of the build folder
    seen : the row as it was when somebody decided to remove it

    Raises
    ------
    InputError : when the row is no longer what was seen, or the file cannot be written; nothing is written
        then
    """

    def removed(data: bytes) -> bytes:
        _require_unchanged(_parse(data, seen.file), seen)
        return _without_record(data, seen)

    change_file(Path(folder) / seen.file, removed)


def _parse(data: bytes, file: str) -> CsvFile:
    return parse_csv(data, file, table_schema("log").columns)


def _cells(read: CsvFile, row: int) -> dict[str, str]:
    return dict(zip((c.casefold() for c in read.header), read.rows[row], strict=False))


def _require_unchanged(read: CsvFile, seen: LogRow) -> None:
    if seen.line not in read.lines or _cells(read, read.lines.index(seen.line)) != seen.cells:
        raise InputError.about(seen.file, "has changed since it was shown: look at it again", seen.line)


def _without_record(data: bytes, seen: LogRow) -> bytes:
    """The file without the record that begins on the line, every other byte unchanged."""
    read = _parse(data, seen.file)
    end = read.ends[read.lines.index(seen.line)]
    lines = list(io.StringIO(decode_text(data, seen.file), newline=""))
    text = "".join([*lines[: seen.line - 1], *lines[end:]])
    return (b"\xef\xbb\xbf" if read.bom else b"") + text.encode("utf-8")


def _refuse_new_problems(folder: Path, seen: LogRow, before: bytes, after: bytes) -> None:
    """Refuse a row that is wrong, or makes another row wrong; problems elsewhere may stay."""
    old, new = _problems(folder, seen.file, before), _problems(folder, seen.file, after)
    # Compared without their lines, because the change may have moved the rows below.
    known = Counter((p.column, p.value) for p in old if p.line != seen.line)
    known.subtract((p.column, p.value) for p in new if p.line != seen.line)
    wrong = [p for p in new if p.line == seen.line]
    wrong += [p for p in new if p.line != seen.line and known[p.column, p.value] < 0]
    if wrong:
        sentences = (p.without_place if p.line == seen.line else str(p) for p in dict.fromkeys(wrong))
        raise UsageError("\n".join(sentences))


def _problems(folder: Path, file: str, data: bytes) -> list[Problem]:
    """What is wrong with one file of the log, alone and together with the others."""
    build = read_partial_build(folder)
    table = read_table(data, file, "log")
    logs = [table if t.file == file else t for t in build.logs]
    _, found, _ = read_sessions(logs, build.settings.builders, build.plan)
    return [*table.problems, *(p for p in found if p.file == file)]
