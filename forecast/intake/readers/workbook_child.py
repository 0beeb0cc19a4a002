"""Read one XLSX or ODS file with python-calamine, in a process of its own that cannot take much.

Run as a script by `forecast.intake.readers.workbook`, it first gives up memory and time, then writes one JSON
line a sheet and a row to standard output. What goes wrong here takes nobody else down.
"""

from __future__ import annotations

import json
import sys
from datetime import date, datetime, time, timedelta
from typing import Any

EXIT_TOO_LARGE = 3
EXIT_UNREADABLE = 4


def main(path: str, most_bytes: int, cpu_seconds: int, most_rows: int, most_cells: int) -> int:
    """Write the sheets of the workbook at `path` as JSON lines, within the limits."""
    _give_up(most_bytes, cpu_seconds)
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
            if rows.total_height > 20 * most_rows or rows.height * rows.width > 20 * most_cells:
                return EXIT_TOO_LARGE
            most_rows, most_cells = _write_rows(rows, most_rows, most_cells)
            if most_rows < 0 or most_cells < 0:
                return EXIT_TOO_LARGE
    except CalamineError as error:
        sys.stderr.write(str(error)[:200])
        return EXIT_UNREADABLE
    return 0


def _give_up(most_bytes: int, cpu_seconds: int) -> None:
    if sys.platform == "win32":
        return
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _write_rows(sheet: Any, rows_left: int, cells_left: int) -> tuple[int, int]:
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
