"""The answers and pictures of the report page of an invented build, for the gallery of questions."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = "sample_logs/turnstone"
AS_OF = "2026-09-30"
RUNS = 500

_SECTION = re.compile(r'<section id="([\w-]+)".*?</section>', re.DOTALL)
_ANSWER = re.compile(r'<p class="answer">(.*?)</p>', re.DOTALL)
_FIGURE = re.compile(r"<figure>.*?</figure>", re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What the report says to one question: its sentences and its pictures, as HTML."""

    sentences: tuple[str, ...]
    figures: tuple[str, ...]


def report_command(out: Path) -> list[str]:
    """The command that writes the report; few runs, because the pictures are only examples."""
    options = ["--as-of", AS_OF, "--runs", str(RUNS), "--out", str(out)]
    return [sys.executable, "-m", "forecast.cli", "report", SAMPLE, *options]


def answers_of(report: str) -> dict[str, Answer]:
    """The answers of a report page by the id of their section.

    Raises
    ------
    ValueError when the page has no sections.
    """
    found = {
        match[1]: Answer(
            sentences=tuple(s.strip() for s in _ANSWER.findall(match[0])),
            figures=tuple(_FIGURE.findall(match[0])),
        )
        for match in _SECTION.finditer(report)
    }
    if not found:
        raise ValueError("The report has no sections.")
    return found
