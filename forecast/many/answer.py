"""The answer for one of many builds, and its row of the table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from forecast.questions.drivers import CAUSE_WORDS
from forecast.wording import format_percent

_LEAST_SHARE = 0.1  # a cause in fewer than a tenth of the runs is not worth a cell; a judgement
# Work in sequence and hands that are busy elsewhere: no delivery, limit or helper would change them.
_NO_WAIT = ("start", "after", "hands")


@dataclass(frozen=True, kw_only=True)
class BuildAnswer:
    """One build of many.

    Attributes
    ----------
    folder, name : its path, and the name in build.toml
    problems : sentences; if there are any, `answer` is None
    answer : as_of, runs, seed, basis, stages and build as in `Outlook.to_dict`; open_stages (names); and
        held_by: tasks with title and criticality, causes with their share of the runs

    Examples
    --------
    >>> BuildAnswer(folder="kit", name="Kit", problems=("is not a folder.",)).row()["problems"]
    'is not a folder.'
    """

    folder: str
    name: str
    problems: tuple[str, ...] = ()
    answer: Mapping[str, Any] | None = None

    @property
    def stage(self) -> Mapping[str, Any] | None:
        """The answer for the first open stage."""
        if self.answer is None or not self.answer["open_stages"]:
            return None
        first = self.answer["open_stages"][0]
        return next(s for s in self.answer["stages"] if s["stage"] == first)

    @property
    def finished(self) -> str | None:
        """The ISO day on which the build was finished, or None."""
        return None if self.answer is None else self.answer["build"]["finished"]

    @property
    def held_by(self) -> str:
        """What drives the finish date: the most frequent wait, and the most critical task."""
        if self.answer is None or self.finished:
            return ""
        drivers = self.answer["held_by"]
        waits = [
            (share, cause) for cause, share in drivers["causes"].items()
            if cause not in _NO_WAIT and share >= _LEAST_SHARE
        ]  # fmt: skip
        words = [CAUSE_WORDS[cause] for _, cause in sorted(waits, reverse=True)[:1]]
        words += [f"{t['title']} ({format_percent(t['critical'])})" for t in drivers["tasks"][:1]]
        return "; ".join(words)

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON."""
        head = {"folder": self.folder, "name": self.name, "problems": list(self.problems)}
        if self.answer is None:
            return head | {"stages": [], "build": None}
        keys = ("as_of", "runs", "seed", "basis", "stages", "build", "held_by")
        return head | {key: self.answer[key] for key in keys}

    def row(self) -> dict[str, str]:
        """One row of the table as texts; a date past the horizon is blank."""
        stage, whole = self.stage, self.answer["build"] if self.answer else None
        return {
            "folder": self.folder,
            "name": self.name,
            "as_of": self.answer["as_of"] if self.answer else "",
            "stage": stage["stage"] if stage else "",
            "stage_p50": _finish(stage, "p50"),
            "stage_p80": _finish(stage, "p80"),
            "build_p50": _finish(whole, "p50"),
            "build_p80": _finish(whole, "p80"),
            "finished": self.finished or "",
            "held_by": self.held_by,
            "problems": " ".join(self.problems),
        }


def _finish(target: Mapping[str, Any] | None, quantile: str) -> str:
    return (target["finish"][quantile] or "") if target else ""


CSV_COLUMNS = tuple(BuildAnswer(folder="", name="").row())
