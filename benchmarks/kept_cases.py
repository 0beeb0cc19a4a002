"""Cases of a long study in a CSV file, build by build, so that it can be stopped, resumed and shared out.

Several processes may append to the same file: the rows of one build go down in one write.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd


@dataclass(frozen=True, kw_only=True)
class KeptCases:
    """A file of cases and what they were made with.

    Attributes
    ----------
    path : the CSV file; it need not exist
    made_with : column -> value that every row must have (seed, runs, ...)
    columns : of the file, beside those of `made_with`
    rows_a_build : a build with fewer rows was cut short and is done again; 0 = any number is whole
    """

    path: Path
    made_with: dict[str, int]
    columns: tuple[str, ...]
    rows_a_build: int = 0

    def read(self) -> pd.DataFrame:
        """Every case of every whole build.

        Raises
        ------
        SystemExit when the file was made with something else.
        """
        if not self.path.exists():
            return pd.DataFrame(columns=[*self.columns, *self.made_with])
        found = pd.read_csv(self.path)
        for name, value in self.made_with.items():
            if other := sorted(set(found[name]) - {value}):
                raise SystemExit(f"{self.path} was made with {name} {other[0]}, and {value} is asked for.")
        found = found.drop_duplicates([c for c in self.columns if c in ("build", "at", "target", "way")])
        if not self.rows_a_build:
            return found
        return found.loc[found.groupby("build")["build"].transform("size") == self.rows_a_build]

    def append(self, rows: Sequence[dict[str, object]]) -> None:
        """Add the cases of one build."""
        columns = [*self.columns, *self.made_with]
        frame = pd.DataFrame([row | self.made_with for row in rows], columns=columns)
        if not self.path.exists():
            self._write(",".join(columns) + "\n", os.O_EXCL)
        self._write(frame.to_csv(index=False, header=False), 0)

    def _write(self, text: str, more: int) -> None:
        try:
            handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | more, 0o644)
        except FileExistsError:  # another process wrote the headings first
            return
        try:
            os.write(handle, text.encode())
        finally:
            os.close(handle)


def part_of(text: str) -> tuple[int, int]:
    """Which share of the builds this process does.

    >>> part_of("2/3")
    (2, 3)
    """
    part, parts = (int(n) for n in text.split("/"))
    if not 1 <= part <= parts:
        raise ValueError(f"A part is written 1/2 or 2/2. Got {text!r} instead.")
    return part, parts
