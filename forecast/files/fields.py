"""The contract of each table: one Table Schema (Frictionless Data) file per table.

The reading of cells, the pandera contract of the typed frame, the wording of problems and the documentation
all come from the schema.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

HOURS_RULE = "must be hours as 2.5 or 2:30, above 0 and at most 24 for one day"
_JSON_NAMES = {"trueValues": "true_values", "falseValues": "false_values"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column of a table.

    Attributes
    ----------
    name, type : column name and Table Schema type
    description, unit : what a cell means, and in which unit
    blank : what a blank cell means; "" where a blank cell is a problem
    reads_as : form of a string column that is more than free text: hours, clock, people, ids or uses
    constraints : Table Schema constraints (required, minimum, pattern, ...)
    true_values, false_values : spellings of a boolean, the first one preferred
    """

    name: str
    type: str
    description: str
    unit: str = ""
    blank: str = ""
    reads_as: str = ""
    constraints: dict[str, Any] = field(default_factory=dict)
    true_values: tuple[str, ...] = ()
    false_values: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        """How a cell is parsed: "hours" for a string column of hours, otherwise the type."""
        return "hours" if self.reads_as == "hours" else self.type

    @property
    def required(self) -> bool:
        """Whether a blank cell is a problem."""
        return bool(self.constraints.get("required"))

    @property
    def meaning(self) -> str:
        """What the column holds, with the bounds of its numbers."""
        bounds = _range_words(self.constraints) if self.type == "number" else ""
        return f"{self.description},{bounds}" if bounds else self.description

    @property
    def allowed(self) -> str:
        """What a cell may hold, as the second half of a sentence."""
        if self.kind == "hours":
            return HOURS_RULE
        if self.type == "boolean":
            return f"must be {self.true_values[0]} or {self.false_values[0]}"
        if self.type == "date":
            return "must be a date that exists, written YYYY-MM-DD"
        if self.type in ("number", "integer"):
            return f"must be a number{_range_words(self.constraints)}"
        if "enum" in self.constraints:
            return f"must be one of {', '.join(self.constraints['enum'])}"
        if self.reads_as == "clock":
            return "must be a time of day as HH:MM"
        return "must be an id without spaces" if "pattern" in self.constraints else "must be text"


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSchema:
    """One Table Schema file of `forecast/schemas`."""

    name: str
    title: str
    fields: tuple[Field, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """The column names in the order in which a new file is written."""
        return tuple(f.name for f in self.fields)

    @property
    def markdown(self) -> str:
        """The table for a page of documentation: column, meaning, what a blank cell means.

        Examples
        --------
        >>> print(table_schema("away").markdown.splitlines()[2])
        | builder | id of the builder | everybody |
        """
        rows = [f"| {f.name} | {f.meaning} | {f.blank or 'error'} |" for f in self.fields]
        return "\n".join(["| column | meaning | blank |", "|---|---|---|", *rows])

    def field(self, column: str) -> Field:
        """The field of one column."""
        return next(f for f in self.fields if f.name == column)


@cache
def table_schema(name: str) -> TableSchema:
    """The schema of one table: plan, log, deliveries, away, forecasts, or sessions (the log in memory).

    Examples
    --------
    >>> table_schema("away").columns
    ('builder', 'from', 'to', 'reason')
    >>> table_schema("plan").field("planned_hours").allowed
    'must be a number above 0'
    """
    source = resources.files("forecast") / "schemas" / f"{name}.json"
    schema = json.loads(source.read_text(encoding="utf-8"))
    return TableSchema(name=name, title=schema["title"], fields=tuple(_field(f) for f in schema["fields"]))


def _field(keys: dict[str, Any]) -> Field:
    arguments: dict[str, Any] = {}
    for key, value in keys.items():
        arguments[_JSON_NAMES.get(key, key)] = tuple(value) if isinstance(value, list) else value
    return Field(**arguments)


def _range_words(constraints: dict[str, Any]) -> str:
    if "minimum" in constraints and "maximum" in constraints:
        return f" from {constraints['minimum']} to {constraints['maximum']}"
    if "exclusiveMinimum" in constraints:
        return f" above {constraints['exclusiveMinimum']}"
    return f" of {constraints['minimum']} or more" if "minimum" in constraints else ""
