"""Rules for the words of a row: several tasks in one row, work that is not building, rework."""

from __future__ import annotations

import csv
import re
from functools import cache, lru_cache
from importlib import resources

from forecast.intake.sheet_cells import one_line

_CLAUSES = re.compile(
    r"(?:\s*(?:[;\n]|,(?!\d)|\.\s|\s\+\s|\s&\s|\s/\s|\bthen\b|\balso\b|\band\b)\s*)+", re.IGNORECASE
)
_BUILDING = re.compile(
    r"\b(?:(?:final|match|back|trial|test|dry|wet|block|more|finish\w*|start\w*|continu\w*)[ -]?)?(?:"
    r"cut|saw|trim|notch|form|bend|bent|flut|flang|roll|drill|ream|debur|fil(?:e|ed|ing)\b|polish|dimpl|"
    r"countersink|countersunk|csk|prim(?:e|ed|ing)\b|etch|alodin|scuff|rivet|buck|squeez|set\b|pull|"
    r"sho(?:o)?t\b|seal(?:ed|ing)?\b|fit|cleco|clamp|align|assembl|level|jig|glass|lay|laid|"
    r"fill(?:ed|ing)?\b|sand|glu|epox|bond|laminat|varnish|paint|spray|mask|wir|crimp|solder|run\b|ran\b|"
    r"rout|plumb|flar|install|mount|bolt|attach|hang|hung|torqu|test|rig|weigh|upholster|sew|vacuum bag|"
    r"re-?(?:do|did|ma[dk]e|drill|rivet|work))\w*"
)
_LEADING_WORDS = 3  # a clause names its work within its first words: judgement, tested on evaluation.csv


def split_tasks(text: str) -> list[str]:
    """Split a text into clauses that each begin with a kind of work, building or not.

    Cuts are made at `, ; . + & /`, line ends and the words and, then, also; a part that does not begin with
    a kind of work stays with the clause before it.

    Examples
    --------
    >>> split_tasks("drilled ribs and skins, deburred, ordered primer")
    ['drilled ribs and skins', 'deburred', 'ordered primer']
    """
    return list(_split_tasks(text))


@lru_cache(maxsize=4096)  # a sheet repeats its texts, and a take splits each of them several times
def _split_tasks(text: str) -> tuple[str, ...]:
    tasks: list[str] = []
    at = 0
    for cut in [*_CLAUSES.finditer(text), None]:
        clause = text[at : cut.start() if cut else len(text)].strip()
        after = one_line(text[cut.end() :]) if cut else ""
        if cut is not None and (not clause or not _names_work(after)):
            continue
        if clause:
            tasks.append(one_line(clause))
        at = cut.end() if cut else len(text)
    if not all(_names_work(t) for t in tasks):
        tasks = [one_line(text)]
    return tuple(filter(None, tasks))


def not_building(text: str) -> str:
    """The kind of work that is not building, or "" if any part of the text is building.

    Examples
    --------
    >>> not_building("Inventory of the wing kit"), not_building("ordered rivets, deburred ribs")
    ('inventory', '')
    """
    kinds = [clause_not_building(clause) for clause in split_tasks(text)]
    return kinds[0] if kinds and all(kinds) else ""


def clause_not_building(clause: str) -> str:
    """The kind of work other than building that the first words of one clause name, or ""."""
    words = one_line(clause).casefold()
    for kind, pattern in _not_building_patterns():
        found = pattern.search(words)
        before = words[: found.start()] if found else ""
        if found and before.count(" ") < _LEADING_WORDS and not _BUILDING.search(before):
            return kind
    return ""


def is_rework(text: str) -> bool:
    """Whether the words describe rework.

    Examples
    --------
    >>> is_rework("re-drilled bad hole"), is_rework("drilled ribs")
    (True, False)
    """
    return bool(_rework_pattern().search(one_line(text).casefold()))


def _names_work(clause: str) -> bool:
    return bool(_BUILDING.match(clause.casefold()) or clause_not_building(clause))


@cache
def _not_building_patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    kinds: dict[str, list[str]] = {}
    for row in read_words("not_building.csv"):
        kinds.setdefault(row["kind"], []).append(row["pattern"])
    return tuple((kind, re.compile(rf"\b(?:{'|'.join(patterns)})")) for kind, patterns in kinds.items())


@cache
def _rework_pattern() -> re.Pattern[str]:
    return re.compile("|".join(row["pattern"] for row in read_words("rework.csv")))


def read_words(name: str) -> list[dict[str, str]]:
    """The rows of one of the word lists in `forecast/intake/words`."""
    source = resources.files("forecast") / "intake" / "words" / name
    return list(csv.DictReader(source.read_text(encoding="utf-8").splitlines()))
