"""The columns of each file of a build folder, from its Table Schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

SCHEMAS = Path(__file__).resolve().parents[2] / "forecast" / "schemas"


def columns_table(name: str) -> str:
    """The columns of `NAME.csv` as a Markdown table: name, meaning, what is allowed, what blank means.

    Examples
    --------
    >>> print(columns_table("away").splitlines()[2])
    | `builder` | id of the builder | text | everybody |
    """
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    unique = set(schema.get("primaryKey", ()))
    refers_to = {
        column: f"a `{key['reference']['fields'][0]}` of {key['reference']['resource'] or name}.csv"
        for key in schema.get("foreignKeys", ())
        for column in key["fields"]
    }
    rows = []
    for f in schema["fields"]:
        may_hold = refers_to.get(f["name"]) or allowed(f, unique=f["name"] in unique)
        rows.append(f"| `{f['name']}` | {_cell(f['description'])} | {_cell(may_hold)} | {_blank(f)} |")
    return "\n".join(["| Column | Meaning | Allowed | If blank |", "|---|---|---|---|", *rows])


def allowed(field: dict[str, Any], *, unique: bool = False) -> str:
    """What a cell of this column may hold, with its unit.

    Examples
    --------
    >>> allowed({"type": "number", "unit": "percent", "constraints": {"minimum": 0, "maximum": 100}})
    'number, 0 to 100 (percent)'
    """
    words = _kind(field) + _bounds(field) + (", unique" if unique else "")
    unit = field.get("unit", "")
    return f"{words} ({unit})" if unit and unit not in words else words


def _kind(field: dict[str, Any]) -> str:
    constraints = field.get("constraints", {})
    if "enum" in constraints:
        *first, last = (f"`{value}`" for value in constraints["enum"])
        return f"{', '.join(first)} or {last}"
    if field["type"] == "boolean":
        return f"`{field['trueValues'][0]}` or `{field['falseValues'][0]}`"
    reads_as = {
        "clock": "time as HH:MM",
        "hours": "`2.5` or `2:30`",
        "ids": "ids separated by spaces",
        "people": "ids joined by `+`",
        "uses": "`limit:amount` or `limit:amount@task`, separated by spaces",
    }
    if field.get("reads_as") in reads_as:
        return reads_as[field["reads_as"]]
    if field["type"] == "string":
        return "text without spaces" if constraints.get("pattern") == r"\S+" else "text"
    return {"date": "YYYY-MM-DD", "number": "number", "integer": "whole number"}[field["type"]]


def _bounds(field: dict[str, Any]) -> str:
    constraints = field.get("constraints", {})
    low, high = constraints.get("minimum"), constraints.get("maximum")
    if "exclusiveMinimum" in constraints:
        return f", above {constraints['exclusiveMinimum']}"
    if field["type"] == "date" and low and high:
        return f", {low[:4]} to {high[:4]}"
    if low is not None and high is not None:
        return f", {low} to {high}"
    return "" if low is None else f", at least {low}"


def _blank(field: dict[str, Any]) -> str:
    return "**required**" if field.get("constraints", {}).get("required") else _cell(field.get("blank", ""))


def _cell(text: str) -> str:
    return text.replace("|", r"\|").replace("*", r"\*")
