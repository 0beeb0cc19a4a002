"""The answer about one build of many, and the table of all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from forecast.questions.drivers import CAUSE_WORDS
from forecast.wording import format_percent

CSV_COLUMNS = (
    "folder", "name", "as_of", "stage", "stage_p50", "stage_p80", "build_p50", "build_p80", "finished",
    "held_by", "problems",
)  # fmt: skip
_WORTH_SAYING = 0.1
# Work in a row and hands that have other work are no waiting: nobody could help.
_NO_WAIT = ("start", "after", "hands")


@dataclass(frozen=True, kw_only=True)
class BuildAnswer:
    """One build of many.

    Attributes
    ----------
    folder, name : where it is kept, and what its builder calls it
    problems : sentences; with any the rest is None
    answer : as_of, runs, seed, basis, stages and build as `Outlook.to_dict` gives them, open_stages and
        held_by (tasks with title and criticality; causes with the share of the runs)
    """

    folder: str
    name: str
    problems: tuple[str, ...] = ()
    answer: Mapping[str, Any] | None = None

    @property
    def stage(self) -> Mapping[str, Any] | None:
        """The answer for the first stage that is open."""
        if self.answer is None or not self.answer["open_stages"]:
            return None
        wanted = self.answer["open_stages"][0]
        return next(s for s in self.answer["stages"] if s["stage"] == wanted)

    @property
    def finished(self) -> str | None:
        """The ISO day on which the build was finished, or None."""
        return None if self.answer is None else self.answer["build"]["finished"]

    @property
    def held_by(self) -> str:
        """What holds the date, in few words: what tasks wait for, and the task that it hangs on."""
        if self.answer is None or self.finished:
            return ""
        held = self.answer["held_by"]
        waits = [
            (share, cause) for cause, share in held["causes"].items()
            if cause not in _NO_WAIT and share >= _WORTH_SAYING
        ]  # fmt: skip
        words = [CAUSE_WORDS[cause] for _, cause in sorted(waits, reverse=True)[:1]]
        words += [f"{t['title']} ({format_percent(t['critical'])})" for t in held["tasks"][:1]]
        return "; ".join(words)

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON."""
        said = {"folder": self.folder, "name": self.name, "problems": list(self.problems)}
        if self.answer is None:
            return said | {"stages": [], "build": None}
        keys = ("as_of", "runs", "seed", "basis", "stages", "build", "held_by")
        return said | {key: self.answer[key] for key in keys}

    def row(self) -> dict[str, str]:
        """One row of the table as texts, by `CSV_COLUMNS`; a date past the horizon is blank."""
        stage, whole = self.stage, self.answer["build"] if self.answer else None
        return {
            "folder": self.folder,
            "name": self.name,
            "as_of": self.answer["as_of"] if self.answer else "",
            "stage": stage["stage"] if stage else "",
            "stage_p50": _at(stage, "p50"),
            "stage_p80": _at(stage, "p80"),
            "build_p50": _at(whole, "p50"),
            "build_p80": _at(whole, "p80"),
            "finished": self.finished or "",
            "held_by": self.held_by,
            "problems": " ".join(self.problems),
        }


def _at(target: Mapping[str, Any] | None, level: str) -> str:
    return (target["finish"][level] or "") if target else ""
