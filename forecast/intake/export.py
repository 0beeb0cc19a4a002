"""Export the log as one CSV or XLSX file for other programs, in which no text is a formula."""

from __future__ import annotations

import io
from collections.abc import Hashable, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pandas as pd

from forecast.errors import UsageError
from forecast.files.csv_file import format_record, guard_formula
from forecast.files.folder import Build
from forecast.files.tables import table_schema
from forecast.intake.session_rows import SessionRow, session_row

_NUMBERS = ("hours", "quantity", "percent")
_CREATED = datetime(2000, 1, 1)  # a fixed day, so that the same log always gives the same file


def exported_log(build: Build, ending: str, as_of: date | None = None) -> bytes:
    """Content of a `.csv` or `.xlsx` file with the sessions of a build.

    In CSV, text that a spreadsheet would evaluate gets a leading apostrophe, which `take` and every other
    reader of this program removes; in XLSX it is written as text.

    Parameters
    ----------
    build : the build
    ending : ".csv" or ".xlsx"
    as_of : last day of the export; None for all sessions

    Raises
    ------
    UsageError : for another ending
    """
    sessions = build.sessions
    if as_of is not None:
        sessions = sessions.loc[sessions["until"] <= pd.Timestamp(as_of)]
    rows = [_row(record).cells for record in sessions.to_dict("records")]
    columns = table_schema("log").columns
    if ending.casefold() == ".csv":
        lines = [columns, *([_guarded(row, c) for c in columns] for row in rows)]
        return "".join(format_record(x, ",") + "\r\n" for x in lines).encode("utf-8")
    if ending.casefold() == ".xlsx":
        return _workbook(columns, rows)
    raise UsageError(f"{ending!r} must be .csv or .xlsx.")


def _guarded(row: dict[str, str], column: str) -> str:
    return row[column] if column in _NUMBERS else guard_formula(row[column])


def _row(session: Mapping[Hashable, Any]) -> SessionRow:
    """The row of the log that a session comes from; stage and type only where it has no task."""
    row = session_row(session, tuple(session["builders"].split("+")), session["helpers"])
    stage = "" if row.task or row.stage == "other" else row.stage
    return replace(row, stage=stage, type="" if row.task or row.type == "general" else row.type)


def _workbook(columns: tuple[str, ...], rows: list[dict[str, str]]) -> bytes:
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {**options, "in_memory": True}) as workbook:
        workbook.set_properties({"created": _CREATED})
        sheet = workbook.add_worksheet("log")
        sheet.write_row(0, 0, columns)
        for i, row in enumerate(rows, start=1):
            for k, column in enumerate(columns):
                if row[column] and column in _NUMBERS:
                    sheet.write_number(i, k, float(row[column]))
                elif row[column]:
                    sheet.write_string(i, k, row[column])
    return data.getvalue()
