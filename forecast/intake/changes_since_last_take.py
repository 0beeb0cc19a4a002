"""Compare a sheet with the folder: rows that are new, that the folder has, and that were changed since.

Rows are counted, not only looked up: two equal sessions on one day are two rows.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from forecast.intake.conversion import ConvertedRow
from forecast.intake.saved_reading import Fingerprint
from forecast.intake.session_rows import Content

T = TypeVar("T")
# Content -> how often the folder has it, by whether the row is set aside.
Counts = dict[bool, Counter[Content]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedRow:
    """A row that was taken in earlier and differs in the sheet now; the folder keeps its own version."""

    file: str
    line: int
    before: Fingerprint
    now: Fingerprint

    def __str__(self) -> str:
        pairs = (
            ("the day", self.before.day, self.now.day),
            ("the hours", f"{float(self.before.hours):g}", f"{float(self.now.hours):g}"),
        )
        changes = [f"{what} changed from {old} to {new}" for what, old, new in pairs if old != new]
        if self.before.words != self.now.words:
            changes.append("the words changed")
        what = "; ".join(changes) or "another cell changed"
        return f"{self.file}, line {self.line} ({self.now.day}): since it was taken in, {what}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesSinceLastTake:
    """The rows of a sheet, by what the folder knows of them.

    Attributes
    ----------
    new : positions of the rows to add
    already : positions of the rows that the folder has
    changed : rows that were taken in earlier and differ now; they are not added again
    lost : positions of rows that were taken in earlier and that the folder no longer has; not added again
    gone : fingerprints of rows that were taken in earlier and that the sheet no longer has
    """

    new: tuple[int, ...]
    already: tuple[int, ...]
    changed: tuple[ChangedRow, ...] = ()
    lost: tuple[int, ...] = ()
    gone: tuple[Fingerprint, ...] = ()


def compare(
    converted: Sequence[ConvertedRow],
    fingerprints: Sequence[Fingerprint],
    taken: Sequence[Fingerprint],
    log: Counter[Content],
    set_aside: Counter[Content],
    *,
    again: bool = False,
) -> ChangesSinceLastTake:
    """Compare the rows of a sheet with the folder and with what earlier takes stored.

    If the folder has none of the rows that earlier takes added, these takes were undone, and all rows count
    as new.

    Parameters
    ----------
    converted, fingerprints : the rows of the sheet
    taken : fingerprints that earlier takes of this sheet stored
    log, set_aside : rows of the log and of not_building.csv -> how often they occur
    again : rows that the folder no longer has count as new
    """
    folder = {False: log, True: set_aside}
    keys = {f.key for f in taken}
    lost = _lost(converted, fingerprints, keys, folder)
    if again or not _any_left(converted, fingerprints, keys, lost):
        taken = [f for f in taken if f.key not in {fingerprints[i].key for i in lost}]
        lost = set()
    by_key: dict[str, list[Fingerprint]] = defaultdict(list)
    for f in taken:
        by_key[f.key].append(f)
    free = {False: Counter(log), True: Counter(set_aside)}
    already, unknown = [], []
    for i, (row, f) in enumerate(zip(converted, fingerprints, strict=True)):
        if by_key[f.key]:
            by_key[f.key].pop()
            already.append(i)
            _claim(row, free)
        else:
            unknown.append(i)
    present = [i for i in unknown if _is_in_folder(converted[i], free)]
    unknown = [i for i in unknown if i not in set(present)]
    unmatched = [f for found in by_key.values() for f in found]
    # A row that the builder has corrected both in the sheet and in the folder settles its old fingerprint.
    _, unmatched = _pair([(i, fingerprints[i]) for i in present], unmatched)
    pairs, gone = _pair([(i, fingerprints[i]) for i in unknown], unmatched)
    changed = (
        ChangedRow(file=converted[i].parsed.row.file, line=converted[i].line, before=old, now=fingerprints[i])
        for i, old in sorted(pairs.items())
    )
    return ChangesSinceLastTake(
        new=tuple(i for i in unknown if i not in pairs),
        already=tuple(sorted({*already, *present} - lost)),
        changed=tuple(changed),
        lost=tuple(sorted(lost & {*already, *present})),
        gone=tuple(gone),
    )


def _lost(
    converted: Sequence[ConvertedRow], fingerprints: Sequence[Fingerprint], keys: set[str], folder: Counts
) -> set[int]:
    """Rows taken in earlier of which the folder has no trace, even if the builder has edited them there."""
    traces = {set_aside: _traces(contents) for set_aside, contents in folder.items()}
    return {
        i
        for i, (row, f) in enumerate(zip(converted, fingerprints, strict=True))
        if f.key in keys and not all(_traces([r.content]) & traces[bool(r.set_aside)] for r in row.rows)
    }


def _traces(contents: Iterable[Content]) -> set[tuple[object, ...]]:
    """An edited row is the same row while its day stays, and either its hours or its note."""
    return {trace for c in contents for trace in ((c[0], "hours", c[3]), (c[0], "note", c[-1]))}


def _any_left(
    converted: Sequence[ConvertedRow], fingerprints: Sequence[Fingerprint], keys: set[str], lost: set[int]
) -> bool:
    """Whether the log still has any row that an earlier take added."""
    return any(
        f.key in keys and i not in lost and not row.is_set_aside
        for i, (row, f) in enumerate(zip(converted, fingerprints, strict=True))
    )


def spend(counts: Counter[T], item: T) -> bool:
    """Take one off a count, and return whether there was one."""
    if counts[item] > 0:
        counts[item] -= 1
        return True
    return False


def _is_in_folder(row: ConvertedRow, free: Counts) -> bool:
    """Whether the folder has all log rows of this row, not claimed by a row above; claims them if so."""
    wanted = Counter((bool(r.set_aside), r.content) for r in row.rows)
    if any(free[set_aside][content] < times for (set_aside, content), times in wanted.items()):
        return False
    _claim(row, free)
    return True


def _claim(row: ConvertedRow, free: Counts) -> None:
    for r in row.rows:
        spend(free[bool(r.set_aside)], r.content)


def _pair(
    rows: Sequence[tuple[int, Fingerprint]], taken: Sequence[Fingerprint]
) -> tuple[dict[int, Fingerprint], list[Fingerprint]]:
    """Match changed rows to what they were when they were taken in, and return what stays unmatched.

    Two of day, hours and words must be equal; for a row on the same line, day or words.
    """
    left = list(taken)
    pairs: dict[int, Fingerprint] = {}
    for key in _KEYS:
        candidates: dict[object, list[Fingerprint]] = defaultdict(list)
        for f in reversed(left):
            candidates[key(f)].append(f)
        for i, f in rows:
            if i not in pairs and candidates[key(f)]:
                pairs[i] = candidates[key(f)].pop()
        paired = Counter(pairs.values())
        left = [f for f in taken if not spend(paired, f)]
    return pairs, left


_KEYS = (
    lambda f: (f.day, f.words),
    lambda f: (f.day, f.hours),
    lambda f: (f.hours, f.words),
    lambda f: (f.line, f.day),
    lambda f: (f.line, f.words),
)
