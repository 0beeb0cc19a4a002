"""Rows of the log changed and taken out."""

import pytest

from forecast.errors import InputError, UsageError
from forecast.files.amend import LogRow, change_row, log_rows, remove_row
from forecast.files.folder import read_build
from forecast.files.storage import undo
from tests.written_build import LOG, write_build


@pytest.fixture
def folder(tmp_path):
    return write_build(tmp_path)


def _text(folder, name="log.csv"):
    return (folder / name).read_bytes().decode()


def _row(folder, line, file="log.csv"):
    return next(r for r in log_rows(folder) if (r.file, r.line) == (file, line))


def test_the_rows_are_those_of_the_file_with_unknown_columns(tmp_path):
    folder = write_build(tmp_path, log_csv="Date,hours,weather\n2026-03-02,2,sun\n")
    assert log_rows(folder) == (
        LogRow(file="log.csv", line=2, cells={"date": "2026-03-02", "hours": "2", "weather": "sun"}),
    )


def test_one_cell_changes_and_every_other_byte_stays(folder):
    change_row(folder, _row(folder, 3), {"hours": "2.25"})
    assert _text(folder) == LOG.replace("2026-03-04,1.5", "2026-03-04,2.25")


def test_the_first_and_the_last_row_can_be_changed(folder):
    change_row(folder, _row(folder, 2), {"builders": "A+1"})
    change_row(folder, _row(folder, 4), {"hours": "0:30"})
    assert list(read_build(folder).sessions["person_hours"]) == [4.0, 3.0, 0.5]


def test_a_column_that_the_file_lacks_is_added(folder):
    change_row(folder, _row(folder, 4), {"note": "swept, then left"})
    assert _text(folder).splitlines()[0].endswith(",done,note")
    assert read_build(folder).sessions["note"].to_list() == ["", "", "swept, then left"]


def test_separator_line_ends_and_foreign_columns_stay(tmp_path):
    text = "\ufeffdate;hours;weather\r\n2026-03-02;2,5;sun\r\n2026-03-03;1;rain\r\n"
    folder = write_build(tmp_path, log_csv=text)
    change_row(folder, _row(folder, 2), {"hours": "3,5"})
    assert _text(folder) == text.replace("2,5", "3,5")


def test_a_note_over_two_lines_is_one_row(tmp_path):
    folder = write_build(tmp_path, log_csv='date,hours,note\n2026-03-02,2,"two\nlines"\n2026-03-03,1,\n')
    change_row(folder, _row(folder, 2), {"note": "one line"})
    assert _text(folder) == "date,hours,note\n2026-03-02,2,one line\n2026-03-03,1,\n"


def test_a_guarded_note_stays_guarded_once(tmp_path):
    folder = write_build(tmp_path, log_csv="date,hours,note\n2026-03-02,2,'=1+1\n")
    change_row(folder, _row(folder, 2), {"hours": "3"})
    assert _text(folder) == "date,hours,note\n2026-03-02,3,'=1+1\n"


def test_a_row_is_taken_out_and_undo_brings_it_back(folder):
    remove_row(folder, _row(folder, 3))
    assert _text(folder) == LOG.replace("2026-03-04,1.5,A+B,D1,yes\n", "")
    undo(folder)
    assert _text(folder) == LOG


def test_a_change_can_be_taken_back(folder):
    change_row(folder, _row(folder, 2), {"hours": "4"})
    undo(folder)
    assert _text(folder) == LOG


def test_a_row_that_changed_meanwhile_is_left_alone(folder):
    seen = _row(folder, 2)
    (folder / "log.csv").write_text(LOG.replace("2026-03-02,2", "2026-03-02,3"))
    for call in (lambda: change_row(folder, seen, {"hours": "9"}), lambda: remove_row(folder, seen)):
        with pytest.raises(InputError, match="has changed since it was shown"):
            call()
    assert "2026-03-02,3" in _text(folder)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"hours": "25"}, "hours: '25' must be"),
        ({"date": "2026-13-01"}, "date: '2026-13-01' must be"),
        ({"task": "nowhere"}, "task: 'nowhere' must be"),
        ({"builders": "Z"}, "builders: 'Z' must be"),
        ({"note": "\0"}, "note: contains characters that are not text."),
    ],
)
def test_a_wrong_row_is_refused_and_the_log_stays(folder, changed, said):
    with pytest.raises(UsageError) as raised:
        change_row(folder, _row(folder, 2), changed)
    assert str(raised.value).startswith(said)
    assert _text(folder) == LOG


def test_a_change_that_makes_another_row_wrong_is_refused(folder):
    with pytest.raises(UsageError, match="must occur only once per task"):
        change_row(folder, _row(folder, 2), {"done": "yes"})
    assert _text(folder) == LOG


def test_a_broken_row_can_be_put_right_while_others_are_still_broken(tmp_path):
    text = LOG + "2026-03-06,two,A,D1,\n2026-03-07,25,A,D1,\n"
    folder = write_build(tmp_path, log_csv=text)
    change_row(folder, _row(folder, 5), {"hours": "2"})
    assert _text(folder) == text.replace("2026-03-06,two", "2026-03-06,2")


def test_rows_of_the_log_folder_are_changed_in_their_file(folder):
    (folder / "log").mkdir()
    (folder / "log" / "2026-04.csv").write_text("date,hours\n2026-04-01,1\n")
    change_row(folder, _row(folder, 2, "log/2026-04.csv"), {"hours": "2"})
    assert _text(folder, "log/2026-04.csv") == "date,hours\n2026-04-01,2\n"
    undo(folder)
    assert _text(folder, "log/2026-04.csv") == "date,hours\n2026-04-01,1\n"


def test_a_row_with_more_cells_than_columns_is_not_cut(folder):
    text = LOG + "2026-03-06,1,A,D1,,lost?\n"
    (folder / "log.csv").write_text(text)
    with pytest.raises(InputError, match="more cells than the header"):
        change_row(folder, _row(folder, 5), {"hours": "2"})
    assert _text(folder) == text
