"""Labels that somebody has spelled in several ways: `wing`, `wings`, `wing `, `Wnig`.

Two spellings are proposed as one when they have as many words, the same numbers and the same sides
(left is not right), and each word is equal, a plural, or one slip of the finger away. The builder sees
every proposal; nothing is joined in silence.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache

from forecast.intake.sheet_cells import one_line

_WORD = re.compile(r"[^\W_]+")
_LEAST_LETTERS_OF_A_SLIP = 5
_LEAST_LIKENESS = 0.85
# A column with more labels than this holds free text: only case and blanks are joined then.
_MOST_LABELS = 400
# Words that look alike and mean different places: never taken for a slip of each other.
_SIDES = frozenset(
    {
        "left", "right", "upper", "lower", "inner", "outer", "inboard", "outboard", "top", "bottom", "front",
        "rear", "forward", "aft", "fore", "port", "starboard", "inside", "outside", "male", "female",
    }
)  # fmt: skip
_SEPARATORS = re.compile(r"\s*[,/;\n]\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelGroup:
    """Spellings that are proposed as one label."""

    label: str
    spellings: tuple[str, ...]
    rows: int

    def __str__(self) -> str:
        others = ", ".join(f"'{s}'" for s in self.spellings if s != self.label)
        return f"{others} as '{self.label}' ({self.rows} rows)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """How the labels of one column are understood.

    Attributes
    ----------
    of : spelling, on one line and without case -> label
    groups : the labels that stand for more than one spelling
    """

    of: Mapping[str, str]
    groups: tuple[LabelGroup, ...] = ()

    def __call__(self, spelling: str) -> str:
        """The label of one spelling; one that was never seen stands for itself."""
        return self.of.get(label_key(spelling), one_line(spelling))


def label_key(spelling: str) -> str:
    """What two spellings share when they differ only in case and blanks."""
    return one_line(spelling).casefold()


def merge_labels(
    spellings: Iterable[str], *, known: Collection[str] = (), said: Mapping[str, str] | None = None
) -> Labels:
    """Propose which spellings stand for one label.

    Parameters
    ----------
    spellings : one a row, blanks left out
    known : labels that exist already (stages of the plan); they win over more frequent spellings
    said : the builder's own word: spelling -> label, which nothing overrules

    Examples
    --------
    >>> labels = merge_labels(["wing", "wing", "wings", "Wing ", "left rib", "right rib"])
    >>> labels("WINGS"), labels("left rib"), str(labels.groups[0])
    ('wing', 'left rib', "'Wing', 'wings' as 'wing' (4 rows)")
    """
    counts = Counter(one_line(s) for s in spellings)
    by_key: dict[str, Counter[str]] = {}
    for spelling, times in counts.items():
        by_key.setdefault(label_key(spelling), Counter())[spelling] += times
    own = {label_key(spelling): one_line(label) for spelling, label in (said or {}).items()}
    rank = {key: _rank(key, by_key, known, own) for key in {*by_key, *map(label_key, known), *own}}
    chosen: dict[str, str] = dict(own)
    leaders = [label_key(label) for label in own.values()]
    names = {label_key(k): k for k in known} | {label_key(label): label for label in own.values()}
    for key in sorted(rank, key=lambda k: rank[k]):
        if key in chosen:
            continue
        few = len(rank) <= _MOST_LABELS
        leader = next((x for x in leaders if are_near(key, x)), None) if few else None
        if leader is None:
            leaders.append(key)
            leader = key
        chosen[key] = names.setdefault(leader, _best_spelling(by_key, leader))
    return Labels(of=chosen, groups=_groups(chosen, by_key))


def _rank(
    key: str, by_key: Mapping[str, Counter[str]], known: Collection[str], own: Mapping[str, str]
) -> tuple[bool, bool, int, str]:
    times = sum(by_key[key].values()) if key in by_key else 0
    return key not in own, key not in set(map(label_key, known)), -times, key


def _best_spelling(by_key: Mapping[str, Counter[str]], key: str) -> str:
    spellings = by_key.get(key)
    return min(spellings, key=lambda s: (-spellings[s], s)) if spellings else key


def _groups(chosen: Mapping[str, str], by_key: Mapping[str, Counter[str]]) -> tuple[LabelGroup, ...]:
    together: dict[str, list[str]] = {}
    for key in by_key:
        together.setdefault(chosen[key], []).extend(by_key[key])
    rows = {label: sum(by_key[k].total() for k in by_key if chosen[k] == label) for label in together}
    return tuple(
        LabelGroup(label=label, spellings=tuple(sorted(spellings)), rows=rows[label])
        for label, spellings in sorted(together.items())
        if len(spellings) > 1 or spellings[0] != label
    )


def are_near(one: str, other: str) -> bool:
    """Whether two labels may be the same label, spelled twice.

    Examples
    --------
    >>> are_near("wing", "wings"), are_near("fuselage", "fueslage"), are_near("rib 1", "rib 2")
    (True, True, False)
    >>> are_near("left wing", "right wing"), are_near("wing", "wiring")
    (False, False)
    """
    ours, theirs = _words(one), _words(other)
    if not ours or not theirs:
        return label_key(one) == label_key(other)
    if len(ours) != len(theirs):
        return "".join(ours) == "".join(theirs)
    return all(_is_same_word(a, b) for a, b in zip(ours, theirs, strict=True))


@lru_cache(maxsize=10_000)
def _words(label: str) -> tuple[str, ...]:
    return tuple(_WORD.findall(label.casefold()))


def _is_same_word(a: str, b: str) -> bool:
    if a == b:
        return True
    if any(c.isdigit() for c in a + b) or (a in _SIDES and b in _SIDES):
        return False
    if _singular(a) == _singular(b):
        return True
    if min(len(a), len(b)) < _LEAST_LETTERS_OF_A_SLIP or a[0] != b[0]:
        return False
    return SequenceMatcher(None, a, b, autojunk=False).ratio() >= _LEAST_LIKENESS


def _singular(word: str) -> str:
    if len(word) > 3 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-1]
    return word


def split_labels(cell: str) -> list[str]:
    """The labels of one cell, in which several may stand.

    Examples
    --------
    >>> split_labels("wing / tail, canopy"), split_labels("wing")
    (['wing', 'tail', 'canopy'], ['wing'])
    """
    return [part for part in (one_line(p) for p in _SEPARATORS.split(cell)) if part]
