"""The log of a build folder as one CSV or XLSX file for other programs, in which no text is a formula."""

from __future__ import annotations

import io
from datetime import date, datetime
from typing import Any

import pandas as pd

from forecast.errors import UsageError
from forecast.files.csv_file import format_record, guard_formula
from forecast.files.folder import Build
from forecast.files.tables import table_schema
from forecast.intake.session_rows import SessionRow

_NUMBERS = ("hours", "quantity", "percent")
_MADE = datetime(2000, 1, 1)  # the same log gives the same file, whenever it is written


def exported_log(build: Build, ending: str, as_of: date | None = None) -> bytes:
    """The sessions of a build, as the whole content of a `.csv` or `.xlsx` file.

    In CSV a text that a spreadsheet would take for a formula gets an apostrophe in front, which `take`
    and every other reader of this program takes off again; in XLSX it is written as text.

    Parameters
    ----------
    build : the folder
    ending : ".csv" or ".xlsx"
    as_of : sessions that end later are left out; None for none

    Raises
    ------
    UsageError for another kind of file.
    """
    sessions = build.sessions
    if as_of is not None:
        sessions = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)]
    rows = [_row(r).cells for r in sessions.to_dict("records")]
    columns = table_schema("log").columns
    if ending.casefold() == ".csv":
        lines = [columns, *([_guarded(row, c) for c in columns] for row in rows)]
        return "".join(format_record(x, ",") + "\r\n" for x in lines).encode("utf-8")
    if ending.casefold() == ".xlsx":
        return _workbook(columns, rows)
    raise UsageError(f"{ending!r} must be .csv or .xlsx.")


def _guarded(row: dict[str, str], column: str) -> str:
    return row[column] if column in _NUMBERS else guard_formula(row[column])


def _row(session: dict[Any, Any]) -> SessionRow:
    return SessionRow(
        date=session["date"].date(),
        until=session["until"].date(),
        start=session["start"],
        hours=session["hours"],
        builders=tuple(session["builders"].split("+")),
        helpers=session["helpers"],
        task=session["task"],
        stage="" if session["task"] or session["stage"] == "other" else session["stage"],
        type="" if session["task"] or session["type"] == "general" else session["type"],
        quantity=_known(session["quantity"]),
        percent=_known(session["percent"]),
        done=session["done"],
        rework=session["rework"],
        note=session["note"],
    )


def _known(value: float) -> float | None:
    return None if value != value else value


def _workbook(columns: tuple[str, ...], rows: list[dict[str, str]]) -> bytes:
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {**options, "in_memory": True}) as workbook:
        workbook.set_properties({"created": _MADE})
        sheet = workbook.add_worksheet("log")
        sheet.write_row(0, 0, columns)
        for i, row in enumerate(rows, start=1):
            for k, column in enumerate(columns):
                if row[column] and column in _NUMBERS:
                    sheet.write_number(i, k, float(row[column]))
                elif row[column]:
                    sheet.write_string(i, k, row[column])
    return data.getvalue()
