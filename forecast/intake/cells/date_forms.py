"""The forms in which people write dates, recognized in a text but not resolved yet.

Which of the two numbers of `3/4/2023` is the day stays open here; `find_order` looks for evidence in the
whole file.
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
# Longest name first, so that "sept" is not read as "sep" with a letter left over.
_MONTH = "|".join(sorted(_MONTHS, key=len, reverse=True))
_YEAR = r"(?:\d{4}|'?\d{2})(?![\d.:])"
_DAY = r"\d{1,2}(?:st|nd|rd|th)?"
DATE_FORM = re.compile(
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
    """What a file shows about the order of day and month.

    Attributes
    ----------
    day_first, month_first : texts of dates that a number above 12 makes readable in one order only
    either : number of dates that would be another day in the other order
    heading : order that the heading of the column shows, such as dd/mm/yyyy
    """

    day_first: tuple[str, ...]
    month_first: tuple[str, ...]
    either: int
    heading: Order | None = None

    @property
    def order(self) -> Order | None:
        """The one order that all the evidence agrees on, or None."""
        return next(iter(self._orders)) if len(self._orders) == 1 else None

    @property
    def contradicts_itself(self) -> bool:
        """Whether some dates can only be day first and others only month first."""
        return len(self._orders) > 1

    @property
    def _orders(self) -> set[Order]:
        orders: set[Order] = {self.heading} if self.heading else set()
        orders |= {"day_first"} if self.day_first else set()
        return orders | ({"month_first"} if self.month_first else set())


@dataclass(frozen=True, slots=True)
class WrittenDate:
    """A date in its written parts: `first` and `second` are numbers whose order is open."""

    year: int | None = None
    month: int | None = None
    day: int | None = None
    first: int | None = None
    second: int | None = None
    short_year: bool = False
    last_day: int | None = None


def find_order(cells: Iterable[Cell], heading: str = "") -> OrderEvidence:
    """Search all dates of a file for a number above 12, which shows the order of day and month.

    Parameters
    ----------
    cells : the cells of the columns of dates
    heading : heading of the column; one such as dd/mm/yyyy shows the order too

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
        for written in (written_date(m) for m in DATE_FORM.finditer(text)):
            first, second = written.first, written.second
            if first is None or second is None:
                continue
            if first > 12 >= second:
                day_first.append(cell_text(cell))
            elif second > 12 >= first:
                month_first.append(cell_text(cell))
            elif first != second:
                either += 1
    orders = (order for pattern, order in _ORDER_HEADING if pattern.search(heading.casefold()))
    return OrderEvidence(
        day_first=tuple(day_first), month_first=tuple(month_first), either=either, heading=next(orders, None)
    )


def plain_words(cell: str) -> str:
    """A cell on one line, case-folded and without a leading weekday."""
    return _WEEKDAY.sub("", one_line(cell_text(cell)).casefold())


def written_date(m: re.Match[str]) -> WrittenDate:
    """The parts of one match of `DATE_FORM`."""
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
    day, last = (int(re.sub(r"\D", "", d)) if d else None for d in (m["d1"] or m["d2"], m["d2b"]))
    return WrittenDate(year=year, month=month, day=day, short_year=short, last_day=last)


def _written_year(text: str | None) -> tuple[int | None, bool]:
    """The year, and whether it has two digits (a build log begins in this century)."""
    if not text:
        return None, False
    digits = text.lstrip("'")
    return (int(digits), False) if len(digits) == 4 else (2000 + int(digits), True)
