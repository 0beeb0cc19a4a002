"""Long studies part by part, so that a study can be stopped, resumed, and shared out over processes.

The cases of each finished part are appended to a file in one write, one JSON line per part.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

Part = tuple[Any, ...]


class ResumableCases:
    """The cases of the finished parts of a study.

    Parameters
    ----------
    file : where finished parts are cached; it need not exist. None: this process's memory only
    made_with : name -> value of what all cases of a file must share (seed, runs, ...)
    """

    def __init__(self, file: Path | None, made_with: Mapping[str, int]) -> None:
        self.file, self.made_with = file, dict(made_with)
        self._in_memory: dict[Part, Any] = {}

    def read(self) -> dict[Part, Any]:
        """Part -> its cases, for every finished part.

        Raises
        ------
        SystemExit when the file was made with other settings.
        """
        if self.file is None or not self.file.exists():
            return dict(self._in_memory)
        found = {}
        for line in filter(None, self.file.read_text(encoding="utf-8").split("\n")):
            try:
                one = json.loads(line)
            except json.JSONDecodeError:
                continue  # the write was interrupted: this part is not finished and will be done again
            for name, value in self.made_with.items():
                if one["made_with"][name] != value:
                    was = one["made_with"][name]
                    raise SystemExit(f"{self.file} was made with {name} {was}; this study uses {value}.")
            found[_hashable(one["part"])] = one["cases"]
        return found

    def append(self, part: Part, cases: Any) -> None:
        """Add a finished part; `part` and `cases` must be JSON values (NumPy scalars are converted)."""
        if self.file is None:
            self._in_memory[part] = cases
            return
        line = json.dumps({"made_with": self.made_with, "part": part, "cases": cases}, default=_scalar)
        self.file.parent.mkdir(parents=True, exist_ok=True)
        # The newline comes first: a line whose write was interrupted then spoils no other.
        with self.file.open("ab", buffering=0) as lines:
            lines.write(f"\n{line}".encode())

    def run(
        self, parts: Sequence[Part], study: Callable[..., Any], share: tuple[int, int] = (1, 1)
    ) -> list[Any] | None:
        """The cases of every part, in order; None, and a line of output, while other shares are unfinished.

        Parameters
        ----------
        parts : arguments of `study`, one tuple per part; JSON values, seeds included
        study : computes the cases of one part
        share : (n, of) -- this process does every `of`-th part from the n-th; see `share_of`
        """
        mine = parts[share[0] - 1 :: share[1]]
        finished = self.read()
        for number, part in enumerate(mine, start=1):
            if part not in finished:
                self.append(part, study(*part))
                print(f"{number} of {len(mine)}: {', '.join(map(str, part))}", flush=True)
        finished = self.read()
        done = sum(part in finished for part in parts)
        if done < len(parts):
            print(f"{done} of {len(parts)} parts are finished; the page is written when all are.")
            return None
        return [finished[part] for part in parts]


def _hashable(part: list[Any]) -> Part:
    """A part as it was before JSON made lists of its tuples."""
    return tuple(_hashable(value) if isinstance(value, list) else value for value in part)


def _scalar(value: Any) -> Any:
    """The Python number of a NumPy scalar.

    Raises
    ------
    TypeError for anything else that JSON does not know.
    """
    if not hasattr(value, "item"):
        raise TypeError(f"{type(value).__name__} is no JSON value.")
    return value.item()


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add `--cases` and `--part` to the command line of a study."""
    parser.add_argument("--cases", type=Path, help="cache finished parts in this file, and resume from it")
    parser.add_argument(
        "--part", type=share_of, default=(1, 1), help="share of this process: 1/2, 2/2 (default: all)"
    )


def run_parts(
    parts: Sequence[Part],
    study: Callable[..., Any],
    arguments: argparse.Namespace,
    made_with: Sequence[str] = (),
) -> pd.DataFrame | None:
    """All rows of a study whose parts are lists of rows; None while other processes are at work.

    Parameters
    ----------
    parts, study : as in `ResumableCases.run`
    arguments : the parsed command line, with those of `add_arguments`
    made_with : names of the arguments that all cases of a file must share
    """
    cases = ResumableCases(arguments.cases, {name: getattr(arguments, name) for name in made_with})
    found = cases.run(parts, study, arguments.part)
    return None if found is None else pd.DataFrame([row for rows in found for row in rows])


def share_of(text: str) -> tuple[int, int]:
    """Which share of the parts a process does.

    Raises
    ------
    ValueError when it is not written as 1/2 or 2/2.

    Examples
    --------
    >>> share_of("2/3")
    (2, 3)
    """
    share, shares = (int(n) for n in text.split("/"))
    if not 1 <= share <= shares:
        raise ValueError(f"a part must be written as 1/2 or 2/2. Got {text!r} instead.")
    return share, shares
