"""What every reader of a foreign file gives: rows of cells, each with its place, nothing understood yet."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

Cell = str | float | bool | date | datetime | time | timedelta | None

MOST_ROWS = 200_000
MOST_COLUMNS = 300
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One record that holds anything: where it stands, and its cells."""

    file: str
    line: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet of a file: `name` is "" where the format knows no sheets.

    `headed` holds the headings where the format names its cells (front matter); a spreadsheet has them
    among its rows.
    """

    name: str
    rows: tuple[SheetRow, ...]
    headed: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadFile:
    """A file as it stands: its sheets, the records that could not be opened, and what was noticed."""

    name: str
    sheets: tuple[Sheet, ...]
    unread: tuple[UnreadRecord, ...] = ()
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadRecord:
    """A record of the file that could not be made into a row, and why."""

    file: str
    line: int
    value: str
    reason: str


@dataclass(frozen=True, slots=True)
class Unread:
    """Why a cell could not be read, as the second half of a sentence."""

    reason: str


def cell_text(cell: Cell) -> str:
    """A cell as text, the same for the same content in every format.

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
    return f"{cell:.10g}"


def clean_text(text: str) -> str:
    """Text composed (NFC), without control characters, with plain spaces and line ends, stripped."""
    if text.isascii() and text.isprintable():
        return text.strip()
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
    kept = (" " if c in "\t\u00a0\u202f\u2007" else c for c in text if _is_kept(c))
    return "".join(kept).strip()


def one_line(text: str) -> str:
    """Text on one line, for keys and for words said about it."""
    return " ".join(text.split())


def is_blank(cells: Iterable[Cell]) -> bool:
    """Whether no cell of a record holds anything."""
    return not any(cell_text(c) for c in cells)


def _is_kept(c: str) -> bool:
    return c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cs", "Cn")
