"""The API reference: one entry per name in `forecast.__all__`."""

from __future__ import annotations

import inspect
import re
from typing import Any

_GROUPS = ("Functions", "Classes", "Errors")
_CODE = re.compile(r"(`[^`]*`)")
_EXAMPLE = (">>>", "...")


def group_of(thing: Any) -> str:
    """The section of the reference that a public name belongs to; "" for plain values.

    Examples
    --------
    >>> group_of(ValueError), group_of(len), group_of("0.1.0")
    ('Errors', 'Functions', '')
    """
    if inspect.isclass(thing):
        return "Errors" if issubclass(thing, Exception) else "Classes"
    return "Functions" if callable(thing) else ""


def reference(names: list[str], things: dict[str, Any]) -> str:
    """The Markdown of the reference: every name once, in the order of `names` within its group."""
    parts = []
    for group in _GROUPS:
        members = [n for n in names if group_of(things[n]) == group]
        if members:
            entries = "\n".join(_entry(name, group) for name in members)
            parts.append(f"## {group}\n\n```{{eval-rst}}\n{entries}\n```\n")
    return "\n".join(parts)


def _entry(name: str, group: str) -> str:
    if group == "Functions":
        return f".. autofunction:: forecast.{name}\n"
    if group == "Errors":
        return f".. autoexception:: forecast.{name}\n   :show-inheritance:\n"
    return f".. autoclass:: forecast.{name}\n   :members:\n   :class-doc-from: class\n"


def escape_markup(lines: list[str]) -> list[str]:
    r"""Escape what reStructuredText would take for markup outside code: `|` in formulas, trailing `_`.

    Examples
    --------
    >>> print(escape_markup(["mean|x - y|, see `types_` and notes_"])[0])
    mean\|x - y\|, see `types_` and notes\_
    """
    return [line if line.lstrip().startswith(_EXAMPLE) else _escaped(line) for line in lines]


def _escaped(line: str) -> str:
    return "".join(
        part if part.startswith("`") else re.sub(r"_(?=\W|$)", r"\_", part.replace("|", r"\|"))
        for part in _CODE.split(line)
    )
