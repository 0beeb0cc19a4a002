"""CSV files: bytes to records and back, preserving separator, line endings and byte order mark.

Accepted: UTF-8 with or without a byte order mark; comma, semicolon or tab between cells; any line ending;
quoted cells that span lines (RFC 4180). Anything else is refused in one sentence.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from forecast.errors import InputError, UsageError

SEPARATORS = (",", ";", "\t")
_BOM = b"\xef\xbb\xbf"
_UTF16_BOMS = (b"\xff\xfe", b"\xfe\xff")
# What makes a spreadsheet compute a cell (OWASP, "CSV Injection").
_FORMULA_STARTS = "=+-@\t\r"
# A text that looks guarded is guarded once more, so that unguarding restores every text.
_GUARDED = re.compile(r"'+[=+\-@\t\r]")


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvFile:
    """The records of one file.

    Attributes
    ----------
    name : the file's name in problems
    header : the column names, stripped, in the file's own spelling
    rows : one list of stripped cells per record, padded to the width of the header
    lines, ends : first and last line of each record, counted from 1
    widths : number of cells of each record before padding
    header_line, header_end : first and last line of the header
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
    """Text that no spreadsheet evaluates: prefix an apostrophe to `= + - @`, tab and CR.

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


def require_text(cells: Mapping[str, str]) -> None:
    """Refuse NUL and lone surrogates, which no UTF-8 text file can hold.

    Raises
    ------
    UsageError : names the first column with such a character
    """
    for column, text in cells.items():
        if "\0" in text or any("\ud800" <= c <= "\udfff" for c in text):
            raise UsageError(f"{column}: contains characters that are not text.")


def decode_text(data: bytes, name: str) -> str:
    """The text of a UTF-8 file without its byte order mark.

    Raises
    ------
    InputError : for UTF-16, binary data and other encodings; `name` is the file's name in the problem
    """
    if data.startswith(_UTF16_BOMS):
        raise InputError.about(name, "is UTF-16 text: save it again in UTF-8")
    if b"\0" in data:
        raise InputError.about(name, "is not a text file: it must hold text in UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        sentence = f"is not UTF-8 (byte 0x{data[error.start]:02x}): save it again in UTF-8"
        raise InputError.about(name, sentence, data[: error.start].count(b"\n") + 1) from None


def parse_csv(data: bytes, name: str, known: Collection[str]) -> CsvFile:
    """Parse a CSV file into records.

    Parameters
    ----------
    data : content of the file
    name : its name in problems
    known : column names to look for in the header; the separator that finds most of them is used

    Raises
    ------
    InputError : one problem, when the file as a whole cannot be read

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
        raise InputError.about(name, "is empty: its first line must name the columns")
    header = tuple(records[0])
    width = len(header)
    return CsvFile(
        name=name,
        header=header,
        rows=[row + [""] * (width - len(row)) if len(row) < width else row for row in records[1:]],
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
    """One record in RFC 4180 form, without the line ending.

    Examples
    --------
    >>> format_record(["D1", 'the 6" rib, left', "two\\nlines"], ",")
    'D1,"the 6"" rib, left","two\\nlines"'
    """
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerow(cells)
    return out.getvalue().removesuffix("\r\n")


def with_records(
    data: bytes,
    name: str,
    columns: Sequence[str],
    rows: Sequence[Mapping[str, str]],
    *,
    after_line: int | None = None,
) -> tuple[bytes, int]:
    """Insert records into a CSV file and leave every other byte unchanged.

    New records take the file's own separator, line ending and column order.

    Parameters
    ----------
    data : content of the file
    name : its name in problems
    columns : columns that the file may have; those that a row fills and the file lacks are added to it
    rows : texts by column
    after_line : first line of the record to insert after; None to insert after the last record

    Returns
    -------
    The new content, and the line of the first new record.

    Raises
    ------
    InputError : when the file cannot be parsed, so that a new record could be lost in it

    Examples
    --------
    >>> with_records(b"hours;weather;date\\r\\n2;sun;2026-03-02\\r\\n", "log.csv", ["date", "hours"],
    ...              [{"date": "2026-03-03", "hours": "1.5"}])
    (b'hours;weather;date\\r\\n2;sun;2026-03-02\\r\\n1.5;;2026-03-03\\r\\n', 3)
    """
    read = parse_csv(data, name, columns)
    lines = list(io.StringIO(decode_text(data, name), newline=""))
    header = [column.casefold() for column in read.header]
    new_columns = [c for c in columns if c not in header and any(row.get(c) for row in rows)]
    if new_columns:
        _widen(lines, read, new_columns)
    header += new_columns
    place = read.ends[-1] if read.ends else read.header_end
    if after_line in read.lines:
        place = read.ends[read.lines.index(after_line)]
    if not lines[place - 1].endswith(("\n", "\r")):
        lines[place - 1] += read.newline
    lines[place:place] = [
        format_record([guard_formula(row.get(c, "")) for c in header], read.separator) + read.newline
        for row in rows
    ]
    return (_BOM if read.bom else b"") + "".join(lines).encode("utf-8"), place + 1


def _widen(lines: list[str], read: CsvFile, new_columns: Sequence[str]) -> None:
    """Append columns to the header, and blank cells for them to every record."""
    width = len(read.header) + len(new_columns)
    for row, line in zip(read.rows, read.lines, strict=True):
        if any(row[len(read.header) :]):
            raise InputError.about(read.name, "has more cells than the header names columns", line)
    more = {read.header_end: read.separator + format_record(new_columns, read.separator)}
    for written, end in zip(read.widths, read.ends, strict=True):
        more[end] = read.separator * (width - written)
    for end, text in more.items():
        body = lines[end - 1].rstrip("\r\n")
        lines[end - 1] = body + text + lines[end - 1][len(body) :]


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
    """Every record that is not blank, with its first and last line.

    Cells are NFC-normalized, so that an id typed on two systems is the same id. Normalizing comes after
    parsing because NFC turns the Greek question mark into a semicolon.
    """
    # Strict, so that a broken quote is reported instead of swallowing the rows below it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    normalized = unicodedata.is_normalized("NFC", text)
    records: list[list[str]] = []
    lines: list[int] = []
    ends: list[int] = []
    first_line = 1
    try:
        for record in reader:
            cells = [c.strip() if normalized else unicodedata.normalize("NFC", c).strip() for c in record]
            if any(cells):
                records.append(cells)
                lines.append(first_line)
                ends.append(reader.line_num)
            first_line = reader.line_num + 1
    except csv.Error as error:
        raise InputError.about(name, _quote_sentence(str(error)), first_line) from None
    return records, lines, ends


def _quote_sentence(error: str) -> str:
    if "unexpected end" in error:
        return "a quote is opened here and never closed, so nothing after it could be read"
    if "field larger" in error:
        return f"has a cell of more than {csv.field_size_limit()} characters: a quote may be missing"
    return "text follows the closing quote of a cell: double every quote inside a quoted cell"
