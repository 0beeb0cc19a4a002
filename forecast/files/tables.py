"""One CSV file read by its Table Schema: text cells to a typed frame that meets a pandera contract.

The whole table is read, and every bad cell becomes a `Problem`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.errors import Problem
from forecast.files.csv_file import CsvFile, parse_csv, unguard_formula
from forecast.files.fields import Field, TableSchema, table_schema

if TYPE_CHECKING:
    from pandera.pandas import Check, DataFrameSchema

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_CLOCK_HOURS = re.compile(r"(\d{1,6}):([0-5]\d)", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
DTYPES = {
    "string": "str", "number": "float64", "integer": "int64", "boolean": "bool", "date": "datetime64[us]",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CheckedTable:
    """One table as read: a typed frame and everything wrong with its cells.

    Attributes
    ----------
    file : the file's name in problems
    frame : one typed column per field of the schema, one row per record; NaN, NaT or "" where blank or bad
    line : shape (rows,), the line of each row in the file
    cells : the text of each column, as in the file
    problems : every bad cell
    ignored : columns of the file that the schema does not have
    """

    file: str
    frame: pd.DataFrame
    line: np.ndarray
    cells: dict[str, list[str]]
    problems: tuple[Problem, ...]
    ignored: tuple[str, ...]

    def only(self, chosen: np.ndarray | pd.Series) -> CheckedTable:
        """The rows where `chosen` is true; `problems` stays that of the whole table."""
        rows = np.flatnonzero(np.asarray(chosen))
        return replace(
            self,
            frame=self.frame.iloc[rows].reset_index(drop=True),
            line=self.line[rows],
            cells={column: [texts[row] for row in rows] for column, texts in self.cells.items()},
        )

    def problem(self, row: int, column: str, allowed: str, value: str | None = None) -> Problem:
        """A problem with one cell.

        Parameters
        ----------
        row, column : the cell; rows are counted from 0
        allowed : the rule that it breaks, as the second half of a sentence
        value : the part of the cell that breaks it; the whole cell if None
        """
        value = self.cells[column][row] if value is None else value
        return Problem(self.file, int(self.line[row]), column, value, allowed)

    def problems_where(self, bad: np.ndarray | pd.Series, column: str, allowed: str) -> list[Problem]:
        """The same problem for every row where `bad` (shape (rows,)) is true."""
        return [self.problem(int(row), column, allowed) for row in np.flatnonzero(np.asarray(bad))]


@cache
def contract(name: str) -> DataFrameSchema:
    """The pandera contract of one typed frame, built from its Table Schema.

    Examples
    --------
    >>> contract("log").columns["percent"].nullable
    True
    """
    # Imported late, because pandera takes longer to import than a small folder takes to read.
    from pandera.pandas import Column, DataFrameSchema

    return DataFrameSchema(
        {
            f.name: Column(_dtype(f), checks=_checks(f), nullable=_dtype(f) in ("float64", "datetime64[us]"))
            for f in table_schema(name).fields
        },
        name=name,
    )


def check_frame(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Check a typed frame against its contract.

    Parameters
    ----------
    frame : typed columns, as `read_table` makes them
    name : name of the table's schema

    Returns
    -------
    One row per cell that breaks the contract, with its `column` and `index`.
    """
    from pandera.errors import SchemaErrors

    try:
        contract(name).validate(frame, lazy=True)
    except SchemaErrors as errors:
        return errors.failure_cases[["column", "index"]].drop_duplicates().reset_index(drop=True)
    return pd.DataFrame({"column": [], "index": []})


def read_table(data: bytes, file: str, name: str) -> CheckedTable:
    """Read one CSV file by its schema.

    Parameters
    ----------
    data : content of the file
    file : its name in problems
    name : name of the table's schema, such as "log"

    Raises
    ------
    InputError : when the file as a whole cannot be read; bad cells are in `CheckedTable.problems` instead

    Examples
    --------
    >>> table = read_table(b"builder,from,to\\nA,2026-07-01,2026-13-01\\n", "away.csv", "away")
    >>> [str(p) for p in table.problems]
    ["away.csv, line 2, to: '2026-13-01' must be a date that exists, written YYYY-MM-DD."]
    """
    schema = table_schema(name)
    read = parse_csv(data, file, schema.columns)
    place, header_problems, ignored = _columns(read, schema)
    cells = {f.name: _cells(read, place.get(f.name)) for f in schema.fields}
    line = np.array(read.lines, dtype=np.int64)
    problems = header_problems + _too_many_cells(read)
    typed = {}
    for f in schema.fields:
        typed[f.name], bad = read_cells(cells[f.name], f, decimal_comma=read.separator != ",")
        if f.required and f.name in place:
            bad = bad | np.array([not c for c in cells[f.name]], dtype=bool)
        for row in np.flatnonzero(bad):
            text = cells[f.name][row]
            problems.append(Problem(file, int(line[row]), f.name, text, _rule_for(f, text, read.separator)))
    frame = pd.DataFrame(typed, index=pd.RangeIndex(len(line)))
    table = CheckedTable(
        file=file, frame=frame, line=line, cells=cells, problems=tuple(problems), ignored=ignored
    )
    return _with_contract(table, name, place)


def read_cells(cells: list[str], f: Field, *, decimal_comma: bool) -> tuple[pd.Series, np.ndarray]:
    """Convert text cells to one typed column.

    Parameters
    ----------
    cells : texts, shape (rows,)
    f : the field of the column
    decimal_comma : accept 2,5 for 2.5

    Returns
    -------
    The typed column, and a mask of the cells that could not be read (a blank cell can be).
    """
    if f.kind == "string":
        text = [unguard_formula(c) if c[:1] == "'" else c for c in cells]
        return pd.Series(text, dtype="str"), np.zeros(len(cells), dtype=bool)
    # A log repeats its dates, hours and quantities: each distinct text is parsed only once.
    codes, uniques = pd.factorize(np.array(cells, dtype=object))
    values, bad = [], []
    for text in uniques:
        value = _READERS[f.kind](text, f, decimal_comma) if text else _BLANK[f.kind]
        values.append(_BLANK[f.kind] if value is None else value)
        bad.append(value is None)
    column = np.array(values, dtype=_NUMPY[f.kind]).astype(_dtype(f))[codes]
    return pd.Series(column), np.array(bad, dtype=bool)[codes]


def read_number(text: str, *, decimal_comma: bool = False) -> float | None:
    """A finite decimal number in ASCII digits, or None for any other text.

    Parameters
    ----------
    text : the cell
    decimal_comma : accept 2,5 for 2.5

    Examples
    --------
    >>> read_number("2.50"), read_number("2,5"), read_number("2,5", decimal_comma=True), read_number("nan")
    (2.5, None, 2.5, None)
    """
    if decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if math.isfinite(value) else None


def read_hours(text: str, *, decimal_comma: bool = False) -> float | None:
    """Clock hours written as a decimal number or as H:MM, or None for any other text.

    Parameters
    ----------
    text : the cell
    decimal_comma : accept 2,5 for 2.5

    Examples
    --------
    >>> read_hours("2:30"), read_hours("2.5"), read_hours("2:75"), read_hours("two")
    (2.5, 2.5, None, None)
    """
    clock = _CLOCK_HOURS.fullmatch(text)
    if clock:
        return int(clock[1]) + int(clock[2]) / 60
    return read_number(text, decimal_comma=decimal_comma)


def read_date(text: str) -> date | None:
    """A date that exists, written YYYY-MM-DD, or None for any other text.

    Examples
    --------
    >>> read_date("2026-02-28"), read_date("2026-02-30"), read_date("20260228")
    (datetime.date(2026, 2, 28), None, None)
    """
    if not _DATE.fullmatch(text):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _read_boolean(text: str, f: Field, _: bool) -> bool | None:
    word = text.casefold()
    return True if word in f.true_values else False if word in f.false_values else None


_READERS: dict[str, Callable[[str, Field, bool], Any]] = {
    "number": lambda text, _, comma: read_number(text, decimal_comma=comma),
    "hours": lambda text, _, comma: read_hours(text, decimal_comma=comma),
    "date": lambda text, _, __: read_date(text),
    "boolean": _read_boolean,
}
_BLANK = {"number": math.nan, "hours": math.nan, "date": np.datetime64("NaT"), "boolean": False}
_NUMPY = {"number": "float64", "hours": "float64", "date": "datetime64[D]", "boolean": "bool"}


def _dtype(f: Field) -> str:
    return "float64" if f.kind == "hours" else DTYPES[f.type]


def _bound(f: Field, constraint: str) -> Any:
    value = f.constraints.get(constraint)
    return pd.Timestamp(value) if f.type == "date" and value is not None else value


def _checks(f: Field) -> list[Check]:
    from pandera.pandas import Check

    made = {"minimum": Check.ge, "exclusiveMinimum": Check.gt, "maximum": Check.le}
    checks = [check(_bound(f, c)) for c, check in made.items() if c in f.constraints]
    if "enum" in f.constraints:
        checks.append(Check.isin([*f.constraints["enum"], ""]))
    if "pattern" in f.constraints and _dtype(f) == "str":
        checks.append(Check.str_matches(rf"^(?:{f.constraints['pattern']})?$"))
    return checks


def _rule_for(f: Field, text: str, separator: str) -> str:
    if not text:
        return "must not be blank"
    decimal_comma = f.kind in ("number", "hours") and "," in text and separator == ","
    return f"{f.allowed} (a point before decimals)" if decimal_comma else f.allowed


def _columns(read: CsvFile, schema: TableSchema) -> tuple[dict[str, int], list[Problem], tuple[str, ...]]:
    """The position of each known column, the problems of the header, and the unknown columns."""
    place: dict[str, int] = {}
    ignored: list[str] = []
    problems: list[Problem] = []
    known = set(schema.columns)
    for position, written in enumerate(read.header):
        column = written.casefold()
        if column not in known:
            if written or any(row[position] for row in read.rows):
                ignored.append(written)
        elif column in place:
            problems.append(Problem(read.name, read.header_line, column, "", "this column appears twice"))
        else:
            place[column] = position
    for f in schema.fields:
        if f.required and f.name not in place:
            problems.append(Problem(read.name, read.header_line, f.name, "", "this column is missing"))
    return place, problems, tuple(ignored)


def _cells(read: CsvFile, position: int | None) -> list[str]:
    return [""] * len(read.rows) if position is None else [row[position] for row in read.rows]


def _too_many_cells(read: CsvFile) -> list[Problem]:
    width = len(read.header)
    return [
        Problem(read.name, line, "", "", f"has {len(row)} cells, but the header names {width} columns")
        for row, line in zip(read.rows, read.lines, strict=True)
        if len(row) > width and any(row[width:])
    ]


def _with_contract(table: CheckedTable, name: str, place: Collection[str]) -> CheckedTable:
    """Add the cells that break the contract, and the repeated keys, to the problems."""
    reported = {(p.line, p.column) for p in table.problems}
    found = []
    for column, row in check_frame(table.frame, name).itertuples(index=False):
        f = table_schema(name).field(column)
        if (int(table.line[row]), column) not in reported:
            first, last = f.constraints.get("minimum"), f.constraints.get("maximum")
            rule = f"must lie between {first} and {last}" if f.type == "date" else f.allowed
            found.append(table.problem(row, column, rule))
    for f in table_schema(name).fields:
        if f.constraints.get("unique") and f.name in place:
            found += _repeated(table, f.name)
    return replace(table, problems=(*table.problems, *found))


def _repeated(table: CheckedTable, column: str) -> list[Problem]:
    first: dict[str, int] = {}
    problems = []
    for row, text in enumerate(table.frame[column]):
        if text and text in first:
            problems.append(table.problem(row, column, f"must be unique: line {first[text]} has it too"))
        elif text:
            first[text] = int(table.line[row])
    return problems
