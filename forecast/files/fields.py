"""The contract of each table: one Table Schema (Frictionless Data) file each, read by everything else.

From the schema come the reading of cells, the pandera contract of the typed frame, the sentences that
say what is allowed, and the documentation.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

HOURS_RULE = "must be hours as 2.5 or 2:30, above 0 and at most 24 for one day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column: what it means, what a cell may hold, what a blank cell stands for."""

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
        """How a cell is read: the type, or hours, where a string column holds hours."""
        return "hours" if self.reads_as == "hours" else self.type

    @property
    def required(self) -> bool:
        """Whether a blank cell is a problem."""
        return bool(self.constraints.get("required"))

    @property
    def meaning(self) -> str:
        """What the column holds, and the range that its numbers must keep."""
        bounds = _range_words(self.constraints) if self.type == "number" else ""
        return f"{self.description},{bounds}" if bounds else self.description

    @property
    def allowed(self) -> str:
        """What a cell may hold, as the second half of a sentence."""
        return _allowed(self)


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
        """The table for a page of documentation: column, meaning, what blank stands for.

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
    """The schema of one table: plan, log, deliveries, away, or sessions (the log inside the program).

    Examples
    --------
    >>> table_schema("away").columns
    ('builder', 'from', 'to', 'reason')
    >>> table_schema("plan").field("planned_hours").allowed
    'must be a number above 0'
    """
    source = resources.files("forecast") / "schemas" / f"{name}.json"
    found = json.loads(source.read_text(encoding="utf-8"))
    return TableSchema(name=name, title=found["title"], fields=tuple(_field(f) for f in found["fields"]))


def _field(found: dict[str, Any]) -> Field:
    return Field(
        name=found["name"],
        type=found["type"],
        description=found["description"],
        unit=found.get("unit", ""),
        blank=found.get("blank", ""),
        reads_as=found.get("reads_as", ""),
        constraints=found.get("constraints", {}),
        true_values=tuple(found.get("trueValues", ())),
        false_values=tuple(found.get("falseValues", ())),
    )


def _allowed(f: Field) -> str:
    if f.kind == "hours":
        return HOURS_RULE
    if f.type == "boolean":
        return f"must be {f.true_values[0]} or {f.false_values[0]}"
    if f.type == "date":
        return "must be a date that exists, written YYYY-MM-DD"
    if f.type in ("number", "integer"):
        return f"must be a number{_range_words(f.constraints)}"
    if "enum" in f.constraints:
        return f"must be one of {', '.join(f.constraints['enum'])}"
    if f.reads_as == "clock":
        return "must be a time of day as HH:MM"
    return "must be an id without spaces" if "pattern" in f.constraints else "must be text"


def _range_words(constraints: dict[str, Any]) -> str:
    if "minimum" in constraints and "maximum" in constraints:
        return f" from {constraints['minimum']} to {constraints['maximum']}"
    if "exclusiveMinimum" in constraints:
        return f" above {constraints['exclusiveMinimum']}"
    return f" of {constraints['minimum']} or more" if "minimum" in constraints else ""
