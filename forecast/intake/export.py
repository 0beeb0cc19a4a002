"""The log of a build folder as one CSV or XLSX file for other programs, in which no text is a formula."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from forecast.csv_file import format_record, guard_formula
from forecast.errors import InputError, Problem, UsageError
from forecast.folder import Build
from forecast.intake.log_row import LogRow
from forecast.tables import table_schema

_NUMBERS = ("hours", "quantity", "percent")


def export_log(build: Build, file: Path | str) -> int:
    """Write the sessions of a build to a `.csv` or `.xlsx` file; how many rows it holds.

    In CSV a text that a spreadsheet would take for a formula gets an apostrophe in front, which `take`
    and every other reader of this program takes off again; in XLSX it is written as text.

    Raises
    ------
    UsageError for another kind of file, InputError when it cannot be written.
    """
    file = Path(file)
    rows = [_row(r).cells for r in build.sessions.to_dict("records")]
    columns = table_schema("log").columns
    try:
        if file.suffix.casefold() == ".csv":
            lines = [columns, *([_guarded(row, c) for c in columns] for row in rows)]
            file.write_text("".join(format_record(x, ",") + "\r\n" for x in lines), "utf-8", newline="")
        elif file.suffix.casefold() == ".xlsx":
            _write_workbook(file, columns, rows)
        else:
            raise UsageError(f"{file.name} must end in .csv or .xlsx.")
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError([Problem(file.name, None, "", "", f"could not be written: {reason}")]) from None
    return len(rows)


def _guarded(row: dict[str, str], column: str) -> str:
    return row[column] if column in _NUMBERS else guard_formula(row[column])


def _row(session: dict[Any, Any]) -> LogRow:
    return LogRow(
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


def _write_workbook(file: Path, columns: tuple[str, ...], rows: list[dict[str, str]]) -> None:
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(file), {**options, "in_memory": True}) as workbook:
        sheet = workbook.add_worksheet("log")
        sheet.write_row(0, 0, columns)
        for i, row in enumerate(rows, start=1):
            for k, column in enumerate(columns):
                if row[column] and column in _NUMBERS:
                    sheet.write_number(i, k, float(row[column]))
                elif row[column]:
                    sheet.write_string(i, k, row[column])
