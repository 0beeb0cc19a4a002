"""Which sheets of a workbook hold the log, and their rows together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from forecast.errors import InputError, Problem, UsageError
from forecast.intake.columns import HeadedSheet, find_headings, propose_columns
from forecast.intake.sheet_cells import ReadFile, Sheet, SheetRow, cell_text, is_blank, one_line

_TIMES = {"hours", "minutes", "person_hours", "duration", "start"}


@dataclass(frozen=True, kw_only=True)
class ChosenSheets:
    """The rows of the sheets that are read, all under the same headings.

    Attributes
    ----------
    headings : of every column
    rows : the records below the headings
    above : records above them
    heading_rows : records that hold the headings, those repeated further down included
    names, unread : sheets that are read, and that are not
    """

    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    above: tuple[SheetRow, ...]
    heading_rows: tuple[SheetRow, ...]
    names: tuple[str, ...]
    unread: tuple[str, ...]

    @property
    def as_headed(self) -> HeadedSheet:
        """The rows as one sheet with headings."""
        sheet = Sheet(name="", rows=self.rows, headed=self.headings)
        return HeadedSheet(sheet=sheet, headings=self.headings, rows=self.rows, above=(), headings_row=None)


def choose_sheets(read: ReadFile, *, sheet: str | None, said: Mapping[str, str]) -> ChosenSheets:
    """Choose the sheet that looks most like a log, and take the others with the same headings with it.

    Parameters
    ----------
    read : the file
    sheet : the name of the sheet, if the builder has said it
    said : heading -> meaning, the builder's own word

    Raises
    ------
    InputError when there is nothing to read, UsageError when `sheet` is not there.
    """
    headed = [find_headings(_without_blank_rows(s)) for s in read.sheets]
    headed = [h for h in headed if h.rows or h.above or h.headings_row]
    if not headed and not read.unread:
        raise InputError([Problem(read.name, None, "", "", "holds nothing")])
    if sheet is not None:
        named = [h for h in headed if h.sheet.name.casefold() == sheet.casefold()]
        if not named:
            names = ", ".join(h.sheet.name for h in headed) or "none"
            raise UsageError(f"There is no sheet {sheet!r} that holds anything; there are: {names}.")
        chosen = named
    else:
        best = max(headed, key=lambda h: _likeness(h, said), default=None)
        chosen = [h for h in headed if best is not None and _keys(h) == _keys(best)]
    rows, repeated = _tell_repeated([row for h in chosen for row in h.rows], chosen)
    return ChosenSheets(
        headings=chosen[0].headings if chosen else (),
        rows=rows,
        above=tuple(row for h in chosen for row in h.above),
        heading_rows=(*(h.headings_row for h in chosen if h.headings_row is not None), *repeated),
        names=tuple(h.sheet.name for h in chosen if h.sheet.name),
        unread=tuple(h.sheet.name for h in headed if h not in chosen),
    )


def _without_blank_rows(sheet: Sheet) -> Sheet:
    rows = tuple(row for row in sheet.rows if not is_blank(row.cells))
    return Sheet(name=sheet.name, rows=rows, headed=sheet.headed)


def _keys(headed: HeadedSheet) -> tuple[object, ...]:
    """What two sheets share when they can be read together; one without headings stands alone."""
    if headed.headings_row is None and headed.sheet.headed is None:
        return (headed.sheet.name,)
    return tuple(h.casefold() for h in headed.headings)


def _likeness(headed: HeadedSheet, said: Mapping[str, str]) -> tuple[int, int]:
    """How much a sheet looks like a log: days and hours first, then the number of rows."""
    there = {h: m for h, m in said.items() if h in headed.headings}
    meanings = {c.meaning for c in propose_columns(headed, there)}
    return 2 * ("date" in meanings) + bool(meanings & _TIMES), len(headed.rows)


def _tell_repeated(
    rows: list[SheetRow], chosen: list[HeadedSheet]
) -> tuple[tuple[SheetRow, ...], tuple[SheetRow, ...]]:
    """Rows that hold the headings once more, as printed pages do, apart from the others."""
    headings = {_texts(h.headings_row) for h in chosen if h.headings_row is not None}
    repeated = tuple(row for row in rows if _texts(row) in headings)
    return tuple(row for row in rows if _texts(row) not in headings), repeated


def _texts(row: SheetRow) -> tuple[str, ...]:
    texts = [one_line(cell_text(c)).casefold() for c in row.cells]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(texts)
