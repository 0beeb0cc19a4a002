"""What the builder says about a foreign sheet: which column is what, and the questions it leaves open."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from forecast.errors import UsageError
from forecast.files.tables import read_date
from forecast.intake.cells.dates import Order
from forecast.intake.cells.labels import label_key

HELPER = "helper"
MEANINGS: Mapping[str, str] = {
    "date": "day of the session",
    "until": "last day, where a row stands for several",
    "start": "time of day at which it began",
    "end": "time of day at which it ended",
    "hours": "clock hours",
    "minutes": "clock minutes",
    "person_hours": "hours times people",
    "duration": "a time whose unit the heading does not say",
    "people": "who was there",
    "helpers": "who or how many helped, beside the builder",
    "stage": "kit stage",
    "task": "id or title of a task of the plan",
    "text": "what was done, in words",
    "type": "kind of work",
    "quantity": "pieces finished",
    "percent": "how far the task is",
    "done": "whether the task was finished",
    "rework": "whether it was done again",
    "note": "further words",
    "ignore": "not taken",
}
_ID = re.compile(r"[^\s+]{1,60}")
Several = Literal["keep", "split"]
_SEVERAL: Mapping[str, Several] = {"keep": "keep", "split": "split"}
_ORDERS: Mapping[str, Order] = {
    "day-first": "day_first", "day_first": "day_first", "dmy": "day_first",
    "month-first": "month_first", "month_first": "month_first", "mdy": "month_first",
}  # fmt: skip
_FORMS = (
    "order=day-first, order=month-first, year=2023, blank-day=above, minutes-after-point=yes, several=split, "
    "again=yes, sheet=NAME, day:CELL=2023-04-19, stage:SPELLING=LABEL, who:NAME=ID, who:NAME=helper, "
    "type:TEXT=TYPE"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BuilderAnswers:
    """What the builder has said; None or empty where nothing was.

    Attributes
    ----------
    columns : heading -> meaning (a key of `MEANINGS`)
    order : of dates such as 3/4/2023
    first_year : of the first date without a year
    blank_day_above : a row without a day belongs to the day above
    point_before_minutes : `2.30` means 2 h 30 min
    again : rows taken earlier that the folder no longer has are added again
    several : split a row with several tasks or labels into equal parts, or keep it as one (the default)
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
    point_before_minutes: bool = False
    again: bool = False
    several: Several | None = None
    sheet: str | None = None
    days: Mapping[str, date] = field(default_factory=dict)
    stages: Mapping[str, str] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    types: Mapping[str, str] = field(default_factory=dict)

    def over(self, earlier: BuilderAnswers) -> BuilderAnswers:
        """These answers where they say something, the earlier ones elsewhere.

        Examples
        --------
        >>> BuilderAnswers(order="day_first").over(BuilderAnswers(order="month_first", first_year=2020)).first_year
        2020
        """
        return BuilderAnswers(
            columns={**earlier.columns, **self.columns},
            order=self.order or earlier.order,
            first_year=self.first_year or earlier.first_year,
            blank_day_above=self.blank_day_above or earlier.blank_day_above,
            point_before_minutes=self.point_before_minutes or earlier.point_before_minutes,
            again=self.again,
            several=self.several or earlier.several,
            sheet=self.sheet or earlier.sheet,
            days={**earlier.days, **self.days},
            stages={**earlier.stages, **self.stages},
            people={**earlier.people, **self.people},
            types={**earlier.types, **self.types},
        )


def parse_mapping(pairs: Iterable[str]) -> dict[str, str]:
    """`column=meaning` as typed, checked.

    Examples
    --------
    >>> parse_mapping(["Time spent=minutes"])
    {'Time spent': 'minutes'}
    """
    columns = {}
    for pair in pairs:
        column, equals, meaning = pair.rpartition("=")
        if not equals or not column.strip() or meaning.strip() not in MEANINGS:
            known = ", ".join(MEANINGS)
            raise UsageError(f"{pair!r} must be COLUMN=MEANING, where MEANING is one of {known}.")
        columns[column.strip()] = meaning.strip()
    return columns


def parse_answers(pairs: Iterable[str]) -> BuilderAnswers:
    """Answers as typed, `key=value` or `key:cell=value`, checked.

    Examples
    --------
    >>> said = parse_answers(["order=day-first", "day:0203-05-06=2023-05-06", "stage:wings=wing"])
    >>> said.order, said.days, said.stages
    ('day_first', {'0203-05-06': datetime.date(2023, 5, 6)}, {'wings': 'wing'})
    """
    answers = BuilderAnswers()
    for pair in pairs:
        key, equals, value = pair.rpartition("=")
        found = _one_answer(answers, key.strip(), value.strip()) if equals and value.strip() else None
        if found is None:
            raise UsageError(f"{pair!r} is not an answer; these are: {_FORMS}.")
        answers = found
    return answers


def _one_answer(answers: BuilderAnswers, key: str, value: str) -> BuilderAnswers | None:
    kind, colon, cell = key.partition(":")
    if colon:
        return _cell_answer(answers, kind, cell.strip(), value)
    if key == "order" and value in _ORDERS:
        return replace(answers, order=_ORDERS[value])
    if key == "year" and value.isascii() and value.isdigit() and 1950 <= int(value) <= 2199:
        return replace(answers, first_year=int(value))
    if key == "blank-day" and value == "above":
        return replace(answers, blank_day_above=True)
    if key == "minutes-after-point" and value == "yes":
        return replace(answers, point_before_minutes=True)
    if key == "again" and value == "yes":
        return replace(answers, again=True)
    if key == "several" and value in _SEVERAL:
        return replace(answers, several=_SEVERAL[value])
    return replace(answers, sheet=value) if key == "sheet" else None


def _cell_answer(answers: BuilderAnswers, kind: str, cell: str, value: str) -> BuilderAnswers | None:
    if not cell:
        return None
    if kind == "day":
        day = read_date(value)
        return None if day is None else replace(answers, days={**answers.days, cell: day})
    if kind == "stage":
        return replace(answers, stages={**answers.stages, cell: value})
    if kind == "who" and _ID.fullmatch(value) and not value.isdigit():
        return replace(answers, people={**answers.people, label_key(cell): value})
    if kind == "type":
        return replace(answers, types={**answers.types, cell: value})
    return None
