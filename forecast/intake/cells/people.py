"""Who was there, as people write it: `Jo & Sam`, `me + 2`, `3`, `Jo, Sam and two friends`."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from forecast.intake.builder_answers import HELPER
from forecast.intake.cells.labels import Labels, first_free, label_key, merge_labels
from forecast.intake.sheet_cells import Cell, Unread, cell_text, one_line

SELF = "me"
MOST_HELPERS = 99  # the most that a cell of log.csv can name
_SPLIT = re.compile(r"\s*[+&/,;\n]\s*|\s+(?:and|with|plus|und|mit|w/)\s+")
_SELF = re.compile(r"(?:just )?(?:me|myself|self|i|solo|alone|by myself)")
_HELPERS = re.compile(
    r"(\d{1,2}|an?|one|two|three|four)?\s*(?:helpers?|friends?|others?|guests?|kids?|people)"
)
_NUMBERS = {None: 1, "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4}
_LEAST_SHARE_OF_A_BUILDER = 0.1  # of the rows; judgement: who is there less often is a helper
_LONGEST_NAME = 60  # the longest id that build.toml allows


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """The people of one row: names as written (`SELF` for "me"), and the number of unnamed helpers."""

    names: tuple[str, ...] = ()
    unnamed: int = 0


@dataclass(frozen=True, kw_only=True)
class SheetCrew:
    """Builders and helpers behind the names of a sheet.

    Attributes
    ----------
    builders : ids; the first is meant where a row names nobody
    new_builders : those that build.toml does not have yet
    helpers : name that counts as a helper -> number of rows
    labels : spellings of the names
    id_of : `label_key` of a name -> builder id, or "helper"
    """

    builders: tuple[str, ...]
    new_builders: tuple[str, ...]
    helpers: Mapping[str, int]
    labels: Labels
    id_of: Mapping[str, str]

    def resolve(self, people: People) -> tuple[tuple[str, ...], int, bool]:
        """Builder ids (sorted), number of helpers, and whether a builder replaces a helper.

        A log row needs a builder: where a row names helpers only, the first builder replaces one of them,
        so that the person-hours are unchanged.
        """
        found = [self.builders[0] if n == SELF else self._id(n) for n in people.names]
        ids = sorted({i for i in found if i != HELPER})
        helpers = sum(i == HELPER for i in found) + people.unnamed
        if ids:
            return tuple(ids), helpers, False
        if not found:
            return (self.builders[0],), helpers, False
        return (self.builders[0],), helpers - 1, True

    def _id(self, name: str) -> str:
        return self.id_of.get(label_key(self.labels(name)), HELPER)


def read_people(cell: Cell) -> People | Unread:
    """Read the people of one cell; a number counts everybody.

    Examples
    --------
    >>> read_people("Jo & Sam"), read_people("me + 2 helpers").unnamed, read_people(3.0)
    (People(names=('Jo', 'Sam'), unnamed=0), 2, People(names=(), unnamed=2))
    >>> read_people("").names
    ()
    """
    text = cell_text(cell)
    if re.fullmatch(r"\d{1,3}", text):
        return _counted(int(text) - 1)
    names: list[str] = []
    unnamed = 0
    for part in filter(None, (one_line(p) for p in _SPLIT.split(text))):
        helpers = _HELPERS.fullmatch(part.casefold())
        if re.fullmatch(r"\d{1,2}", part):
            unnamed += int(part)
        elif helpers:
            number = helpers[1]
            unnamed += _NUMBERS[number] if number in _NUMBERS else int(number)
        elif _SELF.fullmatch(part.casefold()):
            names.append(SELF)
        elif len(part) > _LONGEST_NAME:
            return Unread("is too long for names")
        else:
            names.append(part)
    unique = tuple(dict.fromkeys(names))
    return People(names=unique, unnamed=unnamed) if unnamed <= MOST_HELPERS else _counted(unnamed)


def read_helpers(cell: Cell) -> People | Unread:
    """Read one cell of a column of helpers; a number counts helpers only.

    Examples
    --------
    >>> read_helpers(2.0).unnamed, read_helpers("Sam").names
    (2, ('Sam',))
    """
    text = cell_text(cell)
    return _counted(int(text)) if re.fullmatch(r"\d{1,3}", text) else read_people(cell)


def _counted(helpers: int) -> People | Unread:
    if not 0 <= helpers <= MOST_HELPERS:
        return Unread(f"must be a number of people from 1 to {MOST_HELPERS + 1}")
    return People(unnamed=helpers)


def identify_crew(
    rows: Iterable[People],
    *,
    known: Sequence[str],
    answers: Mapping[str, str],
    only_helpers: Iterable[str] = (),
) -> SheetCrew:
    """Tell builders from helpers.

    Parameters
    ----------
    rows : the people of each row
    known : builder ids of build.toml; while there are none, the names in a tenth of the rows or more (at
        least the most frequent one) are proposed as builders
    answers : name -> builder id or "helper", as the builder says
    only_helpers : names from a column of helpers

    Examples
    --------
    >>> rows = [People(names=("Jo",))] * 9 + [People(names=("Jo", "Sam T."))] * 3 + [People(names=("Kim",))]
    >>> crew = identify_crew(rows, known=(), answers={})
    >>> crew.builders, dict(crew.helpers), crew.resolve(People(names=("Kim", "Jo")))
    (('Jo', 'SamT.'), {'Kim': 1}, (('Jo',), 1, False))
    """
    listed = list(rows)
    names = [n for people in listed for n in people.names if n != SELF]
    labels = merge_labels(names, known=known)
    counts = Counter(labels(n) for n in names)
    answered = {label_key(name): who for name, who in answers.items()}
    barred = {label_key(labels(n)) for n in only_helpers}
    id_of: dict[str, str] = {label_key(k): k for k in known}
    new: list[str] = []
    for name, rows_with in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        key = label_key(name)
        wanted = answered.get(key)
        if wanted is not None:
            id_of[key] = wanted
            new += [wanted] if wanted not in (*known, *new, HELPER) else []
            continue
        is_frequent = not new or rows_with >= _LEAST_SHARE_OF_A_BUILDER * len(listed)
        if is_frequent and key not in id_of and not known and key not in barred:
            id_of[key] = builder_id(name, taken=new)
            new.append(id_of[key])
    builders = (*known, *new) or ("A",)
    helpers = {n: c for n, c in counts.items() if id_of.get(label_key(n), HELPER) == HELPER}
    return SheetCrew(
        builders=builders,
        new_builders=tuple(b for b in builders if b not in known),
        helpers=helpers,
        labels=labels,
        id_of=id_of,
    )


def builder_id(name: str, taken: Sequence[str] = ()) -> str:
    """Make an id for build.toml from a name: without blanks and +, and not only digits.

    Parameters
    ----------
    name : the name
    taken : ids that exist already

    Examples
    --------
    >>> builder_id("Sam T."), builder_id("42"), builder_id("Sam", taken=["Sam"])
    ('SamT.', 'B42', 'Sam2')
    """
    text = re.sub(r"[\s+]+", "", name)[:50] or "A"  # ids have 60 letters at most: ten are left for a number
    return first_free(f"B{text}" if text.isdigit() else text, taken)
