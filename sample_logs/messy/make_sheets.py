"""Make the three messy sheets of this folder again: `python sample_logs/messy/make_sheets.py`.

Every row is invented. Each odd form stands for one that real build logs were seen to hold.
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime, time
from pathlib import Path
from xml.sax.saxutils import escape

import xlsxwriter

HERE = Path(__file__).parent

HANGAR = [
    ["Plover project - time sheet"],
    [],
    ["Date", "Minutes", "Who", "Section", "Work done", "Done?", None, "Running total"],
    [date(2023, 1, 7), 180, "Jo", "Tail", "Match drilled rudder ribs", None, None, 180],
    ["1/14/2023", 150, "Jo", "Tail", "Deburred ribs, drilled spar", None, None, 330],
    [date(2023, 1, 21), time(2, 30), "Jo & Sam", "tail ", "Primed ribs", None, None, 480],
    ["2/4", 120, "Jo", "Tails", "Riveted rudder skin", None, None, 600],
    ["2/5/2023", 0, None, "Tail", None, None, None, 600],
    ["2/11/2023", "~90", "Jo", "Tail", "Re-drilled bad hole in spar", None, None, 690],
    [date(2023, 2, 18), "many hours", "Jo", "Tail", "Riveted spar", None, None, 690],
    ["0203-03-04", 60, "Jo", "Tail", "Fit tail tip", "x", None, 750],
    ["3/11/2023 through 3/12/2023", 600, "Jo + Sam", "Wing", "Clecoed left wing skins", None, None, 1350],
    ["May and June 2023", 2700, "Jo", "Wings", "Riveted wing ribs", None, None, 4050],
    ["6/3/2023", 180, "Kim", "wing", "Bucked rivets on top skin", None, None, 4230],
    ["6/10/2023", 2400, "Jo", "Wing", "Riveted bottom skin", None, None, 6630],
    ["6/17/2023", 240, "Jo", "Fuselage", "Bent longeron flanges", None, None, 6870],
    ["7/1/2023", 120, "Jo", "Wing / Tail", "Inventory of the finish kit", None, None, 6990],
    ["Date", "Minutes", "Who", "Section", "Work done", "Done?", None, "Running total"],
    ["7/8/2023", "2h30", "Jo", "Fuselage", "Fit longerons", "yes", None, 7140],
    ["7/9/2023", "1.5 h", "Jo", "Fueslage", "Deburr longerons", None, None, 7230],
    ["7/15/2023", 195, "Jo", "Fuselage", "=all of section 4", None, None, 7425],
    ["Total", None, None, None, None, None, None, 7425],
]
PARTS = [["Part", "Price"], ["ribs", 120], ["skins", 300]]

SHED = [
    ["Day", "Until", "Hours", "By", "Part of the boat", "Job", "Notes"],
    ["3.4.2022", "", "2,5", "A", "hull", "Sanded frames", ""],
    ["19.4.2022", "", "2h30", "A", "hull", "Fitted stringers", "kühl, zwei Zeilen:\nglue was slow"],
    ["24.4.2022", "", "3,25", "A, B", "hull", "Glued chine; clamped chine", ""],
    ["1.5.2022", "8.5.2022", "40", "A", "hull", "Planking", "several days in one"],
    ["30.12.2022", "", "2", "A", "deck", "Fit deck beams", ""],
    ["2.1.2022", "", "1,5", "A", "deck", "Fit deck beams", ""],
    ["8.1.2023", "", "2", "A+2", "deck", "Turned the hull over", ""],
    ["15.1.2023 22.1.2023", "", "5", "A", "decks", "Glued deck", ""],
    ["5.2.2023", "", "", "A", "deck", "Sanded deck", ""],
    ["12.2.2023", "", "2-3", "A", "deck", "Sanded deck", ""],
    ["31.2.2023", "", "2", "A", "deck", "Sanded deck", ""],
    ["", "", "1", "A", "deck", "Varnished coamings", ""],
    ["19.2.23", "", "2,0", "A", "cockpit", "Varnished seats", ""],
    ["26.2.2023", "", "9.00", "A", "cockpit", "Installed cleats", ""],
    ["4.3.2023", "", "2", "A", "cockpit", "Ordered epoxy", ""],
    ["5.3.2062", "", "2", "A", "cockpit", "Painted bulkhead", ""],
    ["12.3.2022", "", "3", "A", "hull", "Wired bilge pump", "written down a year late"],
    ["Total", "", "78", "", "", "", ""],
]

PAIR = [
    ["when", "person-hours", "crew", "category", "what we did", "notes", "finished"],
    ["2023-04-19(?)", 5, 2, "electrical", "Wired nav lights", None, None],
    ["2023-04-22 through 2023-04-25", "41.75 person-hours building, 4 shopping", "Al, Bo, Cy", "electrical",
     "Made up panel harness", None, None],
    ["2023-04-29", 6, "Al and Bo", "electirical", "Crimped terminals", None, "no"],
    ["2023-04-30", 6, "Al and Bo", "electirical", "Crimped terminals", None, "no"],
    ["2023-04-30", 6, "Al and Bo", "electirical", "Crimped terminals", None, "no"],
    ["2023-05-06", "3:30", "al", "electrical", "Soldered connector", "wrong pin, did it again", None],
    ["2023-05-07", 2, "me + 1", "cabin, electrical", "Ran wires behind panel", None, None],
    ["2023-05-13", 4, "Al", "cabin", "Sewed seat covers", None, "yes"],
    ["2023-05-20", 4, "Dee", "cabin", "Filming and editing video", None, None],
    ["2023-05-21", 3, "Bo", "cabin", "more on the doors", None, "half"],
    ["some time in June", 3, "Bo", "cabin", "Carpet", None, None],
    ["2023-07-01", "a lot", "Bo", "cabin", "Carpet", None, None],
    ["2023-07-08", 1.5, "Bo", "cabin", "Carpet in baggage area, installed seat belts", None, "x"],
]  # fmt: skip


def main() -> None:
    """Write hangar.xlsx, shed.csv and pair.ods."""
    _write_xlsx(
        HERE / "hangar.xlsx", {"Build log": HANGAR, "Parts": PARTS, "Old": HANGAR[:4]}, hidden={"Old"}
    )
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";", lineterminator="\r\n").writerows(SHED)
    (HERE / "shed.csv").write_bytes(out.getvalue().encode("cp1252"))
    _write_ods(HERE / "pair.ods", "Sheet1", PAIR)


def _write_xlsx(path: Path, sheets: dict[str, list[list[object]]], hidden: set[str]) -> None:
    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False}) as workbook:
        workbook.set_properties({"created": datetime(2023, 8, 1)})
        day = workbook.add_format({"num_format": "m/d/yyyy"})
        clock = workbook.add_format({"num_format": "h:mm"})
        for name, rows in sheets.items():
            sheet = workbook.add_worksheet(name)
            if name in hidden:
                sheet.hide()
            for i, row in enumerate(rows):
                for k, cell in enumerate(row):
                    if isinstance(cell, date | time):
                        sheet.write_datetime(i, k, cell, day if isinstance(cell, date) else clock)
                    elif isinstance(cell, str):
                        sheet.write_string(i, k, cell)
                    elif cell is not None:
                        sheet.write(i, k, cell)


def _write_ods(path: Path, name: str, rows: list[list[object]]) -> None:
    body = "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows)
    content = (
        '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3">'
        f'<office:body><office:spreadsheet><table:table table:name="{name}">{body}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        '<manifest:file-entry manifest:full-path="/" '
        'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
    )
    parts = {
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "content.xml": content,
        "META-INF/manifest.xml": manifest,
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, text in parts.items():
            archive.writestr(zipfile.ZipInfo(part, (2023, 8, 1, 0, 0, 0)), text)


def _ods_cell(cell: object) -> str:
    if cell is None:
        return "<table:table-cell/>"
    if isinstance(cell, str):
        return (
            f'<table:table-cell office:value-type="string"><text:p>{escape(cell)}</text:p></table:table-cell>'
        )
    return (
        f'<table:table-cell office:value-type="float" office:value="{cell}"><text:p>{cell}</text:p>'
        "</table:table-cell>"
    )


if __name__ == "__main__":
    main()
