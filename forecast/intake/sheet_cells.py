"""Sheets of cells, as every reader of a foreign file returns them: not interpreted yet."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

Cell = str | float | bool | date | datetime | time | timedelta | None

# Far more than any build log needs, and few enough to be read in seconds: judgement.
MOST_ROWS = 200_000
MOST_COLUMNS = 300
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One record: its file, its line (from 1) and its cells."""

    file: str
    line: int
    cells: tuple[Cell, ...]

    def cell(self, position: int) -> Cell:
        """The cell of one column (from 0); None where the record is shorter."""
        return self.cells[position] if position < len(self.cells) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of a file.

    Attributes
    ----------
    name : "" where the format has no sheets
    rows : the records, headings included
    headed : the headings where the format names its cells (front matter); None where they are a row
    """

    name: str
    rows: tuple[SheetRow, ...]
    headed: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadFile:
    """A file before interpretation: its sheets, the records that could not be read, and notices."""

    name: str
    sheets: tuple[Sheet, ...]
    unread: tuple[UnreadRecord, ...] = ()
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadRecord:
    """A record that could not be turned into a row, and the reason."""

    file: str
    line: int
    value: str
    reason: str


@dataclass(frozen=True, slots=True)
class Unread:
    """The reason why a cell cannot be read, as the second half of a sentence."""

    reason: str


def cell_text(cell: Cell) -> str:
    """A cell as text, equal for equal content in every file format.

    Examples
    --------
    >>> cell_text(2.0), cell_text(date(2026, 1, 2)), cell_text(" wing\\u00a0 "), cell_text(True)
    ('2', '2026-01-02', 'wing', 'yes')
    >>> cell_text(timedelta(hours=30, minutes=5)), cell_text(time(2, 30))
    ('30:05', '2:30')
    """
    if cell is None:
        return ""
    if isinstance(cell, str):
        return clean_text(cell)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ", "minutes")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        return f"{cell.hour}:{cell.minute:02d}"
    if isinstance(cell, timedelta):
        minutes = round(cell.total_seconds() / 60)
        sign = "-" if minutes < 0 else ""
        return f"{sign}{abs(minutes) // 60}:{abs(minutes) % 60:02d}"
    return f"{cell:.10g}"  # ten digits hide the rounding of binary fractions (0.1 + 0.2 is 0.3)


def clean_text(text: str) -> str:
    """Text NFC-normalized and stripped, without control characters, with plain spaces and line ends."""
    if text.isascii() and text.isprintable():
        return text.strip()
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
    printable = (c for c in text if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cs", "Cn"))
    return "".join(" " if c in "\t\u00a0\u202f\u2007" else c for c in printable).strip()


def one_line(text: str) -> str:
    """Text on one line, with single spaces."""
    return " ".join(text.split())


def is_blank(cells: Iterable[Cell]) -> bool:
    """Whether every cell of a record is blank."""
    return not any(cell_text(c) for c in cells)
