"""Which column is what: proposed from the headings and from what stands below them, with the reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from forecast.errors import UsageError
from forecast.intake.builder_answers import MEANINGS
from forecast.intake.cells.dates import (
    MIXED_ORDER,
    NO_ORDER,
    NO_YEAR,
    DateRules,
    is_day_number,
    read_date,
)
from forecast.intake.cells.durations import Unit, read_clock, read_duration
from forecast.intake.sheet_cells import Cell, Sheet, SheetRow, Unread, cell_text, one_line

_HEADINGS: Mapping[str, str] = {
    "date": "date|day|when|datum|fecha|session date|date worked|work date|start date|from|date from|days",
    "until": "until|to|end date|through|thru|bis|date to|last day|till|finish date",
    "start": "start|start time|begin|time in|in|started|clock in|beginn|von|time start|time begun",
    "end": "end|end time|finish|time out|out|stop|clock out|ende|stop time|time end|finish time",
    "people": "who|people|builder|builders|by|name|names|crew|worker|workers|person|persons|team|wer|"
    "worked by|no of people|number of people|people present|present|with whom|headcount",
    "helpers": "helpers|helper|with|assistants|assistant|helped by|help|no of helpers|number of helpers",
    "stage": "stage|section|area|assembly|sub assembly|subassembly|component|kit|sub kit|subkit|category|"
    "categories|group|chapter|phase|bereich|bauabschnitt|major part|part of kit|location on build",
    "task": "task|task id|step|item|plan ref|ref|id|plan step|task no|task number",
    "text": "description|desc|work|work done|activity|activities|what|details|title|tasks|job|did|summary|"
    "what i did|what we did|task description|beschreibung|arbeit|heading|subject|work performed|accomplished",
    "type": "type|task type|operation|kind|process|type of work|work type",
    "quantity": "quantity|qty|count|pieces|pcs|anzahl|number of pieces|parts done",
    "percent": "percent|done percent|percent done|percent complete|progress|complete percent",
    "done": "done|complete|completed|finished|fertig|task done|is done",
    "rework": "rework|redo|redone|again",
    "ignore": "weather|temperature|temp|cost|costs|price|money|mood|photo|photos|picture|pictures|link|url|"
    "where|place|tool|tools|music|invoice|supplier|total|week|weekday|month|year|balance",
    "note": "note|notes|comment|comments|remark|remarks|body|bemerkung|bemerkungen|notiz|notizen|tags",
}
_EXACT = {name: meaning for meaning, names in _HEADINGS.items() for name in names.split("|")}
_TIME_HEADING = re.compile(
    r"\b(?:time|duration|spent|worked|elapsed|dauer|temps|zeit|hours?|hrs?|h|std|stunden?|heures?|horas?|uren|"
    r"minutes?|mins?|minuten)\b"
)
_PERSON_HOURS = re.compile(r"\b(?:person|people|man|labou?r|crew)[ -]?(?:hours?|hrs?|h)\b")
_HOURS = re.compile(r"\b(?:hours?|hrs?|h|std|stunden?|heures?|horas?|uren)\b")
_MINUTES = re.compile(r"\b(?:minutes?|mins?|minuten)\b")
_SINGLE = tuple(m for m in MEANINGS if m not in ("text", "note", "ignore"))
_TIMES = ("hours", "minutes", "person_hours", "duration")
_UNITS: Mapping[str, Unit] = {"hours": "hours", "minutes": "minutes", "person_hours": "person_hours"}
_LOOK_AT_ROWS = 20
_LEAST_SCORE = 0.3
_ANY_DAY = DateRules(today=date(9998, 1, 1), day_numbers=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetColumn:
    """One column: what it is taken for, and why.

    Attributes
    ----------
    heading : as the file has it, made different where it is there twice
    position : its place in the rows, from 0
    meaning : a key of `answers.MEANINGS`
    reason : the second half of a sentence
    filled : rows in which it holds anything
    said : whether the builder said so
    """

    heading: str
    position: int
    meaning: str
    reason: str
    filled: int
    said: bool = False


@dataclass(frozen=True, kw_only=True)
class HeadedSheet:
    """A sheet with its headings told from its rows.

    `above` are the rows above the headings, `headings_row` is the row that holds them (None: none does).
    """

    sheet: Sheet
    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    above: tuple[SheetRow, ...]
    headings_row: SheetRow | None


def find_headings(sheet: Sheet) -> HeadedSheet:
    """Find the row of headings among the first rows of a sheet.

    Examples
    --------
    >>> rows = [("My log",), ("Date", "Hours", "Work"), ("2026-01-02", 2.0, "drilled")]
    >>> rows = tuple(SheetRow(file="f", line=i, cells=r) for i, r in enumerate(rows, 1))
    >>> found = find_headings(Sheet(name="", rows=rows))
    >>> found.headings, len(found.above), len(found.rows)
    (('Date', 'Hours', 'Work'), 1, 1)
    """
    width = max((len(row.cells) for row in sheet.rows), default=0)
    if sheet.headed is not None:
        return HeadedSheet(sheet=sheet, headings=sheet.headed, rows=sheet.rows, above=(), headings_row=None)
    scores = [_heading_score(row) for row in sheet.rows[:_LOOK_AT_ROWS]]
    best = max(range(len(scores)), key=lambda i: (scores[i], -i), default=0)
    if not scores or scores[best] < 2:
        names = tuple(f"column {_letters(i)}" for i in range(width))
        return HeadedSheet(sheet=sheet, headings=names, rows=sheet.rows, above=(), headings_row=None)
    row = sheet.rows[best]
    written = [one_line(cell_text(c)) for c in row.cells] + [""] * (width - len(row.cells))
    return HeadedSheet(
        sheet=sheet,
        headings=_all_different(written),
        rows=sheet.rows[best + 1 :],
        above=sheet.rows[:best],
        headings_row=row,
    )


def propose_columns(headed: HeadedSheet, said: Mapping[str, str]) -> tuple[SheetColumn, ...]:
    """What each column is taken for.

    Parameters
    ----------
    headed : the sheet
    said : heading -> meaning, the builder's own word, which nothing overrules

    Raises
    ------
    UsageError when `said` names a column that is not there.
    """
    own = _own_word(headed.headings, said)
    cells = {
        h: [row.cells[i] if i < len(row.cells) else None for row in headed.rows]
        for i, h in enumerate(headed.headings)
    }
    filled = {h: [c for c in column if cell_text(c)] for h, column in cells.items()}
    proposed = {h: own[h] for h in own}
    wishes = {h: _wishes(h, filled[h]) for h in headed.headings if h not in own}
    taken = set(own.values())
    for meaning in _SINGLE:
        group = set(_TIMES) if meaning in _TIMES else {meaning}
        if group & taken:
            continue
        open_ones = [h for h in wishes if h not in proposed]
        best = max(open_ones, key=lambda h: wishes[h].get(meaning, 0.0), default=None)
        if best is not None and _is_best(wishes[best], meaning, taken):
            proposed[best] = meaning
            taken.add(meaning)
    _drop_running_totals(proposed, own, cells)
    for h in wishes:
        if h not in proposed:
            proposed[h] = _free_text(wishes[h])
    return tuple(
        SheetColumn(
            heading=h,
            position=i,
            meaning=proposed[h],
            reason=_reason(h, proposed[h], filled[h], h in own),
            filled=len(filled[h]),
            said=h in own,
        )
        for i, h in enumerate(headed.headings)
    )


def unit_of(meaning: str) -> Unit | None:
    """The unit of bare numbers under a column of this meaning, or None."""
    return _UNITS.get(meaning)


def _own_word(headings: Sequence[str], said: Mapping[str, str]) -> dict[str, str]:
    by_key = {_key(h): h for h in reversed(headings)}
    own = {}
    for heading, meaning in said.items():
        if _key(heading) not in by_key:
            raise UsageError(f"There is no column {heading!r}; there are: {', '.join(headings)}.")
        own[by_key[_key(heading)]] = meaning
    return own


def _key(heading: str) -> str:
    said = heading.replace("%", " percent ").replace("#", " no of ").casefold()
    return re.sub(r"[\W_]+", " ", said).strip()


def _all_different(written: Sequence[str]) -> tuple[str, ...]:
    out: list[str] = []
    for i, heading in enumerate(written):
        name = heading or f"column {_letters(i)}"
        times = 2
        while name in out:
            name = f"{heading} ({times})"
            times += 1
        out.append(name)
    return tuple(out)


def _letters(i: int) -> str:
    letters = ""
    i += 1
    while i:
        i, rest = divmod(i - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _heading_score(row: SheetRow) -> int:
    """How many cells of a row are headings that are known; none where the row holds data."""
    if any(isinstance(c, float | bool | date | time | timedelta) for c in row.cells):
        return 0
    texts = [cell_text(c) for c in row.cells]
    if any(_is_day(t) for t in texts if t):
        return 0
    return sum(bool(t) and len(t) <= 40 and bool(_by_name(t)) for t in texts)


def _by_name(heading: str) -> dict[str, float]:
    """What a heading says on its own: 1 where it is a known heading, less where it holds one."""
    key = _key(heading)
    if not key:
        return {}
    found: dict[str, float] = {}
    if _TIME_HEADING.search(key) and _EXACT.get(key) not in ("start", "end", "task", "text", "ignore"):
        unit = "person_hours" if _PERSON_HOURS.search(heading.casefold()) or _PERSON_HOURS.search(key) else ""
        unit = unit or ("minutes" if _MINUTES.search(key) else "hours" if _HOURS.search(key) else "duration")
        total = re.search(r"\b(?:total|cumulative|running|sum|so far|left|remaining|planned|estimate)", key)
        found[unit] = 0.4 if total else 1.0
    if key in _EXACT:
        found[_EXACT[key]] = 1.0
        return found
    words = key.split()
    for name, meaning in _EXACT.items():
        if len(name) > 2 and name in words and meaning not in (*found, "ignore"):
            found[meaning] = 0.5
    return found


def _wishes(heading: str, cells: Sequence[Cell]) -> dict[str, float]:
    """How well a column fits each meaning, from 0 to 1: the heading's word, checked by what is below."""
    named = _by_name(heading)
    if not cells:
        return {}
    looked = cells[:400]
    days = _share(looked, _is_day)
    clocks = _share(looked, lambda c: not isinstance(c, float) and read_clock(c) is not None)
    numbers = _share(looked, _is_number)
    spans = _share(looked, lambda c: not isinstance(read_duration(c, "hours"), Unread) or _is_zero(c))
    texts = [cell_text(c) for c in looked]
    words = sum(len(t.split()) > 1 for t in texts) / len(texts)
    wishes: dict[str, float] = {}
    for meaning, score in named.items():
        check = {"date": days, "until": days, "start": clocks, "end": clocks}.get(meaning)
        check = spans if meaning in _TIMES else numbers if meaning in ("quantity", "percent") else check
        if meaning in ("date", "until") and days < 0.5 <= clocks:
            wishes["start" if meaning == "date" else "end"] = score * clocks
        elif meaning in ("start", "end") and clocks < 0.5 <= days:
            wishes["date" if meaning == "start" else "until"] = score * days
        else:
            wishes[meaning] = score * (1.0 if check is None else check)
    if days >= 0.6:
        wishes["date"] = max(wishes.get("date", 0.0), 0.35 * days)
    if not named and spans >= 0.8 and numbers < 0.5 and days < 0.5:
        wishes["duration"] = 0.35
    if "task" in wishes and words > 0.7:
        wishes["text"] = wishes.pop("task")
    if not named and _are_labels(texts):
        wishes["stage"] = 0.3
    if not named and words >= 0.5:
        wishes["text"] = 0.3
    return wishes


def _are_labels(texts: Sequence[str]) -> bool:
    """Whether a column holds a few short labels that come again and again."""
    letters = [t.casefold() for t in texts if re.search(r"[^\W\d_]{3}", t) and len(t) <= 30]
    return len(letters) >= 5 and len(letters) >= 0.8 * len(texts) and len(set(letters)) <= 0.5 * len(letters)


def _is_best(wishes: Mapping[str, float], meaning: str, taken: set[str]) -> bool:
    """Whether a column's wish for a meaning is strong enough, and no other free meaning fits it better."""
    score = wishes.get(meaning, 0.0)
    free = [s for m, s in wishes.items() if m not in taken or m in ("text", "note")]
    return score >= _LEAST_SCORE and score >= max(free, default=0.0)


def _free_text(wishes: Mapping[str, float]) -> str:
    texts = {m: s for m, s in wishes.items() if m in ("text", "note") and s >= _LEAST_SCORE}
    return max(texts, key=lambda m: texts[m]) if texts else "ignore"


def _drop_running_totals(
    proposed: dict[str, str], own: Mapping[str, str], cells: Mapping[str, Sequence[Cell]]
) -> None:
    """A column of hours that grows by another column's numbers is a running total, not a session's hours."""
    for heading in [h for h, m in proposed.items() if m in _TIMES and h not in own]:
        for other, column in cells.items():
            if other != heading and other not in proposed and _is_running_total(cells[heading], column):
                proposed[other] = proposed.pop(heading)
                return


def _is_running_total(total: Sequence[Cell], parts: Sequence[Cell]) -> bool:
    so_far, agree, seen = 0.0, 0, 0
    for whole, part in zip(total, parts, strict=True):
        if isinstance(part, float) and isinstance(whole, float):
            so_far += part
            seen += 1
            agree += abs(so_far - whole) < 0.02
    return seen >= 4 and agree >= 0.8 * seen


def _share(cells: Sequence[Cell], test: Callable[[Cell], bool]) -> float:
    return sum(bool(test(c)) for c in cells) / len(cells)


def _is_day(cell: Cell) -> bool:
    if isinstance(cell, datetime | date):
        return not (isinstance(cell, datetime) and cell.year < 1901)
    if isinstance(cell, float):
        return is_day_number(cell)
    read = read_date(cell, _ANY_DAY)
    if not isinstance(read, Unread):
        return True
    return read.reason in (NO_ORDER, MIXED_ORDER) or (
        read.reason.startswith((NO_YEAR, "lies in the year", "is a day that does not exist"))
        and not re.fullmatch(r"[\d.,]+", cell_text(cell))
    )


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, float) or bool(re.fullmatch(r"\d+(?:[.,]\d+)?\s*%?", cell_text(cell)))


def _is_zero(cell: Cell) -> bool:
    return cell_text(cell) in ("0", "0:00", "0.0", "0,0", "0.00")


def _reason(heading: str, meaning: str, cells: Sequence[Cell], said: bool) -> str:
    if said:
        return "you said so"
    if not cells:
        return "it is empty"
    if meaning == "ignore":
        return "nothing tells what it is"
    name = f"the heading {heading!r} says so" if meaning in _by_name(heading) else "its cells look like it"
    if meaning in ("date", "until"):
        return f"{name}, and {sum(map(_is_day, cells))} of {len(cells)} cells read as days"
    if meaning in _TIMES:
        times = sum(not isinstance(read_duration(c, "hours"), Unread) for c in cells)
        return f"{name}, and {times} of {len(cells)} cells read as times"
    return name
