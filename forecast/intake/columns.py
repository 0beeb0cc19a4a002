"""The meaning of each column: proposed from its heading and its cells, with the reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from forecast.errors import UsageError
from forecast.intake.builder_answers import MEANINGS
from forecast.intake.cells import dates
from forecast.intake.cells.dates import DateRules, is_day_number, read_date
from forecast.intake.cells.durations import Unit, read_clock, read_duration
from forecast.intake.cells.labels import first_free
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
TIMES = ("hours", "minutes", "person_hours", "duration")
_UNITS: Mapping[str, Unit] = {"hours": "hours", "minutes": "minutes", "person_hours": "person_hours"}
# Judgements, checked on the invented messy sheets of sample_logs: titles and notes above the headings rarely
# fill more rows, more cells do not change what a column looks like, and a weaker fit is left to the builder.
_FIRST_ROWS = 20
_FIRST_CELLS = 400
_LEAST_SCORE = 0.3
_ANY_DAY = DateRules(today=date(9998, 1, 1), day_numbers=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetColumn:
    """One column and its meaning.

    Attributes
    ----------
    heading : as in the file, made unique by a number
    position : its place in the rows, from 0
    meaning : a key of `builder_answers.MEANINGS`
    reason : why, as the second half of a sentence
    filled : number of rows in which it is not blank
    """

    heading: str
    position: int
    meaning: str
    reason: str
    filled: int


@dataclass(frozen=True, kw_only=True)
class HeadedSheet:
    """A sheet with its headings apart from its rows.

    Attributes
    ----------
    sheet : the sheet
    headings : one per column
    rows, above : the rows below and above the headings
    headings_row : the row of the headings; None where no row has them
    """

    sheet: Sheet
    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    above: tuple[SheetRow, ...]
    headings_row: SheetRow | None


def find_headings(sheet: Sheet) -> HeadedSheet:
    """Find the row of headings among the first rows of a sheet; without one, columns get letters.

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
    scores = [_heading_score(row) for row in sheet.rows[:_FIRST_ROWS]]
    best = max(range(len(scores)), key=lambda i: (scores[i], -i), default=0)
    if not scores or scores[best] < 2:
        names = _unique_headings([""] * width)
        return HeadedSheet(sheet=sheet, headings=names, rows=sheet.rows, above=(), headings_row=None)
    row = sheet.rows[best]
    return HeadedSheet(
        sheet=sheet,
        headings=_unique_headings([one_line(cell_text(row.cell(i))) for i in range(width)]),
        rows=sheet.rows[best + 1 :],
        above=sheet.rows[:best],
        headings_row=row,
    )


def propose_columns(headed: HeadedSheet, answers: Mapping[str, str]) -> tuple[SheetColumn, ...]:
    """Propose the meaning of each column.

    Parameters
    ----------
    headed : the sheet
    answers : heading -> meaning, as the builder says; takes precedence over everything else

    Raises
    ------
    UsageError : when `answers` names a column that does not exist
    """
    answered = _answered(headed.headings, answers)
    cells = {h: [row.cell(i) for row in headed.rows] for i, h in enumerate(headed.headings)}
    filled = {h: [c for c in column if cell_text(c)] for h, column in cells.items()}
    proposed = dict(answered)
    scores = {h: _scores(h, filled[h]) for h in headed.headings if h not in answered}
    taken = set(answered.values())
    for meaning in _SINGLE:
        if taken & (set(TIMES) if meaning in TIMES else {meaning}):
            continue
        unassigned = [h for h in scores if h not in proposed]
        best = max(unassigned, key=lambda h: scores[h].get(meaning, 0.0), default=None)
        if best is not None and _is_best(scores[best], meaning, taken):
            proposed[best] = meaning
            taken.add(meaning)
    _drop_running_totals(proposed, answered, cells)
    for h in scores:
        proposed.setdefault(h, _free_text(scores[h]))
    return tuple(
        SheetColumn(
            heading=h,
            position=i,
            meaning=proposed[h],
            reason=_reason(h, proposed[h], filled[h], h in answered),
            filled=len(filled[h]),
        )
        for i, h in enumerate(headed.headings)
    )


def unit_of(meaning: str) -> Unit | None:
    """The unit of bare numbers in a column of this meaning, or None."""
    return _UNITS.get(meaning)


def _answered(headings: Sequence[str], answers: Mapping[str, str]) -> dict[str, str]:
    by_key = {_key(h): h for h in reversed(headings)}
    answered = {}
    for heading, meaning in answers.items():
        if _key(heading) not in by_key:
            raise UsageError(f"There is no column {heading!r}. The columns are: {', '.join(headings)}.")
        answered[by_key[_key(heading)]] = meaning
    return answered


def _key(heading: str) -> str:
    words = heading.replace("%", " percent ").replace("#", " no of ").casefold()
    return re.sub(r"[\W_]+", " ", words).strip()


def _unique_headings(written: Sequence[str]) -> tuple[str, ...]:
    unique: list[str] = []
    for i, heading in enumerate(written):
        unique.append(first_free(heading or f"column {_letters(i)}", unique, "{} ({})"))
    return tuple(unique)


def _letters(position: int) -> str:
    """The letters of a column in a spreadsheet: 0 is A, 26 is AA."""
    rest, letter = divmod(position, 26)
    return (_letters(rest - 1) if rest else "") + chr(ord("A") + letter)


def _heading_score(row: SheetRow) -> int:
    """The number of known headings in a row; 0 where the row holds data."""
    if any(isinstance(c, float | bool | date | time | timedelta) for c in row.cells):
        return 0
    texts = [t for t in map(cell_text, row.cells) if t]
    if any(map(_is_day, texts)):
        return 0
    # A longer text is a sentence that happens to name a heading.
    return sum(len(t) <= 40 and bool(_by_name(t)) for t in texts)


def _by_name(heading: str) -> dict[str, float]:
    """Meaning -> score of a heading alone: 1 where it is a known heading, less where it contains one."""
    key = _key(heading)
    found: dict[str, float] = {}
    if _TIME_HEADING.search(key) and _EXACT.get(key) not in ("start", "end", "task", "text", "ignore"):
        unit = "person_hours" if _PERSON_HOURS.search(heading.casefold()) or _PERSON_HOURS.search(key) else ""
        unit = unit or ("minutes" if _MINUTES.search(key) else "hours" if _HOURS.search(key) else "duration")
        total = re.search(r"\b(?:total|cumulative|running|sum|so far|left|remaining|planned|estimate)", key)
        found[unit] = 0.4 if total else 1.0  # a total only where no column has the hours of the session
    if key in _EXACT:
        found[_EXACT[key]] = 1.0
        return found
    words = key.split()
    for name, meaning in _EXACT.items():
        if len(name) > 2 and name in words and meaning not in (*found, "ignore"):
            found[meaning] = 0.5
    return found


def _scores(heading: str, cells: Sequence[Cell]) -> dict[str, float]:
    """Meaning -> fit of a column from 0 to 1: the score of its heading, times the share of cells that fit.

    The weights are judgements: what the cells alone suggest (0.3 to 0.35) yields to any heading that fits.
    """
    named = _by_name(heading)
    if not cells:
        return {}
    cells = cells[:_FIRST_CELLS]
    days = _share(cells, _is_day)
    clocks = _share(cells, lambda c: not isinstance(c, float) and read_clock(c) is not None)
    numbers = _share(cells, _is_number)
    spans = _share(cells, lambda c: not isinstance(read_duration(c, "hours"), Unread) or _is_zero(c))
    texts = [cell_text(c) for c in cells]
    words = sum(len(t.split()) > 1 for t in texts) / len(texts)
    fit = {"date": days, "until": days, "start": clocks, "end": clocks, "quantity": numbers}
    fit |= {"percent": numbers, **dict.fromkeys(TIMES, spans)}
    scores: dict[str, float] = {}
    for meaning, score in named.items():
        # "From" and "to" are days in some sheets and times of day in others.
        if meaning in ("date", "until") and days < 0.5 <= clocks:
            meaning = "start" if meaning == "date" else "end"
        elif meaning in ("start", "end") and clocks < 0.5 <= days:
            meaning = "date" if meaning == "start" else "until"
        scores[meaning] = score * fit.get(meaning, 1.0)
    if days >= 0.6:
        scores["date"] = max(scores.get("date", 0.0), 0.35 * days)
    if not named and spans >= 0.8 and numbers < 0.5 and days < 0.5:
        scores["duration"] = 0.35
    if "task" in scores and words > 0.7:
        scores["text"] = scores.pop("task")
    if not named and _are_labels(texts):
        scores["stage"] = 0.3
    if not named and words >= 0.5:
        scores["text"] = 0.3
    return scores


def _are_labels(texts: Sequence[str]) -> bool:
    """Whether a column holds a few short labels again and again."""
    # Judgement: five labels at least, and each of them twice on average.
    letters = [t.casefold() for t in texts if re.search(r"[^\W\d_]{3}", t) and len(t) <= 30]
    return len(letters) >= 5 and len(letters) >= 0.8 * len(texts) and len(set(letters)) <= 0.5 * len(letters)


def _is_best(scores: Mapping[str, float], meaning: str, taken: set[str]) -> bool:
    """Whether a meaning fits a column well enough, and better than any other meaning that is still free."""
    score = scores.get(meaning, 0.0)
    free = [s for m, s in scores.items() if m not in taken or m in ("text", "note")]
    return score >= _LEAST_SCORE and score >= max(free, default=0.0)


def _free_text(scores: Mapping[str, float]) -> str:
    texts = {m: s for m, s in scores.items() if m in ("text", "note") and s >= _LEAST_SCORE}
    return max(texts, key=lambda m: texts[m]) if texts else "ignore"


def _drop_running_totals(
    proposed: dict[str, str], answered: Mapping[str, str], cells: Mapping[str, Sequence[Cell]]
) -> None:
    """Where the column of hours is the running total of another column, use the other column instead."""
    for heading in [h for h, m in proposed.items() if m in TIMES and h not in answered]:
        for other, column in cells.items():
            if other != heading and other not in proposed and _is_running_total(cells[heading], column):
                proposed[other] = proposed.pop(heading)
                return


def _is_running_total(total: Sequence[Cell], parts: Sequence[Cell]) -> bool:
    sum_so_far, equal, compared = 0.0, 0, 0
    for whole, part in zip(total, parts, strict=True):
        if isinstance(part, float) and isinstance(whole, float):
            sum_so_far += part
            compared += 1
            equal += abs(sum_so_far - whole) < 0.02  # totals are often rounded to two decimals
    return compared >= 4 and equal >= 0.8 * compared


def _share(cells: Sequence[Cell], test: Callable[[Cell], bool]) -> float:
    return sum(bool(test(c)) for c in cells) / len(cells)


def _is_day(cell: Cell) -> bool:
    if isinstance(cell, datetime | date):
        return not (isinstance(cell, datetime) and cell.year < 1901)
    if isinstance(cell, float):
        return is_day_number(cell)
    read = read_date(cell, _ANY_DAY)
    if not isinstance(read, Unread) or read.reason in (dates.NO_ORDER, dates.MIXED_ORDER):
        return True
    doubtful = read.reason.startswith((dates.NO_YEAR, dates.IMPOSSIBLE_YEAR, dates.NO_SUCH_DAY))
    # 4.19 may be a day without a year, but in a column of plain numbers it is not one.
    return doubtful and not re.fullmatch(r"[\d.,]+", cell_text(cell))


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, float) or bool(re.fullmatch(r"\d+(?:[.,]\d+)?\s*%?", cell_text(cell)))


def _is_zero(cell: Cell) -> bool:
    return cell_text(cell) in ("0", "0:00", "0.0", "0,0", "0.00")


def _reason(heading: str, meaning: str, cells: Sequence[Cell], answered: bool) -> str:
    if answered:
        return "your answer"
    if not cells:
        return "it is empty"
    if meaning == "ignore":
        return "neither heading nor cells show what it is"
    evidence = f"from the heading {heading!r}" if meaning in _by_name(heading) else "from its cells"
    if meaning in ("date", "until"):
        return f"{evidence}; {sum(map(_is_day, cells))} of {len(cells)} cells are days"
    if meaning in TIMES:
        times = sum(not isinstance(read_duration(c, "hours"), Unread) for c in cells)
        return f"{evidence}; {times} of {len(cells)} cells are times"
    return evidence
