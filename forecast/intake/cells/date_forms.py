"""The forms in which people write a day, found in a text but not yet understood.

Which of the two numbers of `3/4/2023` is the day is left open here; `find_order` looks for what the whole
file shows about it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from forecast.intake.sheet_cells import Cell, cell_text, one_line

Order = Literal["day_first", "month_first"]

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january jan januar janvier enero", "february feb februar fevrier février febrero",
            "march mar mars märz maerz marzo", "april apr avril abril", "may mai mayo",
            "june jun juni juin junio", "july jul juli juillet julio", "august aug aout août agosto",
            "september sep sept septembre septiembre", "october oct oktober okt octobre octubre",
            "november nov novembre noviembre", "december dec dezember dez decembre décembre diciembre",
        ),
        start=1,
    )
    for name in names.split()
}  # fmt: skip
_MONTH = "|".join(sorted(_MONTHS, key=len, reverse=True))
_YEAR = r"(?:\d{4}|'?\d{2})(?![\d.:])"
_DAY = r"\d{1,2}(?:st|nd|rd|th)?"
DAY_FORM = re.compile(
    rf"""
    (?<![\d/.])(?:
      (?P<iso>(?P<iy>\d{{4}})[-/.](?P<im>\d{{1,2}})[-/.](?P<id>\d{{1,2}}))(?![\d/-])
    | (?P<compact>(?:19|20)\d{{6}})(?!\d)
    | (?P<a>\d{{1,2}})\s?(?P<sep>[-/.])\s?(?P<b>\d{{1,2}})\s?(?P=sep)\s?(?P<y>{_YEAR})
    | (?P<a2>\d{{1,2}})[/.](?P<b2>\d{{1,2}})(?:\.|(?![\d/:.]))
    | (?P<d1>{_DAY})\.?[ -]*(?:of[ ])?(?P<m1>{_MONTH})\b\.?(?:,?[ -]*(?P<y1>{_YEAR}))?
    | (?P<m2>{_MONTH})\b\.?[ -]*(?P<d2>{_DAY})(?![\d:])[ ]*(?:[-–][ ]*(?P<d2b>{_DAY})(?![\d/.-]))?
        (?:,?[ ]*(?P<y2>{_YEAR}))?
    | (?P<m3>{_MONTH})\b\.?(?:,?[ -]*(?P<y3>\d{{4}}))?
    )
    """,
    re.VERBOSE,
)
_WEEKDAY = re.compile(r"^(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*[.,]?\s+")
_ORDER_HEADING: tuple[tuple[re.Pattern[str], Order], ...] = (
    (re.compile(r"\bd{1,2}\W?m{1,3}\W?(?:y|\b)"), "day_first"),
    (re.compile(r"\bm{1,3}\W?d{1,2}\W?(?:y|\b)"), "month_first"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderEvidence:
    """Which order the two-number dates of a file show.

    `day_first` and `month_first` are the texts with a number above 12 that show it; `either` counts the
    dates that would be a different day in the other order.
    """

    day_first: tuple[str, ...]
    month_first: tuple[str, ...]
    either: int
    heading: Order | None = None

    @property
    def order(self) -> Order | None:
        """The one order that all the evidence agrees on, or None."""
        return next(iter(self._shown)) if len(self._shown) == 1 else None

    @property
    def contradicts_itself(self) -> bool:
        """Whether some dates can only be day first and others only month first."""
        return len(self._shown) > 1

    @property
    def _shown(self) -> set[Order]:
        shown: set[Order] = {self.heading} if self.heading else set()
        shown |= {"day_first"} if self.day_first else set()
        return shown | ({"month_first"} if self.month_first else set())


@dataclass(frozen=True, slots=True)
class WrittenDate:
    """A date as written: `first` and `second` are its two numbers where their order is open."""

    year: int | None = None
    month: int | None = None
    day: int | None = None
    first: int | None = None
    second: int | None = None
    short_year: bool = False
    last_day: int | None = None


def find_order(cells: Iterable[Cell], heading: str = "") -> OrderEvidence:
    """Look through all dates of a file for a number above 12 that shows which comes first.

    Examples
    --------
    >>> find_order(["3/4/2023", "4/19/2023"]).order, find_order(["3/4/2023", "5/6/2023"]).order
    ('month_first', None)
    >>> find_order(["19.4.2023", "4/19/2023"]).contradicts_itself
    True
    """
    day_first, month_first, either = [], [], 0
    for cell in cells:
        if not isinstance(cell, str):
            continue
        text = plain_words(cell)
        for raw in (written_day(m) for m in DAY_FORM.finditer(text)):
            if raw.first is None or raw.second is None:
                continue
            if raw.first > 12 >= raw.second:
                day_first.append(cell_text(cell))
            elif raw.second > 12 >= raw.first:
                month_first.append(cell_text(cell))
            elif raw.first != raw.second:
                either += 1
    words = heading.casefold()
    said = next((order for pattern, order in _ORDER_HEADING if pattern.search(words)), None)
    return OrderEvidence(
        day_first=tuple(day_first),
        month_first=tuple(month_first),
        either=either,
        heading=said,
    )


def plain_words(cell: str) -> str:
    """A cell on one line, without case and without the name of the weekday."""
    text = one_line(cell_text(cell)).casefold()
    return _WEEKDAY.sub("", text)


def written_day(m: re.Match[str]) -> WrittenDate:
    """What one match of `DAY_FORM` says."""
    if m["iso"]:
        return WrittenDate(year=int(m["iy"]), month=int(m["im"]), day=int(m["id"]))
    if m["compact"]:
        c = m["compact"]
        return WrittenDate(year=int(c[:4]), month=int(c[4:6]), day=int(c[6:]))
    if m["a"]:
        year, short = _written_year(m["y"])
        return WrittenDate(year=year, first=int(m["a"]), second=int(m["b"]), short_year=short)
    if m["a2"]:
        return WrittenDate(first=int(m["a2"]), second=int(m["b2"]))
    month = _MONTHS[m["m1"] or m["m2"] or m["m3"]]
    year, short = _written_year(m["y1"] or m["y2"] or m["y3"])
    day = m["d1"] or m["d2"]
    last = int(re.sub(r"\D", "", m["d2b"])) if m["d2b"] else None
    return WrittenDate(
        year=year,
        month=month,
        day=int(re.sub(r"\D", "", day)) if day else None,
        short_year=short,
        last_day=last,
    )


def _written_year(text: str | None) -> tuple[int | None, bool]:
    if not text:
        return None, False
    digits = text.lstrip("'")
    return (int(digits), False) if len(digits) == 4 else (2000 + int(digits), True)
