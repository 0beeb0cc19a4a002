"""The builder's answers about a foreign sheet: what each column means, and what the sheet leaves open."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any, Literal

from forecast.errors import UsageError
from forecast.files.tables import read_date
from forecast.intake.cells.dates import Order
from forecast.intake.cells.labels import label_key

HELPER = "helper"
MEANINGS: Mapping[str, str] = {
    "date": "day of the session",
    "until": "last day, where a row covers several",
    "start": "time of day at which it began",
    "end": "time of day at which it ended",
    "hours": "clock hours",
    "minutes": "clock minutes",
    "person_hours": "hours times people",
    "duration": "time in a unit that the heading does not name",
    "people": "who was there",
    "helpers": "who helped the builder, or how many",
    "stage": "kit stage",
    "task": "id or title of a task of the plan",
    "text": "what was done, in words",
    "type": "kind of work",
    "quantity": "pieces finished",
    "percent": "how far the task is",
    "done": "whether the task was finished",
    "rework": "whether it was rework",
    "note": "further notes",
    "ignore": "not taken in",
}
_ID = re.compile(r"[^\s+]{1,60}")
Several = Literal["keep", "split"]
_SEVERAL: Mapping[str, Several] = {"keep": "keep", "split": "split"}
_ORDERS: Mapping[str, Order] = {
    "day-first": "day_first", "day_first": "day_first", "dmy": "day_first",
    "month-first": "month_first", "month_first": "month_first", "mdy": "month_first",
}  # fmt: skip
_SWITCHES = {
    ("blank-day", "above"): "blank_day_above",
    ("minutes-after-point", "yes"): "minutes_after_point",
    ("again", "yes"): "again",
}
FIRST_YEAR, LAST_YEAR = 1950, 2199  # the bounds of every date in the log (schemas/log.json)
_FORMS = (
    "order=day-first, order=month-first, year=2023, blank-day=above, minutes-after-point=yes, several=split, "
    "again=yes, sheet=NAME, day:CELL=2023-04-19, stage:SPELLING=LABEL, who:NAME=ID, who:NAME=helper, "
    "type:TEXT=TYPE"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BuilderAnswers:
    """What the builder has answered; None, False or empty where nothing.

    Attributes
    ----------
    columns : heading -> meaning (a key of `MEANINGS`)
    order : order of day and month in dates such as 3/4/2023
    first_year : year of the first date without a year
    blank_day_above : a row without a day belongs to the day above it
    minutes_after_point : `2.30` means 2 h 30 min
    again : rows that were taken in earlier and are no longer in the folder are added again
    several : split a row with several tasks or labels into equal parts, or keep it whole (the default)
    sheet : the sheet to read
    days : text of a cell -> the day that is meant
    stages : spelling -> label
    people : name -> builder id, or "helper"
    types : text -> task type
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    order: Order | None = None
    first_year: int | None = None
    blank_day_above: bool = False
    minutes_after_point: bool = False
    again: bool = False
    several: Several | None = None
    sheet: str | None = None
    days: Mapping[str, date] = field(default_factory=dict)
    stages: Mapping[str, str] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    types: Mapping[str, str] = field(default_factory=dict)

    def over(self, earlier: BuilderAnswers) -> BuilderAnswers:
        """These answers, completed by those of an earlier take; `again` counts for one take only.

        Examples
        --------
        >>> now, earlier = BuilderAnswers(order="day_first"), BuilderAnswers(first_year=2020)
        >>> now.over(earlier).order, now.over(earlier).first_year
        ('day_first', 2020)
        """
        merged: dict[str, Any] = {}
        for f in fields(self):
            own, before = getattr(self, f.name), getattr(earlier, f.name)
            merged[f.name] = {**before, **own} if isinstance(own, Mapping) else own or before
        return BuilderAnswers(**{**merged, "again": self.again})


def parse_mapping(pairs: Iterable[str]) -> dict[str, str]:
    """Parse `COLUMN=MEANING` texts.

    Raises
    ------
    UsageError : for a text of another form, or a meaning that is not in `MEANINGS`

    Examples
    --------
    >>> parse_mapping(["Time spent=minutes"])
    {'Time spent': 'minutes'}
    """
    columns = {}
    for pair in pairs:
        column, equals, meaning = (part.strip() for part in pair.rpartition("="))
        if not equals or not column or meaning not in MEANINGS:
            known = ", ".join(MEANINGS)
            raise UsageError(f"{pair!r} must be COLUMN=MEANING, where MEANING is one of {known}.")
        columns[column] = meaning
    return columns


def parse_answers(pairs: Iterable[str]) -> BuilderAnswers:
    """Parse `key=value` and `key:cell=value` texts.

    Raises
    ------
    UsageError : for a text that is not an answer; the message lists the forms

    Examples
    --------
    >>> answers = parse_answers(["order=day-first", "day:0203-05-06=2023-05-06", "stage:wings=wing"])
    >>> answers.order, answers.days, answers.stages
    ('day_first', {'0203-05-06': datetime.date(2023, 5, 6)}, {'wings': 'wing'})
    """
    answers = BuilderAnswers()
    for pair in pairs:
        key, equals, value = (part.strip() for part in pair.rpartition("="))
        kind, colon, cell = (part.strip() for part in key.partition(":"))
        answer = _cell_answer(answers, kind, cell, value) if colon else _file_answer(key, value)
        if not equals or not value or not answer:
            raise UsageError(f"{pair!r} is not an answer; the forms are: {_FORMS}.")
        answers = replace(answers, **answer)
    return answers


def _file_answer(key: str, value: str) -> dict[str, Any]:
    """An answer about the whole file, as a field of `BuilderAnswers`; empty if it is none."""
    if (key, value) in _SWITCHES:
        return {_SWITCHES[key, value]: True}
    if key == "order" and value in _ORDERS:
        return {"order": _ORDERS[value]}
    if key == "year" and value.isascii() and value.isdigit() and FIRST_YEAR <= int(value) <= LAST_YEAR:
        return {"first_year": int(value)}
    if key == "several" and value in _SEVERAL:
        return {"several": _SEVERAL[value]}
    return {"sheet": value} if key == "sheet" else {}


def _cell_answer(answers: BuilderAnswers, kind: str, cell: str, value: str) -> dict[str, Any]:
    """An answer about one cell, as a field of `BuilderAnswers`; empty if it is none."""
    day = read_date(value)
    if not cell:
        return {}
    if kind == "day" and day is not None:
        return {"days": {**answers.days, cell: day}}
    if kind == "stage":
        return {"stages": {**answers.stages, cell: value}}
    if kind == "who" and _ID.fullmatch(value) and not value.isdigit():
        return {"people": {**answers.people, label_key(cell): value}}
    return {"types": {**answers.types, cell: value}} if kind == "type" else {}
