"""Foreign CSV, TSV and other delimited text: encoding and separator are detected."""

from __future__ import annotations

import contextlib
import csv
import io
from collections import Counter
from collections.abc import Iterator
from itertools import islice

from forecast.errors import InputError
from forecast.files.csv_file import unguard_formula
from forecast.intake.sheet_cells import MOST_COLUMNS, MOST_ROWS, Cell, ReadFile, Sheet, SheetRow, is_blank

_SEPARATORS = (",", ";", "\t", "|")
# Enough records to see how many cells they have: judgement.
_SAMPLE_RECORDS = 200
_SAMPLE_LETTERS = 200_000
_LONG_CELL_LINES = 30  # judgement: a note is shorter, a cell with a missing quote usually longer


def decode(data: bytes, name: str) -> tuple[str, str]:
    """Decode a text file: UTF-8, UTF-16 with a byte order mark, or else Windows code page 1252.

    The code page is what spreadsheet programs of western countries use for "CSV".

    Parameters
    ----------
    data : content of the file
    name : its name in problems

    Returns
    -------
    The text, and a notice if the code page was assumed.

    Raises
    ------
    InputError : when the file is none of these

    Examples
    --------
    >>> decode("Höhe".encode(), "a.csv"), decode("Höhe".encode("cp1252"), "a.csv")[0]
    (('Höhe', ''), 'Höhe')
    """
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            return data.decode("utf-16"), ""
        if b"\0" in data:
            raise InputError.about(name, "is not a text file, an XLSX or an ODS file")
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError as error:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise InputError.about(name, "is damaged UTF-16 text") from error
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise InputError.about(name, "is neither UTF-8 nor Windows-1252 text: save it as UTF-8") from None
    return text, f"{name} is not UTF-8 and was read as Windows-1252: check the accented letters."


def read_delimited(data: bytes, name: str) -> ReadFile:
    """Read the records of a delimited text file.

    Parameters
    ----------
    data : content of the file
    name : its name in problems

    Raises
    ------
    InputError : when the file cannot be decoded or parsed, or is too large

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
            raise InputError.about(name, f"has more than {MOST_ROWS} rows or {MOST_COLUMNS} columns", line)
        rows.append(SheetRow(file=name, line=line, cells=cells))
        longest = max(str(c).count("\n") for c in cells)
        if longest > _LONG_CELL_LINES:
            notices.append(f"{name}, line {line}: one cell has {longest} line breaks: is a quote missing?")
    return ReadFile(name=name, sheets=(Sheet(name="", rows=tuple(rows)),), notices=tuple(notices))


def find_separator(text: str) -> str:
    """The separator that splits most records into the same number of cells, more than one.

    Examples
    --------
    >>> find_separator("date;hours\\n1.2.2026;2,5\\n2.2.2026;1,5\\n")
    ';'
    """

    def evenness(separator: str) -> tuple[float, int]:
        reader = csv.reader(io.StringIO(text[:_SAMPLE_LETTERS], newline=""), delimiter=separator)
        widths = Counter(len(record) for record in islice(_until_broken(reader), _SAMPLE_RECORDS) if record)
        times, width = max(((times, width) for width, times in widths.items() if width > 1), default=(0, 1))
        return times / max(widths.total(), 1), width

    return max(_SEPARATORS, key=evenness)


def _until_broken(reader: Iterator[list[str]]) -> Iterator[list[str]]:
    with contextlib.suppress(csv.Error):
        yield from reader


def _records(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    """Every record with its first line."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records = []
    first_line = 1
    try:
        for record in reader:
            records.append((first_line, record))
            first_line = reader.line_num + 1
    except csv.Error as error:
        sentence = f"is broken here, so that nothing was taken in ({error})"
        raise InputError.about(name, sentence, first_line) from None
    return records
