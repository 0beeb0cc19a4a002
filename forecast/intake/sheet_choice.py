"""The sheets of a workbook that hold the log, and their rows together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from forecast.errors import InputError, UsageError
from forecast.intake.columns import TIMES, HeadedSheet, find_headings, propose_columns
from forecast.intake.sheet_cells import ReadFile, Sheet, SheetRow, cell_text, is_blank, one_line


@dataclass(frozen=True, kw_only=True)
class ChosenSheets:
    """The rows of the chosen sheets, all under the same headings.

    Attributes
    ----------
    headings : one per column
    rows, above : the records below and above the headings
    heading_rows : the records of headings, repeated ones included
    names, unread : names of the chosen sheets and of the others
    """

    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    above: tuple[SheetRow, ...]
    heading_rows: tuple[SheetRow, ...]
    names: tuple[str, ...]
    unread: tuple[str, ...]

    @property
    def as_headed(self) -> HeadedSheet:
        """All chosen rows as one sheet with headings."""
        sheet = Sheet(name="", rows=self.rows, headed=self.headings)
        return HeadedSheet(sheet=sheet, headings=self.headings, rows=self.rows, above=(), headings_row=None)


def choose_sheets(read: ReadFile, *, sheet: str | None, answers: Mapping[str, str]) -> ChosenSheets:
    """Choose the sheet that looks most like a log, together with all sheets that have the same headings.

    Parameters
    ----------
    read : the file
    sheet : name of the sheet, where the builder has chosen it
    answers : heading -> meaning, as the builder says

    Raises
    ------
    InputError : when there is nothing to read
    UsageError : when `sheet` does not exist or is empty
    """
    headed = [find_headings(_without_blank_rows(s)) for s in read.sheets]
    headed = [h for h in headed if h.rows or h.above or h.headings_row]
    if not headed and not read.unread:
        raise InputError.about(read.name, "is empty")
    if sheet is not None:
        named = [h for h in headed if h.sheet.name.casefold() == sheet.casefold()]
        if not named:
            names = ", ".join(h.sheet.name for h in headed) or "none"
            raise UsageError(f"There is no sheet {sheet!r} with any rows. The sheets are: {names}.")
        chosen = named
    else:
        best = max(headed, key=lambda h: _likeness(h, answers), default=None)
        chosen = [h for h in headed if best is not None and _keys(h) == _keys(best)]
    rows = [row for h in chosen for row in h.rows]
    heading_rows = [h.headings_row for h in chosen if h.headings_row is not None]
    headings = {_texts(row) for row in heading_rows}  # printed pages repeat them
    return ChosenSheets(
        headings=chosen[0].headings if chosen else (),
        rows=tuple(row for row in rows if _texts(row) not in headings),
        above=tuple(row for h in chosen for row in h.above),
        heading_rows=(*heading_rows, *(row for row in rows if _texts(row) in headings)),
        names=tuple(h.sheet.name for h in chosen if h.sheet.name),
        unread=tuple(h.sheet.name for h in headed if h not in chosen),
    )


def _without_blank_rows(sheet: Sheet) -> Sheet:
    rows = tuple(row for row in sheet.rows if not is_blank(row.cells))
    return Sheet(name=sheet.name, rows=rows, headed=sheet.headed)


def _keys(headed: HeadedSheet) -> tuple[object, ...]:
    """What sheets that are read together have in common; a sheet without headings is read alone."""
    if headed.headings_row is None and headed.sheet.headed is None:
        return (headed.sheet.name,)
    return tuple(h.casefold() for h in headed.headings)


def _likeness(headed: HeadedSheet, answers: Mapping[str, str]) -> tuple[int, int]:
    """How much a sheet looks like a log: by its days, then by its hours, then by the number of rows."""
    own = {h: m for h, m in answers.items() if h in headed.headings}
    meanings = {c.meaning for c in propose_columns(headed, own)}
    return 2 * ("date" in meanings) + bool(meanings & {*TIMES, "start"}), len(headed.rows)


def _texts(row: SheetRow) -> tuple[str, ...]:
    texts = [one_line(cell_text(c)).casefold() for c in row.cells]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(texts)
