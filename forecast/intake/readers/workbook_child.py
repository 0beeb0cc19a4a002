"""Read one XLSX or ODS file with python-calamine, in a process of its own with limits.

Run as a script by `forecast.intake.readers.workbook`, it first limits its own memory and time, then writes
one JSON line per sheet and per row to standard output. A crash here does not affect the program.
"""

from __future__ import annotations

import json
import sys
from datetime import date, datetime, time, timedelta
from typing import Any

EXIT_TOO_LARGE = 3
EXIT_UNREADABLE = 4


def main(path: str, most_bytes: int, cpu_seconds: int, most_rows: int, most_cells: int) -> int:
    """Write the sheets of a workbook as JSON lines.

    Parameters
    ----------
    path : path of the workbook
    most_bytes, cpu_seconds : limits of the process
    most_rows, most_cells : limits of all sheets together

    Returns
    -------
    The exit code.
    """
    _limit(most_bytes, cpu_seconds)
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        with open(path, "rb") as file:
            workbook = CalamineWorkbook.from_filelike(file)
        for sheet in workbook.sheets_metadata:
            kind = str(sheet.typ).rsplit(".", 1)[-1]
            hidden = not str(sheet.visible).endswith(".Visible")
            _write({"sheet": sheet.name, "hidden": hidden, "kind": kind})
            if hidden or kind != "WorkSheet":
                continue
            rows = workbook.get_sheet_by_name(sheet.name)
            # Blank rows and cells cost little, so 20 times as many are let through before they are counted.
            if rows.total_height > 20 * most_rows or rows.height * rows.width > 20 * most_cells:
                return EXIT_TOO_LARGE
            most_rows, most_cells = _write_rows(rows, most_rows, most_cells)
            if most_rows < 0 or most_cells < 0:
                return EXIT_TOO_LARGE
    except CalamineError as error:
        sys.stderr.write(str(error)[:200])
        return EXIT_UNREADABLE
    return 0


def _limit(most_bytes: int, cpu_seconds: int) -> None:
    if sys.platform == "win32":
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _write_rows(sheet: Any, rows_left: int, cells_left: int) -> tuple[int, int]:
    """Write the rows that are not blank, and return what is left of the limits."""
    if sheet.start is None:
        return rows_left, cells_left
    before = [""] * sheet.start[1]
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        while cells and cells[-1] == "":
            cells.pop()
        if not cells:
            continue
        rows_left -= 1
        cells_left -= len(cells)
        if rows_left < 0 or cells_left < 0:
            break
        _write([number, *map(_as_json, before + cells)])
    return rows_left, cells_left


def _as_json(cell: Any) -> Any:
    if cell == "":
        return None
    if isinstance(cell, datetime | date):
        return {"day": cell.isoformat()}
    if isinstance(cell, time):
        return {"time": cell.isoformat()}
    if isinstance(cell, timedelta):
        return {"seconds": cell.total_seconds()}
    return cell


def _write(record: Any) -> None:
    sys.stdout.write(json.dumps(record, ensure_ascii=True, allow_nan=True) + "\n")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], *(int(a) for a in sys.argv[2:6])))
