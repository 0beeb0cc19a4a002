"""The exception tree, and the wording of a problem in the builder's files.

BenchdaysError
├── InputError      problems in the builder's files        exit code 1
└── UsageError      the command was called wrongly         exit code 2
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_LONGEST_VALUE = 60  # judgement: a longer cell would push the rule out of the line


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in one place of one file, as one plain sentence.

    Attributes
    ----------
    file : name within the build folder
    line : line of the file, from 1; None when the whole file is meant
    column, value : the cell; "" where no single cell is meant
    allowed : the rule that the value breaks, as the second half of a sentence

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
        value = self.value
        shown = value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 3] + "..."
        return f"{place}: {shown!r} {self.allowed}." if value else f"{place}: {self.allowed}."

    @property
    def without_place(self) -> str:
        """The sentence without file and line, for a row that is not in the file yet."""
        return str(self).removeprefix(f"{self.file}, line {self.line}, ")


class BenchdaysError(Exception):
    """The root of everything this program raises on purpose."""

    exit_code = 1


class InputError(BenchdaysError):
    """The builder's files hold problems; `problems` lists every one of them, sorted by place."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (p.file, p.line or 0, p.column, p.value)))
        super().__init__("\n".join(str(p) for p in self.problems))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Problem, ...]]]:
        # An exception is pickled with its text by default; a worker process must hand over the problems.
        return type(self), (self.problems,)

    @classmethod
    def about(cls, file: str, sentence: str, line: int | None = None) -> InputError:
        """An error with one problem, about a file as a whole or one line of it.

        Examples
        --------
        >>> print(InputError.about("plan.csv", "is missing"))
        plan.csv: is missing.
        """
        return cls([Problem(file, line, "", "", sentence)])


class UsageError(BenchdaysError):
    """The command or function was called with something it does not take."""

    exit_code = 2


def first_few(things: Sequence[object], separator: str = "; ", most: int = 5) -> str:
    """The first few of a list that may be long, and how many more there are.

    Examples
    --------
    >>> first_few(["D1", "R1", "R2"], ", ", most=2)
    'D1, R1 and 1 more'
    """
    more = f" and {len(things) - most} more" if len(things) > most else ""
    return separator.join(map(str, things[:most])) + more
