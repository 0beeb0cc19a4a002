"""Foreign files: every format, and those that are made to harm, refused in time and memory."""

import zipfile
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest

from forecast.errors import InputError
from forecast.intake.readers import workbook
from forecast.intake.readers.delimited import find_separator
from forecast.intake.readers.foreign import read_foreign
from forecast.intake.readers.front_matter import read_entries
from forecast.intake.sheet_cells import Unread
from tests.harmful_files import HARMFUL, MESSY, cell_xml, measured, repeated_ods, write_xlsx


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
    assert "formulas have no stored value" in read_foreign(tmp_path / "a.xlsx").notices[0]


def test_a_workbook_is_told_by_its_content_and_not_by_its_name(tmp_path):
    path = write_xlsx(tmp_path / "a.csv", f'<row r="1">{cell_xml("A1", "x")}</row>')
    assert read_foreign(path).sheets[0].name == "s"


@pytest.mark.parametrize(("make", "why"), HARMFUL)
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
    assert "does not exist" in refusal(tmp_path / "gone.csv")


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
