"""A row of the log changed or taken out: only the row that was seen, checked, the version before kept."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import InputError, Problem, UsageError
from forecast.files.csv_file import CsvFile, decode_text, parse_csv, unguard_formula, with_record
from forecast.files.folder import read_partial_build
from forecast.files.logbook import read_sessions
from forecast.files.storage import change_file
from forecast.files.tables import CheckedTable, read_table, table_schema


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One record of a log file as it stands there.

    Attributes
    ----------
    file : as the folder names it, log.csv or log/NAME.csv
    line : the line on which it begins
    cells : column (lower case) -> text, of known and unknown columns, in the order of the file
    """

    file: str
    line: int
    cells: dict[str, str]


def log_rows(folder: Path | str) -> tuple[LogRow, ...]:
    """Every record of the log files, good or bad, in the order of the files.

    Raises
    ------
    InputError when a file cannot be read as CSV at all.
    """
    folder = Path(folder)
    more = sorted(p for p in (folder / "log").glob("*.csv") if p.name[0] not in ".~")
    paths = [p for p in (folder / "log.csv", *more) if p.is_file()]
    rows = []
    for path in paths:
        file = path.relative_to(folder).as_posix()
        read = _read(path.read_bytes(), file)
        rows += [LogRow(file=file, line=line, cells=_cells(read, i)) for i, line in enumerate(read.lines)]
    return tuple(rows)


def change_row(folder: Path | str, seen: LogRow, changed: Mapping[str, str]) -> int:
    """Put other texts into some columns of one row of the log, and the line on which it stands.

    Parameters
    ----------
    seen : the row as it was when somebody decided to change it
    changed : texts by column; columns left out stay as they are

    Raises
    ------
    UsageError, one line a problem, when the row would not be right; InputError when the row is no longer
    what was seen, or the file cannot be written. Nothing is written then.
    """
    folder = Path(folder)
    texts = {column: unguard_formula(text) for column, text in seen.cells.items()} | dict(changed)
    _require_text(texts)

    def replaced(data: bytes) -> bytes:
        read = _read(data, seen.file)
        _require_same(read, seen)
        _require_columns_for(read, seen)
        more, _ = with_record(data, seen.file, table_schema("log").columns, texts, after_line=seen.line)
        new = _without_record(more, seen)
        _refuse_new_problems(folder, seen, data, new)
        return new

    change_file(folder / seen.file, replaced)
    return seen.line


def remove_row(folder: Path | str, seen: LogRow) -> None:
    """Take one row out of the log.

    Raises
    ------
    InputError when the row is no longer what was seen, or the file cannot be written; nothing is written
    then.
    """

    def removed(data: bytes) -> bytes:
        _require_same(_read(data, seen.file), seen)
        return _without_record(data, seen)

    change_file(Path(folder) / seen.file, removed)


def _read(data: bytes, file: str) -> CsvFile:
    return parse_csv(data, file, table_schema("log").columns)


def _cells(read: CsvFile, row: int) -> dict[str, str]:
    return dict(zip((c.casefold() for c in read.header), read.rows[row], strict=False))


def _require_same(read: CsvFile, seen: LogRow) -> None:
    if seen.line in read.lines and _cells(read, read.lines.index(seen.line)) == seen.cells:
        return
    sentence = "is no longer the row that was shown: look at it again"
    raise InputError([Problem(seen.file, seen.line, "", "", sentence)])


def _require_columns_for(read: CsvFile, seen: LogRow) -> None:
    """A cell beyond the last column would be lost when the row is written anew."""
    if any(read.rows[read.lines.index(seen.line)][len(read.header) :]):
        sentence = "holds more cells than the header names columns: put it right in the file itself"
        raise InputError([Problem(seen.file, seen.line, "", "", sentence)])


def _require_text(texts: Mapping[str, str]) -> None:
    for column, text in texts.items():
        if "\0" in text or any("\ud800" <= c <= "\udfff" for c in text):
            raise UsageError(f"{column}: holds characters that are not text.")


def _without_record(data: bytes, seen: LogRow) -> bytes:
    """The file without the record that begins on the line, everything else byte for byte as it was."""
    read = _read(data, seen.file)
    end = read.ends[read.lines.index(seen.line)]
    lines = list(io.StringIO(decode_text(data, seen.file), newline=""))
    text = "".join([*lines[: seen.line - 1], *lines[end:]])
    return (b"\xef\xbb\xbf" if read.bom else b"") + text.encode("utf-8")


def _refuse_new_problems(folder: Path, seen: LogRow, before: bytes, after: bytes) -> None:
    """Refuse a row that is wrong itself, or makes another one wrong that was right."""
    old, new = _problems(folder, seen.file, before), _problems(folder, seen.file, after)
    known = Counter(_kind(p) for p in old if p.line != seen.line)
    known.subtract(_kind(p) for p in new if p.line != seen.line)
    wrong = [p for p in new if p.line == seen.line]
    wrong += [p for p in new if p.line != seen.line and known[_kind(p)] < 0]
    if wrong:
        raise UsageError("\n".join(_words(p, seen) for p in dict.fromkeys(wrong)))


def _problems(folder: Path, file: str, data: bytes) -> list[Problem]:
    """What is wrong with one file of the log, alone and together with the others."""
    records = read_partial_build(folder)
    table = read_table(data, file, "log")
    logs: list[CheckedTable] = [table if t.file == file else t for t in records.logs]
    _, found, _ = read_sessions(logs, records.settings.builders, records.plan)
    return [*table.problems, *(p for p in found if p.file == file)]


def _kind(problem: Problem) -> tuple[str, str]:
    """A problem without its place: rows below may have moved by a line."""
    return problem.column, problem.value


def _words(problem: Problem, seen: LogRow) -> str:
    here = f"{seen.file}, line {seen.line}, "
    return str(problem).removeprefix(here)
