"""A CSV file as it stands on disk: bytes to records, remembering how the file was written.

What is read: UTF-8 with or without a byte order mark, comma, semicolon or tab between cells, any line
ending, quoted cells that run over several lines (RFC 4180). Anything else is refused in one sentence.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
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
    widths, ends : the number of cells and the last line of each record as the file writes it
    header_line, header_end : the first and the last line of the header
    separator, newline, bom : how the file is written
    """

    name: str
    header: tuple[str, ...]
    rows: list[list[str]]
    lines: list[int]
    widths: list[int]
    ends: list[int]
    header_line: int
    header_end: int
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
    """The text of a UTF-8 file without its byte order mark."""
    if data.startswith(_UTF16_BOMS):
        raise _refused(name, None, "is UTF-16 text: save it again in UTF-8")
    if b"\0" in data:
        raise _refused(name, None, "is not a text file: it must hold text in UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        byte = data[error.start]
        raise _refused(name, line, f"is not UTF-8 (byte 0x{byte:02x}): save it again in UTF-8") from None


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
    records, lines, ends = _records(text, separator, name)
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
        widths=[len(row) for row in records[1:]],
        ends=ends[1:],
        header_line=lines[0],
        header_end=ends[0],
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


def with_record(
    data: bytes,
    name: str,
    columns: Sequence[str],
    values: Mapping[str, str],
    *,
    after_line: int | None = None,
) -> tuple[bytes, int]:
    """The file with one record more, everything else byte for byte as it was, and the line of the record.

    The new record has the file's own separator, line ending and column order; a column of `values` that
    the file lacks is added to its header, and to every record. The record comes after the one that
    begins on `after_line`, or at the end.

    Raises
    ------
    InputError when the file cannot be read as CSV: a record added to it might be lost.

    Examples
    --------
    >>> with_record(b"hours;weather;date\\r\\n2;sun;2026-03-02\\r\\n", "log.csv", ["date", "hours"],
    ...             {"date": "2026-03-03", "hours": "1.5"})
    (b'hours;weather;date\\r\\n2;sun;2026-03-02\\r\\n1.5;;2026-03-03\\r\\n', 3)
    """
    read = parse_csv(data, name, columns)
    lines = list(io.StringIO(decode_text(data, name), newline=""))
    header = [column.casefold() for column in read.header]
    new_columns = [c for c in columns if values.get(c) and c not in header]
    if new_columns:
        _widen(lines, read, new_columns)
    cells = [guard_formula(values.get(column, "")) for column in [*header, *new_columns]]
    place = read.ends[-1] if read.ends else read.header_end
    if after_line in read.lines:
        place = read.ends[read.lines.index(after_line)]
    if not lines[place - 1].endswith(("\n", "\r")):
        lines[place - 1] += read.newline
    lines.insert(place, format_record(cells, read.separator) + read.newline)
    return (_BOM if read.bom else b"") + "".join(lines).encode("utf-8"), place + 1


def _widen(lines: list[str], read: CsvFile, new_columns: Sequence[str]) -> None:
    """Add columns at the end of the header and, blank, of every record."""
    width = len(read.header) + len(new_columns)
    for row, line in zip(read.rows, read.lines, strict=True):
        if any(row[len(read.header) :]):
            raise _refused(read.name, line, "holds more cells than the header names columns")
    more = {read.header_end: read.separator + format_record(new_columns, read.separator)}
    for written, end in zip(read.widths, read.ends, strict=True):
        more[end] = read.separator * (width - written)
    for end, text in more.items():
        body = lines[end - 1].rstrip("\r\n")
        lines[end - 1] = body + text + lines[end - 1][len(body) :]


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


def _records(text: str, separator: str, name: str) -> tuple[list[list[str]], list[int], list[int]]:
    """Every record that holds anything, with its first and its last line.

    Cells are composed (NFC), so that an id typed on two systems is one id: after the text is parted,
    because composing makes a semicolon of the Greek question mark.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    composed = unicodedata.is_normalized("NFC", text)
    records: list[list[str]] = []
    lines: list[int] = []
    ends: list[int] = []
    begun = 1
    try:
        for record in reader:
            cells = [c.strip() if composed else unicodedata.normalize("NFC", c).strip() for c in record]
            if any(cells):
                records.append(cells)
                lines.append(begun)
                ends.append(reader.line_num)
            begun = reader.line_num + 1
    except csv.Error as error:
        raise _refused(name, begun, _quote_sentence(str(error))) from None
    return records, lines, ends


def _quote_sentence(error: str) -> str:
    if "unexpected end" in error:
        return "a quote is opened here and never closed, so nothing after it could be read"
    if "field larger" in error:
        return f"holds a cell of more than {csv.field_size_limit()} characters: a quote may be missing"
    return "a quoted cell goes on after its closing quote: write a quote inside a quoted cell twice"
