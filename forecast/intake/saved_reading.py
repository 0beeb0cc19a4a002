"""take.toml: how each foreign sheet was read, and which of its rows are in the folder already.

The file belongs to the program but is plain TOML, so that a builder can see what was decided. A row is
identified by a digest of its cells; its day, hours and words are stored beside it, so that a row changed in
the sheet later is recognized as the same row.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from forecast.errors import InputError
from forecast.intake.builder_answers import MEANINGS, BuilderAnswers, Several
from forecast.intake.cells.dates import EARLIEST, LATEST, Order
from forecast.intake.sheet_cells import SheetRow, cell_text, one_line

FILE = "take.toml"
_HEAD = (
    "# How benchdays reads your own sheets, and which of their rows it has taken in already.\n"
    "# Written by `benchdays take`, which does not preserve comments of your own.\n"
)
_ROW = re.compile(r"(\d+) ([0-9a-f]{16}) (\d{4}-\d{2}-\d{2}) ([\d.]+) ([0-9a-f]{8})", re.ASCII)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fingerprint:
    """What take.toml stores of one row, as texts.

    Attributes
    ----------
    line : where the row was
    key : digest of its cells
    day, hours, words : first day, hours, and digest of the words, to recognize the row after a change
    """

    line: int
    key: str
    day: str
    hours: str
    words: str

    def __str__(self) -> str:
        return f"{self.line} {self.key} {self.day} {self.hours} {self.words}"


@dataclass(frozen=True, kw_only=True)
class SavedSheet:
    """One foreign sheet: its file name and headings, the columns in a row's key, answers, rows taken in."""

    file: str
    headings: tuple[str, ...]
    keyed: tuple[str, ...]
    answers: BuilderAnswers
    taken: tuple[Fingerprint, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SavedReadings:
    """The contents of take.toml: the sheets, and the builder's task types (text -> type)."""

    sheets: tuple[SavedSheet, ...] = ()
    types: Mapping[str, str] = field(default_factory=dict)

    def sheet_for(self, file: str, headings: Sequence[str]) -> SavedSheet | None:
        """The sheet taken in earlier under this file name, or under another name with the same headings."""
        present = set(headings)
        fitting = [s for s in self.sheets if set(s.keyed) <= present]
        same_name = [s for s in fitting if s.file == file]
        same_headings = [s for s in fitting if set(s.headings) == present]
        return next(iter([*same_name, *same_headings]), None)

    def with_sheet(
        self, sheet: SavedSheet, before: SavedSheet | None, types: Mapping[str, str]
    ) -> SavedReadings:
        """A copy with one sheet replaced (added if `before` is None) and with further types."""
        if before is None:
            sheets = (*self.sheets, sheet)
        else:
            sheets = tuple(sheet if s is before or s == before else s for s in self.sheets)
        return replace(self, sheets=sheets, types={**self.types, **types})


def fingerprint_row(
    row: SheetRow, keyed: Mapping[str, int], day: date, hours: float, words: str
) -> Fingerprint:
    """Make the fingerprint of one row.

    Parameters
    ----------
    row : the row
    keyed : heading -> position of the columns in its key
    day, hours, words : first day, hours and text of the row
    """
    # 16 hexadecimal digits tell the rows of a sheet apart, 8 the words of the few rows that were changed.
    # Sorted by heading, so that moving a column of the sheet changes no key.
    text = "\x1f".join(f"{heading}\x1e{cell_text(row.cell(keyed[heading]))}" for heading in sorted(keyed))
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
    InputError : when the file is not what `write_saved` writes

    Examples
    --------
    >>> read_saved(b"").sheets
    ()
    """
    try:
        found = _TakeToml.model_validate(tomllib.loads(data.decode("utf-8")))
        return SavedReadings(sheets=tuple(map(_saved_sheet, found.sheet)), types=found.types)
    except ValidationError as error:
        first = error.errors()[0]
        reason = f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
    except (ValueError, RecursionError) as error:  # not UTF-8, not TOML, or a row that cannot be read
        reason = str(error)
    sentence = f"is not as the program wrote it ({reason[:100]}): fix it or delete it"
    raise InputError.about(FILE, sentence)


def write_saved(saved: SavedReadings) -> bytes:
    """take.toml as bytes, from which `read_saved` gets the same again."""
    blocks = [_HEAD, _block("types", saved.types)]
    for s in saved.sheets:
        blocks.append("[[sheet]]\n" + _lines({"file": s.file, "headings": s.headings, "key": s.keyed}))
        blocks.append(_block("sheet.columns", s.answers.columns))
        say = {f.alias or name: getattr(s.answers, name) for name, f in _Say.model_fields.items()}
        blocks.append(_block("sheet.say", {key: value for key, value in say.items() if value}))
        blocks.append(_block("sheet.days", s.answers.days))
        blocks.append(_block("sheet.stages", s.answers.stages))
        blocks.append(_block("sheet.people", s.answers.people))
        blocks.append("[sheet.taken]\nrows = '''\n" + "".join(f"{row}\n" for row in s.taken) + "'''\n")
    return "\n".join(b for b in blocks if b).encode("utf-8")


def toml_text(text: str) -> str:
    """A text as a TOML basic string, which is a JSON string but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _block(name: str, values: Mapping[str, Any]) -> str:
    return f"[{name}]\n{_lines(values)}" if values else ""


def _lines(values: Mapping[str, Any]) -> str:
    keys = {key: key if _BARE_KEY.fullmatch(key) else toml_text(key) for key in values}
    return "".join(f"{keys[key]} = {_toml(value)}\n" for key, value in values.items())


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return toml_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bool | int):
        return str(value).lower()
    return f"[{', '.join(map(_toml, value))}]"


def _known_meaning(meaning: str) -> str:
    if meaning not in MEANINGS:
        raise ValueError(f"{meaning!r} is not a known meaning")
    return meaning


class _Table(BaseModel):
    model_config = ConfigDict(strict=True)


class _Say(_Table):
    order: Order | None = None
    first_year: int | None = Field(default=None, alias="year", ge=EARLIEST.year, le=LATEST.year)
    blank_day_above: bool = False
    minutes_after_point: bool = False
    several: Several | None = None
    sheet: str | None = None


class _TakenRows(_Table):
    rows: str = ""


class _Sheet(_Table):
    file: str = ""
    headings: list[str] = []
    key: list[str] = []
    columns: dict[str, Annotated[str, AfterValidator(_known_meaning)]] = {}
    say: _Say = _Say()
    days: dict[str, date] = {}
    stages: dict[str, str] = {}
    people: dict[str, str] = {}
    taken: _TakenRows = _TakenRows()


class _TakeToml(_Table):
    sheet: list[_Sheet] = []
    types: dict[str, str] = {}


def _saved_sheet(found: _Sheet) -> SavedSheet:
    answers = BuilderAnswers(
        columns=found.columns,
        days=found.days,
        stages=found.stages,
        people=found.people,
        **found.say.model_dump(),
    )
    return SavedSheet(
        file=found.file,
        headings=tuple(found.headings),
        keyed=tuple(found.key),
        answers=answers,
        taken=tuple(_fingerprints(found.taken.rows)),
    )


def _fingerprints(rows: str) -> Iterator[Fingerprint]:
    for line in filter(None, map(str.strip, rows.splitlines())):
        found = _ROW.fullmatch(line)
        if found is None:
            raise ValueError(f"a row that was taken in is not readable: {line[:40]}")
        number, key, day, hours, words = found.groups()
        yield Fingerprint(line=int(number), key=key, day=day, hours=hours, words=words)
