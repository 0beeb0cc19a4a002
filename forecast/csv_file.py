"""A CSV file as it stands on disk: bytes to records, remembering how the file was written.

What is read: UTF-8 with or without a byte order mark, comma, semicolon or tab between cells, any line
ending, quoted cells that run over several lines (RFC 4180). Anything else is refused in one sentence.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from forecast.errors import InputError, Problem

SEPARATORS = (",", ";", "\t")
_BOM = b"\xef\xbb\xbf"
_UTF16_BOMS = (b"\xff\xfe", b"\xfe\xff")
_FORMULA_STARTS = "=+-@\t\r"
_GUARDED = re.compile(r"'+[=+\-@\t\r]")


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvFile:
    """The records of one file.

    Attributes
    ----------
    name : the file as problems name it
    header : the column names, stripped, as the file writes them
    rows : one list of stripped cells a record, never shorter than the header
    lines : the line on which each record begins, counted from 1
    header_line : the line on which the header begins
    separator, newline, bom : how the file is written
    """

    name: str
    header: tuple[str, ...]
    rows: list[list[str]]
    lines: list[int]
    header_line: int
    separator: str
    newline: str
    bom: bool


def guard_formula(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe goes before `= + - @`, tab and CR.

    Examples
    --------
    >>> guard_formula("=1+1"), guard_formula("6 ribs"), guard_formula("'=1")
    ("'=1+1", '6 ribs', "''=1")
    """
    return f"'{text}" if text[:1] and (text[0] in _FORMULA_STARTS or _GUARDED.match(text)) else text


def unguard_formula(text: str) -> str:
    """Undo `guard_formula`.

    Examples
    --------
    >>> unguard_formula("'=1+1"), unguard_formula("'tis done")
    ('=1+1', "'tis done")
    """
    return text[1:] if text[:1] == "'" and _GUARDED.match(text) else text


def decode_text(data: bytes, name: str) -> str:
    """The text of a UTF-8 file without its byte order mark, composed (NFC) so that equal ids are equal."""
    if data.startswith(_UTF16_BOMS):
        raise _refused(name, None, "is UTF-16 text: save it again in UTF-8")
    if b"\0" in data:
        raise _refused(name, None, "is not a text file: it must hold text in UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        byte = data[error.start]
        raise _refused(name, line, f"is not UTF-8 (byte 0x{byte:02x}): save it again in UTF-8") from None
    return unicodedata.normalize("NFC", text)


def parse_csv(data: bytes, name: str, known: Collection[str]) -> CsvFile:
    """The records of a CSV file; `known` column names tell which separator the file uses.

    Raises
    ------
    InputError with one problem when the file as a whole cannot be read.

    Examples
    --------
    >>> read = parse_csv(b"date;hours\\r\\n2026-01-02;2,5\\r\\n", "log.csv", {"date", "hours"})
    >>> read.separator, read.rows, read.lines
    (';', [['2026-01-02', '2,5']], [2])
    """
    text = decode_text(data, name)
    separator = _separator(text, known)
    records, lines = _records(text, separator, name)
    if not records:
        raise _refused(name, None, "is empty: its first line must name the columns")
    header = tuple(records[0])
    return CsvFile(
        name=name,
        header=header,
        rows=[
            row + [""] * (len(header) - len(row)) if len(row) < len(header) else row for row in records[1:]
        ],
        lines=lines[1:],
        header_line=lines[0],
        separator=separator,
        newline=_newline(text),
        bom=data.startswith(_BOM),
    )


def format_record(cells: Sequence[str], separator: str) -> str:
    """One record as RFC 4180 writes it, without the line ending.

    Examples
    --------
    >>> format_record(["D1", 'the 6" rib, left', "two\\nlines"], ",")
    'D1,"the 6"" rib, left","two\\nlines"'
    """
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerow(cells)
    return out.getvalue().removesuffix("\r\n")


def _refused(name: str, line: int | None, sentence: str) -> InputError:
    return InputError([Problem(name, line, "", "", sentence)])


def _separator(text: str, known: Collection[str]) -> str:
    first = next((line for line in io.StringIO(text, newline="") if line.strip(" \t\r\n,;")), "")

    def names_known(separator: str) -> tuple[int, int]:
        cells = [cell.strip().strip('"').strip().casefold() for cell in first.split(separator)]
        return sum(cell in known for cell in cells), len(cells)

    return max(SEPARATORS, key=names_known)


def _newline(text: str) -> str:
    if "\r\n" in text:
        return "\r\n"
    return "\r" if "\r" in text and "\n" not in text else "\n"


def _records(text: str, separator: str, name: str) -> tuple[list[list[str]], list[int]]:
    """Every record that holds anything, with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records: list[list[str]] = []
    lines: list[int] = []
    begun = 1
    try:
        for record in reader:
            cells = [cell.strip() for cell in record]
            if any(cells):
                records.append(cells)
                lines.append(begun)
            begun = reader.line_num + 1
    except csv.Error as error:
        raise _refused(name, begun, _quote_sentence(str(error))) from None
    return records, lines


def _quote_sentence(error: str) -> str:
    if "unexpected end" in error:
        return "a quote is opened here and never closed, so nothing after it could be read"
    if "field larger" in error:
        return f"holds a cell of more than {csv.field_size_limit()} characters: a quote may be missing"
    return "a quoted cell goes on after its closing quote: write a quote inside a quoted cell twice"
