"""Foreign files: every format, and those that are made to harm, refused in time and memory."""

import subprocess
import sys
import textwrap
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path

import openpyxl
import pytest

from forecast.errors import InputError
from forecast.intake import workbook
from forecast.intake.delimited import find_separator
from forecast.intake.foreign import read_foreign
from forecast.intake.front_matter import read_entries
from forecast.intake.sheet import Unread

MESSY = Path(__file__).resolve().parents[1] / "sample_logs" / "messy"
CONTENT_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.sheet.main+xml"/></Types>'
)
RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rId1" Target="{target}" '
    'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/{kind}"/></Relationships>'
)
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
WORKBOOK = (
    f'<?xml version="1.0"?><workbook xmlns="{MAIN}" xmlns:r="http://schemas.openxmlformats.org/officeDocument'
    '/2006/relationships"><sheets><sheet name="s" sheetId="1" r:id="rId1"/></sheets></workbook>'
)


def write_xlsx(path, rows_xml, extra=(), head='<?xml version="1.0"?>'):
    sheet = f'{head}<worksheet xmlns="{MAIN}"><sheetData>{rows_xml}</sheetData></worksheet>'
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", CONTENT_TYPES)
        archive.writestr("_rels/.rels", RELATIONS.format(kind="officeDocument", target="xl/workbook.xml"))
        archive.writestr("xl/workbook.xml", WORKBOOK)
        archive.writestr(
            "xl/_rels/workbook.xml.rels", RELATIONS.format(kind="worksheet", target="worksheets/sheet1.xml")
        )
        archive.writestr("xl/worksheets/sheet1.xml", sheet)
        for name, data in extra:
            archive.writestr(name, data)
    return path


def cell_xml(place, text):
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def refusal(path) -> str:
    with pytest.raises(InputError) as refused:
        read_foreign(path)
    return str(refused.value)


def test_a_small_workbook_written_by_hand_is_read(tmp_path):
    path = write_xlsx(tmp_path / "a.xlsx", f'<row r="3">{cell_xml("B3", "x")}</row>')
    (row,) = read_foreign(path).sheets[0].rows
    assert (row.line, row.cells) == (3, (None, "x"))


def test_typed_cells_come_as_they_are(tmp_path):
    book = openpyxl.Workbook()
    cells = [
        date(2023, 4, 19),
        2.5,
        time(2, 30),
        timedelta(hours=30),
        True,
        "wing",
        None,
        datetime(2023, 4, 19, 18),
    ]
    book.active.append(cells)
    book.active["D1"].number_format = "[h]:mm"
    book.save(tmp_path / "a.xlsx")
    assert list(read_foreign(tmp_path / "a.xlsx").sheets[0].rows[0].cells) == cells


def test_hidden_sheets_are_named_and_not_read(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = 1
    book.create_sheet("secret").sheet_state = "hidden"
    book.save(tmp_path / "a.xlsx")
    read = read_foreign(tmp_path / "a.xlsx")
    assert len(read.sheets) == 1
    assert "secret" in read.notices[0]


def test_formulas_without_a_stored_value_are_said(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = "=1+1"
    book.save(tmp_path / "a.xlsx")
    assert "formulas hold no stored value" in read_foreign(tmp_path / "a.xlsx").notices[0]


def test_a_workbook_is_told_by_its_content_and_not_by_its_name(tmp_path):
    path = write_xlsx(tmp_path / "a.csv", f'<row r="1">{cell_xml("A1", "x")}</row>')
    assert read_foreign(path).sheets[0].name == "s"


def measured(path) -> tuple[str, float, float]:
    """What a take says to a file, and the seconds and megabytes that it cost, in a process of its own."""
    code = """
        import resource, sys, time
        from forecast.errors import InputError
        from forecast.intake.foreign import read_foreign
        begun = time.process_time()
        try:
            read_foreign(sys.argv[1])
            said = "read"
        except InputError as error:
            said = str(error)
        child = resource.getrusage(resource.RUSAGE_CHILDREN)
        seconds = time.process_time() - begun + child.ru_utime + child.ru_stime
        own = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
        print(seconds, max(child.ru_maxrss, int(own.split()[1])) / 1024, said, sep="\\n")
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), str(path)], capture_output=True, text=True, check=True
    )
    seconds, megabytes, said = done.stdout.split("\n", 2)
    return said, float(seconds), float(megabytes)


def bomb(path):
    """A small file that unpacks to 300 MB of blanks."""
    write_xlsx(path, "")
    with (
        zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet2.xml", "w") as part,
    ):
        for _ in range(300):
            part.write(b" " * 1_000_000)
    return path


def lying_bomb(path):
    """300 MB in a part that declares one kilobyte."""
    bomb(path)
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        true_size = archive.getinfo("xl/worksheets/sheet2.xml").file_size.to_bytes(4, "little")
    assert data.count(true_size) >= 1
    path.write_bytes(bytes(data).replace(true_size, (1000).to_bytes(4, "little")))
    return path


def million_empty_rows(path):
    rows = "".join(f'<row r="{i}" spans="1:{i % 97}"/>' for i in range(1, 1_000_001))
    return write_xlsx(path, rows)


def far_corner(path):
    rows = f'<row r="1">{cell_xml("A1", "x")}</row><row r="1048576">{cell_xml("XFD1048576", "x")}</row>'
    return write_xlsx(path, rows)


def entities(path):
    levels = "".join(
        f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' if i else '<!ENTITY e0 "ha">' for i in range(12)
    )
    return write_xlsx(
        path,
        f'<row r="1">{cell_xml("A1", "&e11;")}</row>',
        head=f"<?xml version='1.0'?><!DOCTYPE x [{levels}]>",
    )


def outside_links(path):
    return write_xlsx(path, "", extra=[("xl/externalLinks/externalLink1.xml", "<externalLink/>")])


def repeated_ods(path, cell):
    """The messy ODS sheet with its last row repeated to the end of the sheet, as spreadsheet programs do."""
    row = f'<table:table-row table:number-rows-repeated="1048560">{cell}</table:table-row></table:table>'
    with zipfile.ZipFile(MESSY / "pair.ods") as messy, zipfile.ZipFile(path, "w") as archive:
        for part in messy.namelist():
            archive.writestr(part, messy.read(part).replace(b"</table:table>", row.encode()))
    return path


def million_full_rows(path):
    return repeated_ods(
        path, '<table:table-cell office:value-type="string"><text:p>x</text:p></table:table-cell>'
    )


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (million_full_rows, "more memory or time"),
        (bomb, "unpacks to 300 MB"),
        (lying_bomb, "damaged spreadsheet|unpacks to"),
        (million_empty_rows, "rows, most of them probably empty"),
        (far_corner, "more memory or time"),
        (entities, "declares XML entities"),
        (outside_links, "links to other files"),
    ],
)
def test_a_file_made_to_harm_is_refused_in_three_seconds_and_300_megabytes(make, why, tmp_path):
    said, seconds, megabytes = measured(make(tmp_path / "a.xlsx"))
    assert any(w in said for w in why.split("|"))
    assert seconds < 3
    assert megabytes < 300


def test_the_reading_process_gives_up_memory_before_it_opens_the_file(tmp_path, monkeypatch):
    path = write_xlsx(tmp_path / "a.xlsx", f'<row r="1">{cell_xml("A1", "x")}</row>')
    monkeypatch.setattr(workbook, "MOST_MEMORY_BYTES", 1_000_000)
    assert "more memory or time" in refusal(path)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "is empty"),
        (b" \n \n", "is empty"),
        (b"PK\x03\x04 and no more", "damaged spreadsheet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old or a protected spreadsheet"),
        (b"a,b\n\0,c\n", "is not a text file"),
        (b'a,b\n1,"open\n2,3\n', "is broken here"),
    ],
)
def test_what_is_no_log_is_refused_in_one_sentence(data, why, tmp_path):
    (tmp_path / "a.xlsx").write_bytes(data)
    assert why in refusal(tmp_path / "a.xlsx")


def test_a_zip_that_is_no_spreadsheet_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.xlsx", "w") as archive:
        archive.writestr("letter.txt", "x")
    assert "not an XLSX or ODS" in refusal(tmp_path / "a.xlsx")


def test_a_missing_file_is_said(tmp_path):
    assert "is not there" in refusal(tmp_path / "gone.csv")


@pytest.mark.parametrize(
    ("separator", "encoding"), [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-16"), ("|", "cp1252")]
)
def test_separator_and_encoding_are_found(separator, encoding, tmp_path):
    rows = [["Tag", "Höhe", "Arbeit"], ["1.2.2026", "2,5", "a; b"], ["2.2.2026", "1,5", "c"]]
    text = "".join(separator.join(f'"{c}"' if separator in c else c for c in r) + "\n" for r in rows)
    (tmp_path / "a.txt").write_bytes(text.encode(encoding))
    read = read_foreign(tmp_path / "a.txt").sheets[0].rows
    assert [list(r.cells) for r in read] == rows


def test_a_comma_in_numbers_does_not_pass_for_the_separator():
    assert find_separator("Tag;h\n1.2.2026;2,5\n2.2.2026;1,5\n") == ";"


def test_quoted_cells_keep_their_lines_and_rows_say_where_they_begin(tmp_path):
    (tmp_path / "a.csv").write_text('date,note\n2026-01-02,"two\nlines"\n2026-01-03,x\n')
    rows = read_foreign(tmp_path / "a.csv").sheets[0].rows
    assert [(r.line, r.cells[1]) for r in rows] == [(1, "note"), (2, "two\nlines"), (4, "x")]


def test_our_own_guard_against_formulas_is_taken_off(tmp_path):
    (tmp_path / "a.csv").write_text("date,note\n2026-01-02,'=1+1\n2026-01-03,'tis done\n")
    rows = read_foreign(tmp_path / "a.csv").sheets[0].rows
    assert [r.cells[1] for r in rows[1:]] == ["=1+1", "'tis done"]


def test_one_markdown_file_may_hold_several_entries():
    text = "---\ndate: 2026-01-02\nhours: 2:30\ndone: no\n---\nribs\n---\nmore ribs\n"
    text += "---\ndate: 2026-01-03\nhours: 1\n---\n"
    first, second = (entry for _, entry in read_entries(text))
    assert (first["hours"], first["done"], first["body"]) == ("2:30", "no", "ribs\n---\nmore ribs")
    assert second["date"] == "2026-01-03"


@pytest.mark.parametrize(
    "text", ["---\na: 1\n", "---\nno key\n---\n", "+++\na =\n+++\n", "---\na: 1\na: 2\n---\n", "---\n---\n"]
)
def test_front_matter_that_cannot_be_read_is_named(text):
    (found,) = (entry for _, entry in read_entries(text))
    assert isinstance(found, Unread)


def test_a_folder_of_markdown_files_is_one_sheet(tmp_path):
    for day in (2, 3):
        (tmp_path / f"{day}.md").write_text(f"---\ndate: 2026-01-0{day}\nhours: {day}\n---\n# Ribs\n")
    (tmp_path / "bad.md").write_text("no front matter")
    read = read_foreign(tmp_path)
    assert [r.cells for r in read.sheets[0].rows] == [
        ("2026-01-02", "2", "Ribs"),
        ("2026-01-03", "3", "Ribs"),
    ]
    assert [u.file for u in read.unread] == ["bad.md"]


def test_empty_rows_to_the_end_of_an_ods_sheet_cost_nothing(tmp_path):
    path = repeated_ods(tmp_path / "a.ods", '<table:table-cell table:number-columns-repeated="16384"/>')
    assert read_foreign(path).sheets[0].rows[0].cells[0] == "when"
    assert len(read_foreign(path).sheets[0].rows) == len(read_foreign(MESSY / "pair.ods").sheets[0].rows)
