"""Taking a grown or changed foreign log again: only what is new, nothing twice, nothing in silence."""

import pytest

from forecast.errors import InputError
from forecast.files.storage import undo
from forecast.intake import take_in
from tests.foreign_log import SHEET, log_rows, propose, take


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "hours.csv"
    path.write_text(SHEET)
    return path


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "my build é"


def test_taking_the_same_file_again_adds_nothing(sheet, folder):
    take(sheet, folder)
    before = (folder / "log.csv").read_bytes()
    again = take(sheet, folder)
    assert (again.added, again.already) == (0, 3)
    assert (folder / "log.csv").read_bytes() == before


def test_a_grown_file_adds_only_what_is_new(sheet, folder):
    take(sheet, folder)
    between = SHEET.replace("2026-01-10", "2026-01-05,1,tail,fitted rib\n2026-01-10")
    sheet.write_text(between + "2026-01-11,1,wing,x\n")
    grown = take(sheet, folder)
    assert (grown.added, grown.already, grown.changed, grown.gone) == (2, 3, (), 0)


def test_two_equal_sessions_on_one_day_are_two_rows(sheet, folder):
    take(sheet, folder)
    sheet.write_text(SHEET + "2026-01-10,3,wing,riveted skin\n")
    assert take(sheet, folder).added == 1
    assert take(sheet, folder).added == 0


def test_a_row_changed_behind_the_take_is_named_and_not_added_twice(sheet, folder):
    take(sheet, folder)
    sheet.write_text(SHEET.replace("2026-01-04,1.5", "2026-01-04,2.5"))
    again = take(sheet, folder)
    assert again.added == 0
    assert [str(c) for c in again.changed] == [
        "hours.csv, line 3 (2026-01-04): since it was taken in, the hours changed from 1.5 to 2.5"
    ]


def test_a_change_is_named_until_the_log_agrees(sheet, folder):
    take(sheet, folder)
    sheet.write_text(SHEET.replace("2026-01-04,1.5", "2026-01-04,2.5"))
    assert len(take(sheet, folder).changed) == len(take(sheet, folder).changed) == 1
    log = folder / "log.csv"
    log.write_text(log.read_text().replace("2026-01-04,,,1.5", "2026-01-04,,,2.5"))
    settled = take(sheet, folder)
    assert (settled.changed, settled.gone, settled.already) == ((), 0, 3)


def test_a_row_taken_out_of_the_sheet_stays_in_the_folder_and_is_counted(sheet, folder):
    take(sheet, folder)
    sheet.write_text("\n".join(SHEET.split("\n")[:3]) + "\n")
    assert take(sheet, folder).gone == 1
    assert len(log_rows(folder)) == 3


def test_rows_in_another_order_are_the_same_rows(sheet, folder):
    take(sheet, folder)
    head, *rows = SHEET.splitlines()
    sheet.write_text("\n".join([head, *reversed(rows)]) + "\n")
    assert (take(sheet, folder).added, take(sheet, folder).already) == (0, 3)


def test_what_the_builder_put_right_in_the_log_is_not_added_again(sheet, folder):
    take(sheet, folder)
    log = folder / "log.csv"
    log.write_text(log.read_text().replace("deburred ribs", "deburred six ribs"))
    assert take(sheet, folder).added == 0


def test_a_take_that_was_undone_can_be_taken_again(sheet, folder):
    take(sheet, folder)
    undo(folder)
    assert not log_rows(folder)
    assert take(sheet, folder).added == 3


def test_rows_that_the_builder_took_out_come_back_only_when_told(sheet, folder):
    take(sheet, folder)
    log = folder / "log.csv"
    kept = [line for line in log.read_text().splitlines() if "2026-01-04" not in line]
    log.write_text("\n".join(kept) + "\n")
    intake = propose(sheet, folder)
    assert any("taken in earlier and no longer in the folder (line 3)" in d for d in intake.doubts)
    assert take_in(intake).added == 0
    assert take(sheet, folder, "again=yes").added == 1


def test_a_lost_memory_does_not_double_the_log(sheet, folder):
    take(sheet, folder)
    (folder / "take.toml").unlink()
    assert (take(sheet, folder).added, len(log_rows(folder))) == (0, 3)


def test_a_take_that_stopped_half_way_is_finished_by_the_next(sheet, folder):
    stopped = propose(sheet, folder)
    take(sheet, folder)
    (folder / "take.toml").unlink()
    log = folder / "log.csv"
    log.write_text("\n".join(log.read_text().splitlines()[:-1]) + "\n")
    assert take(sheet, folder).added == 1
    assert take_in(stopped).added == 0


def test_two_takes_proposed_at_once_do_not_write_twice(sheet, folder):
    first, second = propose(sheet, folder), propose(sheet, folder)
    take_in(first)
    take_in(second)
    assert len(log_rows(folder)) == 3


def test_the_mapping_is_remembered(tmp_path, folder):
    path = tmp_path / "t.csv"
    path.write_text("When,Spent,Bit\n2026-01-03,120,tail\n")
    assert "Is '120' in hours or in minutes?" in propose(path, folder).questions[-1].text
    take(path, folder, Spent="minutes")
    path.write_text("When,Spent,Bit\n2026-01-03,120,tail\n2026-01-04,60,tail\n")
    assert take(path, folder).added == 1
    assert [row["hours"] for row in log_rows(folder)] == ["2", "1"]


def test_a_renamed_file_with_the_same_headings_is_the_same_sheet(sheet, folder):
    take(sheet, folder)
    moved = sheet.rename(sheet.with_name("hours 2026.csv"))
    moved.write_text(SHEET.replace("drilled ribs", "drilled six ribs"))
    assert len(take(moved, folder).changed) == 1


def test_a_column_added_to_the_sheet_later_changes_no_row(sheet, folder):
    take(sheet, folder)
    sheet.write_text("".join(f"{line},7\n" for line in SHEET.splitlines()))
    assert (take(sheet, folder).already, take(sheet, folder).changed) == (3, ())


def test_a_broken_take_toml_is_said_in_one_sentence(sheet, folder):
    take(sheet, folder)
    (folder / "take.toml").write_text("[[sheet]]\nfile = 1\nheadings = 2\n")
    with pytest.raises(InputError, match=r"take.toml: is not as the program wrote it"):
        propose(sheet, folder)


def test_a_file_open_in_a_spreadsheet_is_not_written(sheet, folder):
    take(sheet, folder)
    sheet.write_text(SHEET + "2026-01-12,1,wing,riveted\n")
    (folder / ".~lock.log.csv#").write_text("")
    with pytest.raises(InputError, match="open in a spreadsheet"):
        take(sheet, folder)
    assert len(log_rows(folder)) == 3
