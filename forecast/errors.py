"""What can go wrong, as one tree, and how a problem in the builder's files is said.

BenchdaysError
├── InputError      problems in the builder's files        exit code 1
└── UsageError      the command was called wrongly         exit code 2
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in one place of one file, as one plain sentence.

    Examples
    --------
    >>> str(Problem("log.csv", 7, "hours", "25", "must be above 0 and at most 24 for one day"))
    "log.csv, line 7, hours: '25' must be above 0 and at most 24 for one day."
    """

    file: str
    line: int | None
    column: str
    value: str
    allowed: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        if self.column:
            place = f"{place}, {self.column}"
        shown = self.value if len(self.value) <= 60 else self.value[:57] + "..."
        said = f"{shown!r} {self.allowed}" if self.value else self.allowed
        return f"{place}: {said}."


class BenchdaysError(Exception):
    """The root of everything this program raises on purpose."""

    exit_code = 1


class InputError(BenchdaysError):
    """The builder's files hold problems; `problems` lists every one of them."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (p.file, p.line or 0, p.column, p.value)))
        super().__init__("\n".join(str(p) for p in self.problems))


class UsageError(BenchdaysError):
    """The command or function was called with something it does not take."""

    exit_code = 2
