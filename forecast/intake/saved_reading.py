"""take.toml: how each foreign sheet was read, and which of its rows are in the folder already.

The file belongs to the program but is plain TOML, so that a builder can read what was decided. A row is
remembered by a digest of its cells, and beside it by its day, hours and words, so that a row changed in
the sheet later is recognised as the same row.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from forecast.errors import InputError, Problem
from forecast.intake.builder_answers import MEANINGS, BuilderAnswers
from forecast.intake.sheet_cells import Cell, SheetRow, cell_text, one_line

FILE = "take.toml"
_HEAD = (
    "# How benchdays reads your own sheets, and which of their rows it has taken already.\n"
    "# Written by `benchdays take`; comments of your own do not stay.\n"
)
_ROW = re.compile(r"(\d+) ([0-9a-f]{16}) (\d{4}-\d{2}-\d{2}) ([\d.]+) ([0-9a-f]{8})", re.ASCII)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fingerprint:
    """What is remembered of one row: where it stood, its digest, and its day, hours and words apart."""

    line: int
    key: str
    day: str
    hours: str
    words: str

    def __str__(self) -> str:
        return f"{self.line} {self.key} {self.day} {self.hours} {self.words}"


@dataclass(frozen=True, kw_only=True)
class SavedSheet:
    """One foreign sheet: its name, headings, the columns that make a row's key, answers, rows taken."""

    file: str
    headings: tuple[str, ...]
    keyed: tuple[str, ...]
    answers: BuilderAnswers
    marks: tuple[Fingerprint, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SavedReadings:
    """Everything in take.toml."""

    sheets: tuple[SavedSheet, ...] = ()
    types: Mapping[str, str] = field(default_factory=dict)

    def sheet_for(self, file: str, headings: Sequence[str]) -> SavedSheet | None:
        """The sheet taken before under this name, or under another name with the same headings."""
        there = set(headings)
        fitting = [s for s in self.sheets if set(s.keyed) <= there]
        same_name = [s for s in fitting if s.file == file]
        same_headings = [s for s in fitting if set(s.headings) == there]
        return next(iter([*same_name, *same_headings]), None)

    def with_sheet(
        self, sheet: SavedSheet, before: SavedSheet | None, types: Mapping[str, str]
    ) -> SavedReadings:
        """The same with one sheet put in, in the place of what it was before."""
        if before is None:
            return replace(self, sheets=(*self.sheets, sheet), types={**self.types, **types})
        sheets = tuple(sheet if s is before or s == before else s for s in self.sheets)
        return replace(self, sheets=sheets, types={**self.types, **types})


def fingerprint_row(
    row: SheetRow, keyed: Mapping[str, int], day: date, hours: float, words: str
) -> Fingerprint:
    """Remember one row by the columns that make its key: heading -> position."""
    cells = {h: _cell_at(row, i) for h, i in keyed.items()}
    text = "\x1f".join(f"{h}\x1e{cell_text(cells[h])}" for h in sorted(cells))
    return Fingerprint(
        line=row.line,
        key=_digest(text)[:16],
        day=day.isoformat(),
        hours=f"{hours:.4f}",
        words=_digest(one_line(words).casefold())[:8],
    )


def read_saved(data: bytes) -> SavedReadings:
    """Read a take.toml.

    Raises
    ------
    InputError when the file is not what `write_saved` writes.

    Examples
    --------
    >>> read_saved(b"").sheets
    ()
    """
    try:
        found = tomllib.loads(data.decode("utf-8"))
        sheets = tuple(_sheet(s) for s in _list(found.get("sheet", [])))
        return SavedReadings(sheets=sheets, types=_texts(found.get("types", {})))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        sentence = f"is not as the program wrote it ({str(error)[:100]}): put it right, or take it away"
        raise InputError([Problem(FILE, None, "", "", sentence)]) from None


def write_saved(saved: SavedReadings) -> bytes:
    """take.toml as bytes; reading them gives the same again."""
    blocks = [_HEAD]
    if saved.types:
        blocks.append(_block("types", saved.types))
    for s in saved.sheets:
        blocks.append("[[sheet]]\n" + _lines({"file": s.file, "headings": s.headings, "key": s.keyed}))
        blocks.append(_block("sheet.columns", s.answers.columns))
        say = {
            "order": s.answers.order,
            "year": s.answers.first_year,
            "blank_day_above": s.answers.blank_day_above or None,
            "minutes_after_point": s.answers.point_before_minutes or None,
            "several": s.answers.several,
            "sheet": s.answers.sheet,
        }
        blocks.append(_block("sheet.say", {k: v for k, v in say.items() if v is not None}))
        blocks.append(_block("sheet.days", s.answers.days))
        blocks.append(_block("sheet.stages", s.answers.stages))
        blocks.append(_block("sheet.people", s.answers.people))
        blocks.append("[sheet.taken]\nrows = '''\n" + "".join(f"{m}\n" for m in s.marks) + "'''\n")
    return "\n".join(b for b in blocks if b).encode("utf-8")


def _cell_at(row: SheetRow, position: int) -> Cell:
    return row.cells[position] if position < len(row.cells) else None


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _block(name: str, values: Mapping[str, Any]) -> str:
    return f"[{name}]\n{_lines(values)}" if values else ""


def _lines(values: Mapping[str, Any]) -> str:
    return "".join(f"{_toml_key(k)} = {_toml(v)}\n" for k, v in values.items())


def _toml_key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _toml(key)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return f"[{', '.join(map(_toml, value))}]"


def _sheet(found: Any) -> SavedSheet:
    table = _table(found)
    say = _table(table.get("say", {}))
    columns = _texts(table.get("columns", {}))
    if not set(columns.values()) <= set(MEANINGS):
        raise ValueError("a column has a meaning that is not known")
    order, several, year = say.get("order"), say.get("several"), say.get("year")
    if order not in (None, "day_first", "month_first") or several not in (None, "keep", "split"):
        raise ValueError("[sheet.say] holds an answer that is not known")
    if year is not None and (not isinstance(year, int) or not 1950 <= year <= 2199):
        raise ValueError("[sheet.say] holds an answer that is not known")
    days = _table(table.get("days", {}))
    if not all(type(d) is date for d in days.values()):
        raise ValueError("[sheet.days] must hold dates")
    answers = BuilderAnswers(
        columns=columns,
        order=order,
        first_year=year,
        blank_day_above=say.get("blank_day_above") is True,
        point_before_minutes=say.get("minutes_after_point") is True,
        several=several,
        sheet=_text_or_none(say.get("sheet")),
        days=days,
        stages=_texts(table.get("stages", {})),
        people=_texts(table.get("people", {})),
    )
    return SavedSheet(
        file=str(table.get("file", "")),
        headings=_strings(table.get("headings", [])),
        keyed=_strings(table.get("key", [])),
        answers=answers,
        marks=tuple(_marks(str(_table(table.get("taken", {})).get("rows", "")).splitlines())),
    )


def _marks(lines: Iterable[str]) -> Iterable[Fingerprint]:
    for line in lines:
        found = _ROW.fullmatch(line.strip())
        if found is None and line.strip():
            raise ValueError(f"a row that was taken is not readable: {line.strip()[:40]}")
        if found is not None:
            yield Fingerprint(line=int(found[1]), key=found[2], day=found[3], hours=found[4], words=found[5])


def _table(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError("a table is not a table")
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError("[[sheet]] must be written with two brackets")
    return value


def _texts(value: Any) -> dict[str, str]:
    table = _table(value)
    if not all(isinstance(v, str) for v in table.values()):
        raise ValueError("a text is not in quotes")
    return table


def _strings(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise ValueError("a list of headings is not one")
    return tuple(value)


def _text_or_none(value: Any) -> str | None:
    if value is not None and not isinstance(value, str):
        raise ValueError("a text is not in quotes")
    return value
