"""What is new since the last take of a grown sheet, what is there already, what was changed behind it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from forecast.intake.conversion import ConvertedRow
from forecast.intake.saved_reading import Fingerprint
from forecast.intake.session_rows import Content


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedRow:
    """A row taken earlier that the sheet now has differently; the folder keeps what it has."""

    file: str
    line: int
    was: Fingerprint
    now: Fingerprint

    def __str__(self) -> str:
        said = [
            f"{what} {old} is now {new}"
            for what, old, new in (
                ("the day", self.was.day, self.now.day),
                ("the hours", f"{float(self.was.hours):g}", f"{float(self.now.hours):g}"),
            )
            if old != new
        ]
        if self.was.words != self.now.words:
            said.append("its words are others")
        differs = "; ".join(said) or "another cell is different"
        return f"{self.file}, line {self.line} ({self.now.day}): was taken earlier, and since then {differs}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesSinceLastTake:
    """How the rows of a sheet stand to the folder.

    Attributes
    ----------
    new : positions of the rows to add
    already : positions of the rows that the folder has
    changed : rows that an earlier take added and that read differently now; not added again
    lost : positions of rows that an earlier take added and that the folder no longer has; not added again
    gone : marks of rows that an earlier take added and that the sheet no longer has
    """

    new: tuple[int, ...]
    already: tuple[int, ...]
    changed: tuple[ChangedRow, ...] = ()
    changed_rows: tuple[int, ...] = ()
    lost: tuple[int, ...] = ()
    gone: tuple[Fingerprint, ...] = ()


def compare(
    joined: Sequence[ConvertedRow],
    marks: Sequence[Fingerprint],
    taken: Sequence[Fingerprint],
    log: Counter[Content],
    apart: Counter[Content],
    *,
    again: bool = False,
) -> ChangesSinceLastTake:
    """Tell the rows of a sheet apart by what the folder knows of them.

    Rows are counted and not only looked up: two equal sessions on one day are two rows. Where the folder
    has none of the rows that earlier takes added, they were taken back, and all count as new.

    Parameters
    ----------
    joined, marks : the rows of the sheet and what would be remembered of each
    taken : what earlier takes of this sheet remembered
    log, apart : how often each row is in the log and in not_building.csv
    again : rows that the folder no longer has count as new
    """
    lost = _lost(joined, marks, {m.key for m in taken}, log, apart)
    if again or not _any_left(joined, marks, {m.key for m in taken}, lost):
        taken = [m for m in taken if m.key not in {marks[i].key for i in lost}]
        lost = set()
    left = Counter(m.key for m in taken)
    by_key: dict[str, list[Fingerprint]] = defaultdict(list)
    for m in taken:
        by_key[m.key].append(m)
    free = {False: Counter(log), True: Counter(apart)}
    already, unknown = [], []
    for i, (j, m) in enumerate(zip(joined, marks, strict=True)):
        if left[m.key] > 0:
            left[m.key] -= 1
            by_key[m.key].pop()
            already.append(i)
            _use_up(j, free)
        else:
            unknown.append(i)
    there = [i for i in unknown if _is_there(joined[i], free)]
    unknown = [i for i in unknown if i not in set(there)]
    over = [m for found in by_key.values() for m in found]
    # A row that the builder has put right in the folder as well settles what was taken earlier.
    _, over = _pair([(i, marks[i]) for i in there], over)
    pairs, gone = _pair([(i, marks[i]) for i in unknown], over)
    changes = tuple(
        ChangedRow(file=joined[i].raw.row.file, line=joined[i].raw.row.line, was=old, now=marks[i])
        for i, old in sorted(pairs.items())
    )
    return ChangesSinceLastTake(
        new=tuple(i for i in unknown if i not in pairs),
        already=tuple(sorted({*already, *there} - lost)),
        lost=tuple(sorted(lost & {*already, *there})),
        changed=changes,
        changed_rows=tuple(sorted(pairs)),
        gone=tuple(gone),
    )


def _lost(
    joined: Sequence[ConvertedRow],
    marks: Sequence[Fingerprint],
    known: set[str],
    log: Counter[Content],
    apart: Counter[Content],
) -> set[int]:
    """Rows taken earlier that the folder no longer has, whatever the builder may have put right in them."""
    traces = {False: _traces(log), True: _traces(apart)}
    return {
        i
        for i, (j, m) in enumerate(zip(joined, marks, strict=True))
        if m.key in known and not all(_traces([r.content]) & traces[bool(r.apart)] for r in j.rows)
    }


def _traces(contents: Iterable[Content]) -> set[tuple[object, ...]]:
    """A row keeps its trace while its day stays and either its hours or its note."""
    return {t for c in contents for t in ((c[0], "hours", c[3]), (c[0], "note", c[-1]))}


def _any_left(
    joined: Sequence[ConvertedRow], marks: Sequence[Fingerprint], known: set[str], lost: set[int]
) -> bool:
    """Whether any row of the log that an earlier take added is still there."""
    return any(
        m.key in known and i not in lost and not all(r.apart for r in j.rows)
        for i, (j, m) in enumerate(zip(joined, marks, strict=True))
    )


def _use_up(joined: ConvertedRow, free: dict[bool, Counter[Content]]) -> None:
    for row in joined.rows:
        counts = free[bool(row.apart)]
        if counts[row.content] > 0:
            counts[row.content] -= 1


def _is_there(joined: ConvertedRow, free: dict[bool, Counter[Content]]) -> bool:
    """Whether all log rows of this row are in the folder and not claimed by an earlier row."""
    wanted = Counter((bool(r.apart), r.content) for r in joined.rows)
    if any(free[apart][content] < times for (apart, content), times in wanted.items()):
        return False
    for (apart, content), times in wanted.items():
        free[apart][content] -= times
    return True


def _pair(
    new: Sequence[tuple[int, Fingerprint]], over: Sequence[Fingerprint]
) -> tuple[dict[int, Fingerprint], list[Fingerprint]]:
    """Which row that came anew is a row that was taken and is no longer there: two of three things agree.

    The three are the day, the hours and the words; a row on the same line needs only one.
    """
    left = list(over)
    pairs: dict[int, Fingerprint] = {}
    for likeness in (_likenesses[:3], _likenesses[3:]):
        for key in likeness:
            there: dict[object, list[Fingerprint]] = defaultdict(list)
            for m in reversed(left):
                there[key(m)].append(m)
            for i, m in new:
                if i not in pairs and there[key(m)]:
                    pairs[i] = there[key(m)].pop()
            taken = Counter(pairs.values())
            left = [m for m in over if not _spent(m, taken)]
    return pairs, left


def _spent(mark: Fingerprint, taken: Counter[Fingerprint]) -> bool:
    if taken[mark] > 0:
        taken[mark] -= 1
        return True
    return False


_likenesses = (
    lambda m: (m.day, m.words),
    lambda m: (m.day, m.hours),
    lambda m: (m.hours, m.words),
    lambda m: (m.line, m.day),
    lambda m: (m.line, m.words),
)
