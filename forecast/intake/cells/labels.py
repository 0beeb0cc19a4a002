"""Labels spelled in several ways: `wing`, `wings`, `wing `, `Wnig`.

Two spellings are proposed as one label when they have the same number of words, the same numbers and the
same sides (left is not right), and each word is equal, a plural, or a small typing error away. The builder
sees every proposal; nothing is merged silently.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache
from itertools import chain, count

from forecast.intake.sheet_cells import one_line

_WORD = re.compile(r"[^\W_]+")
# Judgement: a letter missing from a word of five (ratio 0.89) and two letters swapped in a word of eight
# (0.88) pass as a typing error; shorter words differ too easily ("wing", "ring").
_SHORTEST_TYPO = 5
_LEAST_SIMILARITY = 0.85
# A column with more labels than this is free text, where only case and blanks are merged.
_MOST_LABELS = 400
# Words that look alike and mean different places: never a typing error of each other.
_SIDES = frozenset(
    {
        "left", "right", "upper", "lower", "inner", "outer", "inboard", "outboard", "top", "bottom", "front",
        "rear", "forward", "aft", "fore", "port", "starboard", "inside", "outside", "male", "female",
    }
)  # fmt: skip
_SEPARATORS = re.compile(r"\s*[,/;\n]\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelGroup:
    """Spellings proposed as one label, and the number of rows that have one of them."""

    label: str
    spellings: tuple[str, ...]
    rows: int

    def __str__(self) -> str:
        others = ", ".join(f"'{s}'" for s in self.spellings if s != self.label)
        return f"{others} as '{self.label}' ({self.rows} rows)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """The labels of one column.

    Attributes
    ----------
    of : `label_key` of a spelling -> label
    groups : the labels with more than one spelling
    """

    of: Mapping[str, str]
    groups: tuple[LabelGroup, ...] = ()

    def __call__(self, spelling: str) -> str:
        """The label of one spelling; an unknown spelling is its own label."""
        return self.of.get(label_key(spelling), one_line(spelling))


def label_key(spelling: str) -> str:
    """A spelling without differences of case and blanks."""
    return one_line(spelling).casefold()


def merge_labels(
    spellings: Iterable[str], *, known: Collection[str] = (), answers: Mapping[str, str] | None = None
) -> Labels:
    """Propose which spellings are one label.

    Parameters
    ----------
    spellings : one per row, without blank ones
    known : labels that exist already (stages of the plan); they take precedence over frequent spellings
    answers : spelling -> label, as the builder says; takes precedence over everything else

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
    own = {label_key(spelling): one_line(label) for spelling, label in (answers or {}).items()}
    rank = {key: _rank(key, by_key, known, own) for key in {*by_key, *map(label_key, known), *own}}
    chosen: dict[str, str] = dict(own)
    leaders = [label_key(label) for label in own.values()]
    names = {label_key(k): k for k in known} | {label_key(label): label for label in own.values()}
    are_few = len(rank) <= _MOST_LABELS
    for key in sorted(rank, key=lambda k: rank[k]):
        if key in chosen:
            continue
        leader = next((x for x in leaders if are_near(key, x)), key) if are_few else key
        if leader == key:
            leaders.append(key)
        chosen[key] = names.setdefault(leader, _best_spelling(by_key, leader))
    return Labels(of=chosen, groups=_groups(chosen, by_key))


def _rank(
    key: str, by_key: Mapping[str, Counter[str]], known: Collection[str], own: Mapping[str, str]
) -> tuple[bool, bool, int, str]:
    """Answers first, then known labels, then frequent ones; the key itself decides between equals."""
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
    """Whether two spellings may be the same label.

    Parameters
    ----------
    one, other : the spellings

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
    if min(len(a), len(b)) < _SHORTEST_TYPO or a[0] != b[0]:
        return False
    return SequenceMatcher(None, a, b, autojunk=False).ratio() >= _LEAST_SIMILARITY


def _singular(word: str) -> str:
    if len(word) > 3 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-1]
    return word


def first_free(name: str, taken: Collection[str], form: str = "{}{}") -> str:
    """Make a name unique by a number from 2 up.

    Parameters
    ----------
    name : the name wanted
    taken : names that exist already
    form : how name and number are joined

    Examples
    --------
    >>> first_free("wing", ["wing", "wing-2"], "{}-{}")
    'wing-3'
    """
    numbered = (form.format(name, number) for number in count(2))
    return next(free for free in chain([name], numbered) if free not in taken)


def split_labels(cell: str) -> list[str]:
    """The labels of one cell that may hold several.

    Examples
    --------
    >>> split_labels("wing / tail, canopy"), split_labels("wing")
    (['wing', 'tail', 'canopy'], ['wing'])
    """
    return [part for part in (one_line(p) for p in _SEPARATORS.split(cell)) if part]
