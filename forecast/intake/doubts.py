"""What a take is unsure of: sentences about what could be read in another way, and open questions."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from forecast.errors import Problem, first_few
from forecast.files.plan import Plan
from forecast.intake.cells import dates
from forecast.intake.cells.date_forms import OrderEvidence
from forecast.intake.cells.durations import NO_UNIT
from forecast.intake.columns import TIMES
from forecast.intake.conversion import ConversionRules, ConvertedRow
from forecast.intake.destination import Destination
from forecast.intake.parsed_rows import Layout
from forecast.intake.sheet_cells import SheetRow, cell_text

_CLOCK_MINUTES = re.compile(r"\d{1,2}[.,](?:00|15|30|45)")
_POINT = re.compile(r"\d{1,2}[.,]\d{1,2}")
# Judgement: with fewer cells than this, chance explains what looks like a pattern.
_LEAST_CELLS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question that only the builder can answer: how to answer it, and how many rows wait for it."""

    text: str
    answer: str
    rows: int

    def __str__(self) -> str:
        return f"{self.text} Answer with {self.answer} ({count_of(self.rows, 'row')} waiting)."


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Everything that doubts and questions arise from.

    Attributes
    ----------
    rows, layout : the records below the headings, and how they were read
    reported : the rows that could not be taken in
    converted, rules : the other rows, and what they were converted by
    destination : the folder
    order : what the sheet shows about the order of day and month
    plan : the coarse plan that is proposed, or None
    notices : sentences of the reader of the file
    unread_sheets : names of the sheets that were not read
    lost : rows taken in earlier that the folder no longer has
    """

    rows: Sequence[SheetRow]
    layout: Layout
    reported: Sequence[Problem]
    converted: Sequence[ConvertedRow]
    rules: ConversionRules
    destination: Destination
    order: OrderEvidence
    plan: Plan | None
    notices: Sequence[str]
    unread_sheets: Sequence[str]
    lost: Sequence[ConvertedRow] = ()

    def waiting(self, *reasons: str) -> list[Problem]:
        """The rows that were reported for one of these reasons."""
        return [p for p in self.reported if p.allowed.startswith(reasons)]


def find_questions(found: Evidence) -> Iterator[Question]:
    """The open questions of a file, each with the number of rows that wait for its answer."""
    meanings, order, reported = found.layout.of_meaning, found.order, len(found.reported)
    if reported and "date" not in meanings:
        yield Question(text="Which column holds the days?", answer="--map COLUMN=date", rows=reported)
    if reported and not {*TIMES, "start"} & set(meanings):
        answer = "--map COLUMN=hours (or minutes)"
        yield Question(text="Which column holds the hours?", answer=answer, rows=reported)
    if not {"stage", "task"} & set(meanings) and found.destination.plan is None:
        text = "Which column holds the stages? Without one no plan can be proposed."
        yield Question(text=text, answer="--map COLUMN=stage", rows=len(found.converted) + reported)
    waiting = found.waiting(dates.NO_ORDER, dates.MIXED_ORDER)
    if waiting:
        why = ""
        if order.day_first and order.month_first:
            why = f": {order.day_first[0]!r} and {order.month_first[0]!r} cannot both be right"
        text = f"Does {waiting[0].value!r} begin with the day or with the month{why}?"
        yield Question(text=text, answer="--answer order=day-first or order=month-first", rows=len(waiting))
    waiting = found.waiting(dates.NO_YEAR)
    if waiting:
        text = f"In which year is {waiting[0].value!r}, the first day without a year? (The rest follows.)"
        yield Question(text=text, answer="--answer year=2023", rows=len(waiting))
    values = Counter(p.value for p in found.waiting(dates.IMPOSSIBLE_YEAR, dates.FUTURE))
    for value, rows in values.items():
        answer = f"--answer 'day:{value}=2023-04-19'"
        yield Question(text=f"Which day is meant by {value!r}?", answer=answer, rows=rows)
    waiting = found.waiting(NO_UNIT)
    if waiting:
        heading = waiting[0].column
        answer = f"--map '{heading}=hours' or '{heading}=minutes'"
        text = f"Is {waiting[0].value!r} in hours or in minutes?"
        yield Question(text=text, answer=answer, rows=len(waiting))
    headings = {c.heading for c in meanings.get("date", [])}
    waiting = [p for p in found.waiting(dates.MISSING) if p.column in headings]
    if waiting and not found.layout.blank_day_above:
        text = "Do rows without a day belong to the day above them?"
        yield Question(text=text, answer="--answer blank-day=above", rows=len(waiting))


def find_doubts(found: Evidence) -> Iterator[str]:
    """Every sentence about what could be wrong, the most important first."""
    yield from _doubts_about_days(found)
    yield from _doubts_about_hours(found)
    yield from _doubts_about_people(found)
    yield from _doubts_about_labels(found)
    yield from _doubts_about_work(found)
    yield from _doubts_about_the_folder(found)
    yield from found.notices
    if found.unread_sheets:
        yield f"Sheets that are not read: {', '.join(found.unread_sheets)} (--answer sheet=NAME reads one)."
    for column in found.layout.columns:
        if column.meaning == "ignore" and column.filled:
            yield f"Column {column.heading!r} ({count_of(column.filled, 'cell')}) is not taken in."


def count_of(n: int, noun: str) -> str:
    """A number with its noun: 1 row, 2 rows."""
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _places(rows: Sequence[ConvertedRow]) -> str:
    lines = first_few([row.line for row in rows], ", ")
    return f"line{'s' if len(rows) > 1 else ''} {lines}"


def _remarked(found: Evidence, remark: str, sentence: str) -> Iterator[str]:
    """One sentence about all rows with a remark, if there are any."""
    rows = [row for row in found.converted if remark in row.remarks]
    if rows:
        yield f"{count_of(len(rows), 'row')} {sentence} ({_places(rows)})."


def _doubts_about_days(found: Evidence) -> Iterator[str]:
    rules, order = found.layout.date_rules, found.order
    if rules.order is not None and order.either:
        shown = order.day_first if rules.order == "day_first" else order.month_first
        why = f"{shown[0]!r} can be nothing else" if shown else "the heading or your answer says so"
        yield (
            f"Dates are read {rules.order.replace('_', ' ')} in the whole file: {why}; "
            f"{count_of(order.either, 'date')} would be another day the other way round."
        )
    typed = list(_typed_days(found))
    if len(typed) >= _LEAST_CELLS and all(day.day <= 12 for day in typed):
        if order.month_first and not order.day_first:
            yield _swapped(len(typed), "month", order.month_first[0])
        if order.day_first and not order.month_first:
            yield _swapped(len(typed), "day", order.day_first[0])
    if rules.day_numbers:
        yield "Plain numbers in the column of days are read as day numbers (45035 = 2023-04-19)."
    yield from _remarked(found, "short year", "with a two-digit year, read as 20..")
    yield from _remarked(found, "unsure day", "with a day marked as uncertain, read as written")
    yield from _remarked(found, "two days", "with two days, read as one period from first to last")
    yield from _remarked(found, "months", "for whole months, read as one period")
    for row in _last_years_year(found.converted):
        day, place = row.parsed.days.start, f"{row.parsed.row.file}, line {row.line}"
        yield (
            f"{place}: {day} comes between later days: is it {day.year + 1}? It is read as written; if it is "
            "wrong, correct it in the sheet first."
        )


def _typed_days(found: Evidence) -> Iterator[date]:
    """The cells that the spreadsheet itself stores as dates."""
    for column in found.layout.of_meaning.get("date", []):
        for row in found.rows:
            cell = row.cell(column.position)
            if isinstance(cell, datetime | date):
                yield cell


def _swapped(typed: int, first: str, shown: str) -> str:
    return (
        f"{count_of(typed, 'cell')} hold real dates, none after the 12th of a month, while {shown!r} is text "
        f"with the {first} first: the spreadsheet may have swapped day and month in the real dates."
    )


def _last_years_year(rows: Sequence[ConvertedRow]) -> list[ConvertedRow]:
    """Days of early January with last year's year: a December comes before, the new year after."""
    near = timedelta(days=45)  # judgement: beyond that the neighbours say little about the row
    suspects = []
    for before, row, after in zip(rows, rows[1:], rows[2:], strict=False):
        day, earlier, later = (r.parsed.days.start for r in (row, before, after))
        corrected = date(day.year + 1, day.month, min(day.day, 28))
        is_between = earlier <= corrected <= later + timedelta(days=3)
        if day.month == 1 and is_between and corrected - earlier < near and later - corrected < near:
            suspects.append(row)
    return suspects


def _doubts_about_hours(found: Evidence) -> Iterator[str]:
    column = found.layout.hours_column
    texts = [cell_text(row.cell(column.position)) for row in found.rows] if column else []
    points = [t for t in texts if _POINT.fullmatch(t)]
    quarters = [t for t in points if _CLOCK_MINUTES.fullmatch(t) and t[-2:] in ("15", "30", "45")]
    all_minutes = all(_CLOCK_MINUTES.fullmatch(t) or re.fullmatch(r"\d{1,2}[.,]3", t) for t in points)
    if column and len(quarters) >= _LEAST_CELLS and all_minutes and not found.layout.minutes_after_point:
        yield (
            f"Every number in {column.heading!r} ends in .00, .15, .30 or .45 and is read as decimal hours; "
            f"if {quarters[0]!r} has minutes after the point, add --answer minutes-after-point=yes."
        )
    yield from _remarked(found, "about", "with approximate hours")
    yield from _remarked(found, "parts", "with several amounts of hours, split accordingly")
    if column and column.meaning == "person_hours":
        yield f"{column.heading!r} holds person-hours: divided by the people of the row to get clock hours."


def _doubts_about_people(found: Evidence) -> Iterator[str]:
    crew = found.rules.crew
    for group in crew.labels.groups:
        yield f"Names merged: {group}."
    if crew.helpers:
        names = sorted(crew.helpers, key=lambda n: (-crew.helpers[n], n))
        shown = first_few([f"{n} ({crew.helpers[n]})" for n in names], ", ")
        yield f"Counted as helpers without a name: {shown}. --answer who:NAME=ID makes one a builder."
    if crew.new_builders:
        yield f"Builders to be added to build.toml: {', '.join(crew.new_builders)}."
    sentence = f"with helpers only: {crew.builders[0]} is entered for one of them, person-hours are unchanged"
    yield from _remarked(found, "stand-in", sentence)


def _doubts_about_labels(found: Evidence) -> Iterator[str]:
    for group in found.rules.stages.groups:
        yield f"Stages merged: {group}. --answer stage:SPELLING=LABEL overrides this."
    for group in found.rules.kinds.groups:
        yield f"Types merged: {group}."
    is_split = found.rules.several == "split"
    how = "split into equal parts" if is_split else "kept whole under the first one (the note has all)"
    yield from _remarked(found, "several labels", f"with several stages, {how}")
    how = "split into equal parts" if is_split else "kept as one (--answer several=split splits them equally)"
    yield from _remarked(found, "several tasks", f"with several tasks, {how}")


def _doubts_about_work(found: Evidence) -> Iterator[str]:
    yield from _remarked(found, "rework", "proposed as rework because of their words")
    yield from _remarked(found, "done twice", "with a task that is finished already: `done` goes to the note")
    yield from _remarked(found, "left", "with a cell that could not be used and goes to the note")
    if found.layout.percent_is_share:
        yield "Numbers up to 1 in the column of percent are read as shares (0.5 = 50 %)."
    aside = [row for row in found.converted if any(r.set_aside for r in row.rows)]
    if aside:
        kinds = ", ".join(sorted({r.set_aside for row in aside for r in row.rows if r.set_aside}))
        what = f"{count_of(len(aside), 'row')} not building ({kinds})"
        yield f"{what}, set aside in not_building.csv ({_places(aside)})."


def _doubts_about_the_folder(found: Evidence) -> Iterator[str]:
    if found.lost:
        what = f"{count_of(len(found.lost), 'row')} taken in earlier and no longer in the folder"
        yield f"{what} ({_places(found.lost)}): --answer again=yes adds them again."
    starter_files = found.destination.starter_files - {"build.toml"}
    if starter_files:
        yield f"The invented rows that `start` wrote are deleted from {', '.join(sorted(starter_files))}."
    if found.plan is not None:
        stages = count_of(len(found.plan.tasks), "stage")
        yield f"There is no plan: a coarse one of {stages} is proposed, one row each, for you to add hours."
    elif found.destination.plan is not None:
        known = set(found.destination.plan.stages)
        rows = [r for c in found.converted for r in c.rows]
        unknown = [r.stage for r in rows if r.stage and not r.set_aside and r.stage not in known]
        if unknown:
            names = ", ".join(dict.fromkeys(unknown))
            yield f"{count_of(len(unknown), 'row')} of stages that the plan does not have: {names}."
