"""What a take is not sure of: sentences about what was read in one way of several, and open questions."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from forecast.errors import Problem
from forecast.files.plan import Plan
from forecast.intake.builder_answers import BuilderAnswers
from forecast.intake.cells.date_forms import OrderEvidence
from forecast.intake.cells.dates import MIXED_ORDER, NO_ORDER, NO_YEAR
from forecast.intake.columns import SheetColumn
from forecast.intake.conversion import ConversionRules, ConvertedRow
from forecast.intake.destination import Destination
from forecast.intake.parsed_rows import Layout
from forecast.intake.sheet_cells import Cell, SheetRow, cell_text

_BARE = "is a bare number"
_SHOWN = 5
_CLOCK_MINUTES = re.compile(r"\d{1,2}[.,](?:00|15|30|45)")
_POINT = re.compile(r"\d{1,2}[.,]\d{1,2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something only the builder knows: in how many rows it matters, and how it is answered."""

    text: str
    answer: str
    rows: int

    def __str__(self) -> str:
        return f"{self.text} Answer with {self.answer} ({_count(self.rows, 'row')} waiting)."


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """All that doubts are found in."""

    rows: Sequence[SheetRow]
    columns: Sequence[SheetColumn]
    joined: Sequence[ConvertedRow]
    layout: Layout
    joining: ConversionRules
    destination: Destination
    order: OrderEvidence
    plan: Plan | None
    notices: Sequence[str]
    unread_sheets: Sequence[str]
    lost: Sequence[ConvertedRow] = ()


def find_questions(
    reported: Sequence[Problem],
    columns: Sequence[SheetColumn],
    answers: BuilderAnswers,
    order: OrderEvidence,
    *,
    has_plan: bool,
    rows: int,
) -> Iterator[Question]:
    """The open questions of a file, from the rows that wait for them.

    `has_plan` tells whether the folder has a plan, `rows` how many rows the file has.
    """
    meanings = {c.meaning for c in columns}
    if reported and "date" not in meanings:
        yield Question(text="Which column holds the days?", answer="--map COLUMN=date", rows=len(reported))
    if reported and not meanings & {"hours", "minutes", "person_hours", "duration", "start"}:
        yield Question(
            text="Which column holds the hours?", answer="--map COLUMN=hours (or minutes)", rows=len(reported)
        )
    if "stage" not in meanings and "task" not in meanings and not has_plan:
        text = "Which column holds the stages? Without one there is no plan to begin with."
        yield Question(text=text, answer="--map COLUMN=stage", rows=rows)
    waiting = [p for p in reported if p.allowed in (NO_ORDER, MIXED_ORDER)]
    if waiting:
        shown = f"{order.day_first[0]!r} and {order.month_first[0]!r}" if order.contradicts_itself else ""
        why = f": {shown} cannot both be right" if order.day_first and order.month_first else ""
        text = f"Does {waiting[0].value!r} begin with the day or with the month{why}?"
        yield Question(text=text, answer="--answer order=day-first or order=month-first", rows=len(waiting))
    waiting = [p for p in reported if p.allowed.startswith(NO_YEAR)]
    if waiting:
        text = f"In which year is {waiting[0].value!r}, the first day without one? (The others follow on.)"
        yield Question(text=text, answer="--answer year=2023", rows=len(waiting))
    waiting = [p for p in reported if p.allowed.startswith(("lies in the year", "lies in the future"))]
    for value in dict.fromkeys(p.value for p in waiting):
        rows = sum(p.value == value for p in waiting)
        answer = f"--answer 'day:{value}=2023-04-19'"
        yield Question(text=f"Which day is meant by {value!r}?", answer=answer, rows=rows)
    waiting = [p for p in reported if p.allowed.startswith(_BARE)]
    if waiting:
        heading = waiting[0].column
        answer = f"--map '{heading}=hours' or '{heading}=minutes'"
        yield Question(
            text=f"Is {waiting[0].value!r} in hours or in minutes?", answer=answer, rows=len(waiting)
        )
    days = {c.heading for c in columns if c.meaning == "date"}
    waiting = [p for p in reported if p.column in days and not p.value and "is missing" in p.allowed]
    if waiting and not answers.blank_day_above:
        text = "Do rows without a day belong to the day above them?"
        yield Question(text=text, answer="--answer blank-day=above", rows=len(waiting))


def find_doubts(found: Evidence) -> Iterator[str]:
    """Every sentence about what could be wrong, the weightiest first."""
    yield from _doubts_of_days(found)
    yield from _doubts_of_hours(found)
    yield from _doubts_of_people(found)
    yield from _doubts_of_labels(found)
    yield from _doubts_of_work(found)
    yield from _doubts_of_the_folder(found)
    yield from found.notices
    if found.unread_sheets:
        yield f"Sheets that are not read: {', '.join(found.unread_sheets)} (--answer sheet=NAME reads one)."
    for column in found.columns:
        if column.meaning == "ignore" and column.filled:
            yield f"SheetColumn {column.heading!r} ({_count(column.filled, 'cell')}) is not taken."


def places(joined: Iterable[ConvertedRow]) -> str:
    """Where rows stand, the first few by line."""
    lines = [j.raw.row.line for j in joined]
    shown = ", ".join(map(str, lines[:_SHOWN]))
    more = f" and {len(lines) - _SHOWN} more" if len(lines) > _SHOWN else ""
    return f"line{'s' if len(lines) > 1 else ''} {shown}{more}"


def _with(found: Evidence, remark: str) -> list[ConvertedRow]:
    return [j for j in found.joined if remark in j.remarks]


def _said(found: Evidence, remark: str, sentence: Callable[[int], str]) -> Iterator[str]:
    rows = _with(found, remark)
    if rows:
        yield f"{sentence(len(rows))} ({places(rows)})."


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _doubts_of_days(found: Evidence) -> Iterator[str]:
    rules, order = found.layout.rules, found.order
    shown = order.day_first if rules.order == "day_first" else order.month_first
    if rules.order is not None and order.either:
        words = rules.order.replace("_", " ")
        because = f"{shown[0]!r} can be nothing else" if shown else "the heading or you said so"
        yield (
            f"Dates are read {words} in the whole file: {because}; "
            f"{_count(order.either, 'date')} would be another day the other way round."
        )
    typed = list(_typed_days(found))
    if len(typed) >= 3 and order.month_first and all(d.day <= 12 for d in typed) and not order.day_first:
        yield _swapped(len(typed), "month", order.month_first)
    if len(typed) >= 3 and order.day_first and all(d.day <= 12 for d in typed) and not order.month_first:
        yield _swapped(len(typed), "day", order.day_first)
    if rules.day_numbers:
        yield "Plain numbers in the column of days are read as day numbers (45035 = 2023-04-19)."
    yield from _said(found, "short year", lambda n: f"{_count(n, 'year')} of two digits read as 20..")
    yield from _said(found, "unsure day", lambda n: f"{_count(n, 'day')} marked as unsure, taken as written")
    yield from _said(
        found,
        "two days",
        lambda n: f"{_count(n, 'row')} with two days, taken as one stretch from first to last",
    )
    yield from _said(found, "months", lambda n: f"{_count(n, 'row')} for whole months, taken as one stretch")
    for row in _last_years_year(found.joined):
        year = row.raw.day.start.year
        yield (
            f"{row.raw.row.file}, line {row.raw.row.line}: {row.raw.day.start} stands between later days: "
            f"is it {year + 1}? It is taken as written; put it right in the sheet first if it is."
        )


def _typed_days(found: Evidence) -> Iterator[date]:
    for column in found.layout.of_meaning.get("date", []):
        for row in found.rows:
            cell: Cell = row.cells[column.position] if column.position < len(row.cells) else None
            if isinstance(cell, datetime | date):
                yield cell


def _swapped(typed: int, first: str, shown: Sequence[str]) -> str:
    return (
        f"{_count(typed, 'cell')} hold real dates, none after the 12th of a month, {shown[0]!r} is text, "
        f"{first} first: the spreadsheet may have swapped day and month in the real ones."
    )


def _last_years_year(joined: Sequence[ConvertedRow]) -> list[ConvertedRow]:
    """Rows of early January that say last year's year: days of the new year follow, of December precede."""
    suspects = []
    for before, row, after in zip(joined, joined[1:], joined[2:], strict=False):
        day = row.raw.day.start
        later = date(day.year + 1, day.month, min(day.day, 28))
        near = timedelta(days=45)
        if (
            day.month == 1
            and before.raw.day.start <= later <= after.raw.day.start + timedelta(days=3)
            and later - before.raw.day.start < near
            and after.raw.day.start - later < near
        ):
            suspects.append(row)
    return suspects


def _doubts_of_hours(found: Evidence) -> Iterator[str]:
    column = found.layout.hours_column
    cells = [cell_text(_cell(row, column)) for row in found.rows] if column else []
    points = [t for t in cells if _POINT.fullmatch(t)]
    quarters = [t for t in points if _CLOCK_MINUTES.fullmatch(t) and t[-2:] in ("15", "30", "45")]
    only = all(_CLOCK_MINUTES.fullmatch(t) or re.fullmatch(r"\d{1,2}[.,]3", t) for t in points)
    if column and len(quarters) >= 3 and only and not found.layout.point_before_minutes:
        yield (
            f"Every number in {column.heading!r} ends in .00, .15, .30 or .45: read as decimal hours; if "
            f"{quarters[0]!r} means minutes after the point, say --answer minutes-after-point=yes."
        )
    yield from _said(found, "about", lambda n: f"{_count(n, 'row')} with hours that are about so much")
    yield from _said(
        found, "parts", lambda n: f"{_count(n, 'row')} with several amounts of hours, split by them"
    )
    if column and column.meaning == "person_hours":
        yield f"{column.heading!r} counts person-hours: divided by the people of the row to give clock hours."


def _cell(row: SheetRow, column: SheetColumn) -> Cell:
    return row.cells[column.position] if column.position < len(row.cells) else None


def _doubts_of_people(found: Evidence) -> Iterator[str]:
    crew = found.joining.crew
    for group in crew.groups:
        yield f"Names taken as one: {group}."
    if crew.helpers:
        names = sorted(crew.helpers, key=lambda n: (-crew.helpers[n], n))
        shown = ", ".join(f"{n} ({crew.helpers[n]})" for n in names[:_SHOWN])
        more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
        yield f"Counted as helpers without a name: {shown}{more}. --answer who:NAME=ID makes one a builder."
    if crew.new_builders:
        yield f"Builders written to build.toml: {', '.join(crew.new_builders)}."
    yield from _said(
        found,
        "stand-in",
        lambda n: (
            f"{_count(n, 'row')} name helpers only: {crew.builders[0]} stands in for one, person-hours kept"
        ),
    )


def _doubts_of_labels(found: Evidence) -> Iterator[str]:
    for group in found.joining.stages.groups:
        yield f"Stages taken as one: {group}. --answer stage:SPELLING=LABEL says otherwise."
    for group in found.joining.kinds.groups:
        yield f"Types taken as one: {group}."
    split = found.joining.several == "split"
    how = "split into equal parts" if split else "kept whole under the first one (the note has all)"
    yield from _said(found, "several labels", lambda n: f"{_count(n, 'row')} with several stages, {how}")
    how = "split into equal parts" if split else "kept as one (--answer several=split parts them equally)"
    yield from _said(found, "several tasks", lambda n: f"{_count(n, 'row')} with several tasks, {how}")


def _doubts_of_work(found: Evidence) -> Iterator[str]:
    yield from _said(found, "rework", lambda n: f"{_count(n, 'row')} proposed as rework by their words")
    yield from _said(
        found,
        "done twice",
        lambda n: f"{_count(n, 'row')} finish a task once more: kept as a word in the note",
    )
    yield from _said(
        found, "left", lambda n: f"{_count(n, 'row')} with a cell that could not be used, kept in the note"
    )
    if found.layout.percent_is_share:
        yield "Numbers up to 1 in the column of percent are read as shares (0.5 = 50 %)."
    apart = [j for j in found.joined if any(r.apart for r in j.rows)]
    if apart:
        kinds = sorted({r.apart for j in apart for r in j.rows if r.apart})
        where = f"kept in not_building.csv ({places(apart)})"
        yield f"{_count(len(apart), 'row')} not building ({', '.join(kinds)}), {where}."


def _doubts_of_the_folder(found: Evidence) -> Iterator[str]:
    if found.lost:
        where = f"no longer in the folder ({places(found.lost)})"
        yield f"{_count(len(found.lost), 'row')} taken earlier, {where}: --answer again=yes adds them again."
    examples = found.destination.examples - {"build.toml"}
    if examples:
        yield f"The invented rows that `start` wrote are taken out of {', '.join(sorted(examples))}."
    if found.plan is not None:
        count = _count(len(found.plan.tasks), "stage")
        yield f"There is no plan: a coarse one of {count} is proposed, one row each, for you to put hours on."
    elif found.destination.plan is not None:
        known = set(found.destination.plan.stages)
        rows = [r for j in found.joined for r in j.rows if r.stage and not r.apart and r.stage not in known]
        if rows:
            names = ", ".join(dict.fromkeys(r.stage for r in rows))
            yield f"{_count(len(rows), 'row')} of stages that the plan does not have: {names}."
