"""CSV, TSV and other delimited text from anywhere: encoding and separator found from the whole file."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator

from forecast.errors import InputError, Problem
from forecast.files.csv_file import unguard_formula
from forecast.intake.sheet_cells import MOST_COLUMNS, MOST_ROWS, Cell, ReadFile, Sheet, SheetRow, is_blank

_SEPARATORS = (",", ";", "\t", "|")
_SAMPLE_RECORDS = 200
_LONG_CELL_LINES = 30


def decode(data: bytes, name: str) -> tuple[str, str]:
    """The text of a file, and a notice when its encoding had to be taken for granted.

    UTF-8 first, UTF-16 where a byte order mark says so, else the Windows code page 1252, in which
    spreadsheet programs of western countries save "CSV".

    Examples
    --------
    >>> decode("Höhe".encode(), "a.csv"), decode("Höhe".encode("cp1252"), "a.csv")[0]
    (('Höhe', ''), 'Höhe')
    """
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            return data.decode("utf-16"), ""
        if b"\0" in data:
            raise _refused(name, None, "is not a text file, an XLSX or an ODS file")
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError as error:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise _refused(name, None, "is damaged UTF-16 text") from error
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise _refused(name, None, "is neither UTF-8 nor Windows-1252 text: save it as UTF-8") from None
    return text, f"{name} is not UTF-8 and was read as Windows-1252: look at the accented letters."


def read_delimited(data: bytes, name: str) -> ReadFile:
    """The records of a delimited text file.

    Examples
    --------
    >>> read = read_delimited(b"date;hours\\n1/2/2026;2,5\\n", "my.csv")
    >>> [row.cells for row in read.sheets[0].rows]
    [('date', 'hours'), ('1/2/2026', '2,5')]
    """
    text, notice = decode(data, name)
    separator = find_separator(text)
    rows: list[SheetRow] = []
    notices = [notice] if notice else []
    for line, record in _records(text, separator, name):
        cells: tuple[Cell, ...] = tuple(unguard_formula(c.strip()) or None for c in record)
        if is_blank(cells):
            continue
        if len(rows) >= MOST_ROWS or len(cells) > MOST_COLUMNS and any(cells[MOST_COLUMNS:]):
            raise _refused(name, line, f"holds more than {MOST_ROWS} rows or {MOST_COLUMNS} columns")
        rows.append(SheetRow(file=name, line=line, cells=cells))
        longest = max(str(c).count("\n") for c in cells)
        if longest > _LONG_CELL_LINES:
            notices.append(f"{name}, line {line}: one cell runs over {longest} lines: is a quote missing?")
    return ReadFile(name=name, sheets=(Sheet(name="", rows=tuple(rows)),), notices=tuple(notices))


def find_separator(text: str) -> str:
    """The separator that cuts most records into the same number of cells, more than one.

    Examples
    --------
    >>> find_separator("date;hours\\n1.2.2026;2,5\\n2.2.2026;1,5\\n")
    ';'
    """

    def evenness(separator: str) -> tuple[float, int]:
        reader = csv.reader(io.StringIO(text[:200_000], newline=""), delimiter=separator)
        widths = Counter(len(r) for r, _ in zip(_lenient(reader), range(_SAMPLE_RECORDS), strict=False) if r)
        width, times = max(((w, n) for w, n in widths.items() if w > 1), key=_times, default=(1, 0))
        return times / max(sum(widths.values()), 1), width

    return max(_SEPARATORS, key=evenness)


def _times(width_and_times: tuple[int, int]) -> tuple[int, int]:
    return width_and_times[1], width_and_times[0]


def _lenient(reader: Iterator[list[str]]) -> Iterator[list[str]]:
    """Records until one is broken: enough to look at."""
    try:
        yield from reader
    except csv.Error:
        return


def _records(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records = []
    begun = 1
    try:
        for record in reader:
            records.append((begun, record))
            begun = reader.line_num + 1
    except csv.Error as error:
        raise _refused(name, begun, f"is broken here, so that nothing was taken ({error})") from None
    return records


def _refused(name: str, line: int | None, sentence: str) -> InputError:
    return InputError([Problem(name, line, "", "", sentence)])
