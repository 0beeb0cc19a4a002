"""What the household writes down: rounded, heaped, lumped, back-filled, incomplete."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from benchmarks.invented.lives.build import Piece
from benchmarks.invented.lives.traits import Records

Generator = np.random.Generator
REDONE = ("did it again", "drilled out and redone", "misfit, redone", "second try", "inspector's list")
REMARKS = (
    "quiet evening",
    "cold in the shop",
    "parts sorted first",
    "went well",
    "slow going",
    "read the plans twice",
)


@dataclass(frozen=True)
class Row:
    """One row of log.csv; ``pieces`` counts the true pieces in it."""

    first: date
    until: date | None
    hours: float
    piece: Piece
    note: str = ""
    start: str = ""
    pieces: int = 1

    @property
    def last(self) -> date:
        """Last day of the row."""
        return self.until or self.first


def keep_records(
    pieces: list[Piece], traits: Records, known_from: dict[str, date], rng: Generator
) -> tuple[tuple[Piece, ...], list[Row]]:
    """Mark which pieces are logged and how, and write the rows of the log.

    ``known_from`` gives the day on which a task came into the plan: no row is back-filled to before it.
    """
    fates = _Fates(traits, rng)
    marked = [_mark(piece, fates) for piece in pieces]
    rows = _same_day([Row(p.date, None, p.hours, p) for p in marked if p.logged])
    rows = _lump(rows, traits, rng)
    rows = _round(rows, traits, rng)
    rows = [_backfill(row, traits, known_from, pieces[0].date, rng) for row in rows]
    rows = [_remark(row, rng) for row in rows]
    # stable: rows of one day stay in the order in which the work was done
    rows.sort(key=lambda row: row.first)
    if traits.starts:
        rows = _add_starts(rows, rng)
    return tuple(marked), rows


class _Fates:
    """What the writer does with each day; carelessness comes in stretches of about a quarter."""

    def __init__(self, traits: Records, rng: Generator) -> None:
        self._traits = traits
        self._rng = rng
        self._days: dict[date, str] = {}
        self._quarters: dict[int, float] = {}

    def of(self, day: date) -> str:
        """``full``, ``unnamed`` or ``unlogged``."""
        if day not in self._days:
            quarter = day.toordinal() // 91
            if quarter not in self._quarters:
                self._quarters[quarter] = float(self._rng.uniform(0.5, 1.5))
            care, draw = self._quarters[quarter], self._rng.random()
            lost = min(0.95, care * self._traits.unlogged)
            vague = min(0.95, care * (self._traits.unlogged + self._traits.unnamed))
            self._days[day] = "unlogged" if draw < lost else ("unnamed" if draw < vague else "full")
        return self._days[day]


def _mark(piece: Piece, fates: _Fates) -> Piece:
    """Decide what of a piece reaches the log; a finished task is always ticked off by name."""
    fate = fates.of(piece.date)
    if piece.done:
        return piece
    if fate == "unlogged":
        return replace(piece, logged=False, task_named=False)
    return replace(piece, task_named=bool(piece.task) and fate == "full")


def _same_day(rows: list[Row]) -> list[Row]:
    """Join what the same people did at the same plan row, or under the same label, on one day.

    The joined row takes the place of its last session, so that a ``done`` comes after all that it ends.
    """
    joined: dict[int, Row] = {}
    latest: dict[tuple[object, ...], int] = {}
    for place, row in enumerate(rows):
        p = row.piece
        label = (p.task,) if p.task_named else (p.stage, p.type)
        key = (p.date, p.task_named, *label, p.builders, p.rework)
        at = latest.get(key)
        if at is not None and not joined[at].piece.done:
            row = _join(joined.pop(at), row)
        latest[key] = place
        joined[place] = row
    return list(joined.values())


def _lump(rows: list[Row], traits: Records, rng: Generator) -> list[Row]:
    """Join a session with the next of the same people at the same task within twelve days."""
    if not traits.lump:
        return rows
    joined: list[Row] = []
    latest: dict[str, int] = {}
    for row in rows:
        at = latest.get(row.piece.task)
        if at is not None and row.piece.task and _can_join(joined[at], row) and rng.random() < traits.lump:
            joined[at] = _join(joined[at], row)
            continue
        latest[row.piece.task] = len(joined)
        joined.append(row)
    return joined


def _can_join(first: Row, second: Row) -> bool:
    a, b = first.piece, second.piece
    return (
        not a.done
        and (a.task_named, a.builders, a.rework) == (b.task_named, b.builders, b.rework)
        and (second.piece.date - first.first).days <= 12
    )


def _join(first: Row, second: Row) -> Row:
    until = second.piece.date if second.piece.date != first.first else None
    counted = [p for p in (first.piece.pieces, second.piece.pieces) if p is not None]
    piece = replace(second.piece, pieces=sum(counted) if counted else None)
    return Row(first.first, until, first.hours + second.hours, piece, pieces=first.pieces + 1)


def _round(rows: list[Row], traits: Records, rng: Generator) -> list[Row]:
    """Round hours to the grid that the writer likes; what one row gains the next loses."""
    if traits.settle:
        return _settle(rows, traits, rng)
    carry, rounded = 0.0, []
    for row in rows:
        grid = _grid(row.hours, traits, rng)
        value = max(grid, grid * round((row.hours + carry) / grid))
        carry = float(np.clip(carry + row.hours - value, -1.0, 1.0))
        rounded.append(replace(row, hours=round(value, 4)))
    return rounded


def _settle(rows: list[Row], traits: Records, rng: Generator) -> list[Row]:
    """Round so that the rows of a task add up to its true person-hours: the last row takes the rest.

    A tidy writer looks up what the task should come to, so a task that took exactly the planned hours
    also does so in the log.
    """
    true: dict[str, float] = {}
    written: dict[str, float] = {}
    settled = []
    for row in rows:
        p = row.piece
        grid = _grid(row.hours, traits, rng)
        hours = max(grid, grid * round(row.hours / grid))
        if p.task and not p.rework:
            true[p.task] = true.get(p.task, 0.0) + row.hours * p.people
            if p.done:
                hours = max(0.25, (true[p.task] - written.get(p.task, 0.0)) / p.people)
            written[p.task] = written.get(p.task, 0.0) + hours * p.people
        settled.append(replace(row, hours=round(hours, 2)))
    return settled


def _grid(hours: float, traits: Records, rng: Generator) -> float:
    if traits.minutes:
        return 1 / 12
    draw = rng.random()
    if hours >= 0.7 and draw < traits.whole:
        return 1.0
    return 0.5 if hours >= 0.35 and draw < 1 - 0.35 * (1 - traits.whole) else 0.25


def _backfill(row: Row, traits: Records, known_from: dict[str, date], first: date, rng: Generator) -> Row:
    """Write a session down days later under a day from memory, never one that finished a task."""
    if rng.random() >= traits.backfill or row.piece.done or row.piece.rework or row.until is not None:
        return row
    earliest = max(first, known_from.get(row.piece.task, first))
    # the weekend before is what people remember
    day = row.first - timedelta(
        days=(row.first.weekday() - 5) % 7 if rng.random() < 0.6 else int(rng.integers(0, 4))
    )
    return replace(row, first=max(earliest, day)) if day <= row.first else row


def _remark(row: Row, rng: Generator) -> Row:
    """Add a few words to some rows, to most of those that did something again."""
    draw = rng.random(2)
    if row.piece.rework and draw[0] < 0.5:
        return replace(row, note=REDONE[int(draw[1] * len(REDONE))])
    if draw[0] < 0.06:
        return replace(row, note=REMARKS[int(draw[1] * len(REMARKS))])
    return row


def _add_starts(rows: list[Row], rng: Generator) -> list[Row]:
    """Add the time of day at which each row began; the rows of a person follow each other."""
    busy_until: dict[tuple[date, str], float] = {}
    timed = []
    for row in rows:
        first = (9 if row.first.weekday() >= 5 else 18) + int(rng.integers(0, 9)) / 4
        people = row.piece.builders.split("+")
        begins = max(busy_until.get((row.first, person), first) for person in people)
        # past midnight the row still belongs to the evening: a late start, so that the order of work shows
        begins = min(23.75, math.ceil(4 * begins - 1e-9) / 4)
        for person in people:
            busy_until[row.first, person] = begins + row.hours
        clock = f"{int(begins):02d}:{round(60 * (begins % 1)):02d}"
        timed.append(replace(row, start=clock if row.until is None else ""))
    return timed
