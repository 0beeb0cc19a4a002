"""Writing a builder's file: whole or not at all, nothing foreign touched, always to be taken back."""

import errno
import os
import re
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import hypothesis.strategies as st
import pytest
from filelock import FileLock
from hypothesis import given, settings

from forecast.errors import InputError
from forecast.files import storage
from forecast.files.csv_file import format_record, parse_csv, with_records
from forecast.files.storage import HISTORY, append_row, change_file, undo
from forecast.files.tables import read_table, table_schema
from tests.written_build import LOG, write_build

SCHEMA = table_schema("log")
ROW = {"date": "2026-03-06", "hours": "1.5", "note": "new"}
ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def log(tmp_path):
    return write_build(tmp_path) / "log.csv"


def _append(data: bytes, row=ROW, **kwargs) -> bytes:
    return with_records(data, "log.csv", SCHEMA.columns, [row], **kwargs)[0]


def test_a_row_is_added_at_the_end_and_says_its_line(log):
    assert append_row(log, SCHEMA, {"date": "2026-03-06", "hours": "1.5", "task": "R1"}) == 5
    assert log.read_text() == LOG + "2026-03-06,1.5,,R1,\n"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_foreign_file_keeps_its_own_way_of_writing(separator, newline, mark):
    rows = [["weather", "hours", "Note", "date", "dog"], ["sun", "2", "a", "2026-03-05", "Rex"]]
    before = mark + (newline.join(separator.join(r) for r in rows) + newline).encode()
    new = separator.join(["", "1.5", "new", "2026-03-06", ""]) + newline
    assert _append(before) == before + new.encode()


def test_a_last_line_without_an_end_gets_one_and_stays_whole():
    assert (
        _append(b"date,hours,note\r\n2026-03-05,2,x")
        == b"date,hours,note\r\n2026-03-05,2,x\r\n2026-03-06,1.5,new\r\n"
    )


def test_blank_lines_at_the_end_stay_at_the_end():
    assert (
        _append(b"date,hours,note\n2026-03-05,2,x\n\n,,\n")
        == b"date,hours,note\n2026-03-05,2,x\n2026-03-06,1.5,new\n\n,,\n"
    )


def test_a_row_goes_after_the_row_it_belongs_to():
    text = b'date,hours,note\n1,1,"two\nlines"\n2,2,x\n'
    data, line = with_records(text, "log.csv", SCHEMA.columns, [ROW], after_line=2)
    assert data == b'date,hours,note\n1,1,"two\nlines"\n2026-03-06,1.5,new\n2,2,x\n'
    assert line == 4


def test_a_column_that_the_file_lacks_is_added_to_every_row():
    text = b'date,hours\r\n2026-03-05,2\r\n2026-03-04\r\n\r\n"2026-03-03","1"\r\n'
    assert _append(text) == (
        b'date,hours,note\r\n2026-03-05,2,\r\n2026-03-04,,\r\n\r\n"2026-03-03","1",\r\n2026-03-06,1.5,new\r\n'
    )


def test_no_column_is_added_where_a_row_already_has_more_cells_than_columns():
    with pytest.raises(InputError, match="line 2: has more cells than the header"):
        _append(b"date,hours\n2026-03-05,2,stray\n")


def test_no_row_is_added_to_a_file_whose_last_quote_is_open():
    with pytest.raises(InputError, match="never closed"):
        _append(b'date,hours,note\n2026-03-05,2,"open\n')


def test_numbers_are_written_as_the_file_writes_them(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("date;hours;note\n2026-03-05;2,5;x\n")
    append_row(path, SCHEMA, ROW)
    assert path.read_text().endswith("2026-03-06;1,5;new\n")


@pytest.mark.parametrize(
    "note", ["=1+1", "+2 ribs", "-3", "@home", "'=x", "a,b", 'six "inch"', "two\nlines", "\ttab"]
)
def test_a_note_is_no_formula_in_the_file_and_reads_as_it_was_written(log, note):
    append_row(log, SCHEMA, {**ROW, "note": note})
    assert not re.search(r'(^|,)"?[=+\-@\t]', log.read_text().partition("\n")[2])
    assert read_table(log.read_bytes(), "log.csv", "log").frame["note"].iloc[-1] == note


def test_a_missing_file_is_made_with_every_column(tmp_path):
    append_row(tmp_path / "log.csv", SCHEMA, ROW)
    header, row = (tmp_path / "log.csv").read_text().splitlines()
    assert tuple(header.split(",")) == SCHEMA.columns
    assert row.startswith("2026-03-06,,,1.5,")


TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.lists(TEXT, min_size=3, max_size=3), max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n"]),
    TEXT,
)
def test_adding_a_row_changes_no_other_cell(rows, separator, newline, note):
    lines = [format_record(r, separator) for r in [["date", "hours", "note"], *rows]]
    before = (newline.join(lines) + newline).encode()
    old = parse_csv(before, "log.csv", SCHEMA.columns)
    new = parse_csv(
        _append(before, {"date": "2026-03-06", "note": note, "task": "T"}), "log.csv", SCHEMA.columns
    )
    assert [r[:3] for r in new.rows[:-1]] == [r[:3] for r in old.rows]
    assert new.rows[-1][3] == "T"


def test_undo_takes_the_last_row_back_and_undo_again_brings_it_back(log):
    append_row(log, SCHEMA, {"date": "2026-03-06", "hours": "1.5"})
    after = log.read_text()
    assert undo(log.parent).removed == ("2026-03-06,1.5,,,",)
    assert log.read_text() == LOG
    assert undo(log.parent).restored == ("2026-03-06,1.5,,,",)
    assert log.read_text() == after


def test_undo_takes_a_column_back_that_came_with_the_row(log):
    append_row(log, SCHEMA, ROW)
    assert log.read_text() != LOG
    said = undo(log.parent).sentence
    assert log.read_text() == LOG
    assert "and 2 more" in said


def test_undo_says_what_it_did_in_words(log):
    append_row(log, SCHEMA, {"date": "2026-03-06", "hours": "1.5"})
    assert undo(log.parent).sentence == "log.csv: removed 2026-03-06,1.5,,,. Undo again to redo it."


def test_undo_takes_back_the_last_change_of_whichever_file(log):
    append_row(log, SCHEMA, ROW)
    plan = log.with_name("plan.csv")
    append_row(plan, table_schema("plan"), {"task": "X", "stage": "tail"})
    assert undo(log.parent).file == "plan.csv"
    assert "2026-03-06" in log.read_text()


def test_undo_refuses_over_a_change_by_another_program_and_names_the_earlier_version(log):
    append_row(log, SCHEMA, ROW)
    log.write_text(log.read_text() + "2026-03-07,1,A,,,by hand\n")
    by_hand = log.read_text()
    with pytest.raises(InputError, match="has been changed by another program since") as raised:
        undo(log.parent)
    assert log.read_text() == by_hand
    assert (log.parent / re.search(r"\.history\S+\.csv", str(raised.value))[0]).read_text() == LOG


def test_undo_with_nothing_to_take_back_is_a_sentence(log):
    with pytest.raises(InputError, match="has no change to undo"):
        undo(log.parent)


def test_undo_passes_over_a_version_whose_write_never_happened(log, monkeypatch):
    append_row(log, SCHEMA, ROW)
    after = log.read_text()

    def stopped(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as stop:
        stop.setattr(storage, "_content", _after(storage._content, calls=1, then=stopped))
        with pytest.raises(KeyboardInterrupt):
            append_row(log, SCHEMA, ROW)
    assert len(list((log.parent / HISTORY / "log.csv").iterdir())) == 2
    assert log.read_text() == after
    undo(log.parent)
    assert "2026-03-06" not in log.read_text()


def _after(function, *, calls, then):
    left = [calls]

    def wrapped(*args):
        left[0] -= 1
        return function(*args) if left[0] >= 0 else then(*args)

    return wrapped


def test_a_version_is_kept_of_each_of_the_last_fifty_changes_and_no_more(log):
    for i in range(storage.MOST_VERSIONS + 3):
        append_row(log, SCHEMA, {**ROW, "note": f"n{i}"})
    kept = sorted((log.parent / HISTORY / "log.csv").iterdir())
    assert len(kept) == storage.MOST_VERSIONS
    assert kept[-1].read_text() == log.read_text().rpartition("2026-03-06")[0]


def test_writing_what_is_there_already_leaves_no_version(log):
    change_file(log, lambda data: data)
    assert not (log.parent / HISTORY / "log.csv").exists()


def test_a_file_without_versions_is_not_taken_back(log):
    append_row(log.with_name("forecasts.csv"), SCHEMA, ROW, keep_version=False)
    with pytest.raises(InputError, match="has no change to undo"):
        undo(log.parent)


def test_the_mode_of_the_file_stays(log):
    log.chmod(0o640)
    append_row(log, SCHEMA, ROW)
    assert stat.S_IMODE(log.stat().st_mode) == 0o640


def test_a_link_stays_a_link_and_the_file_behind_it_is_written(tmp_path):
    behind = tmp_path / "elsewhere" / "my log.csv"
    behind.parent.mkdir()
    behind.write_text(LOG)
    link = tmp_path / "log.csv"
    link.symlink_to(behind)
    append_row(link, SCHEMA, ROW)
    assert link.is_symlink()
    assert "2026-03-06" in behind.read_text()


def test_a_path_with_spaces_and_letters_of_any_script_is_a_path(tmp_path):
    folder = write_build(tmp_path / "Mój kadłub [1] 機体")
    append_row(folder / "log.csv", SCHEMA, ROW)
    undo(folder)
    assert (folder / "log.csv").read_text() == LOG


def test_a_file_in_the_log_folder_keeps_its_versions_in_the_build_folder(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log").mkdir()
    append_row(tmp_path / "log" / "2026.csv", SCHEMA, ROW)
    assert (tmp_path / HISTORY / "log" / "2026.csv").is_dir()
    assert undo(tmp_path).file == "log/2026.csv"


def test_a_build_folder_may_be_called_log(tmp_path):
    folder = write_build(tmp_path / "log")
    append_row(folder / "log.csv", SCHEMA, ROW)
    assert (folder / HISTORY / "log.csv").is_dir()


def _refused(log, reason: str) -> None:
    before = log.read_bytes()
    with pytest.raises(InputError, match=reason) as raised:
        append_row(log, SCHEMA, ROW)
    assert len(raised.value.problems) == 1
    assert log.read_bytes() == before
    assert not list(log.parent.glob("*.new"))
    assert not list(log.parent.glob(".*.new"))


@pytest.mark.parametrize("lock", [".~lock.log.csv#", "~$log.csv"])
def test_a_file_open_in_a_spreadsheet_is_left_alone(log, lock):
    log.with_name(lock).write_text("")
    _refused(log, "is open in a spreadsheet: close it there first")


def test_a_writer_that_waits_too_long_says_so(log, monkeypatch):
    monkeypatch.setattr(storage, "WAIT_SECONDS", 0.1)
    (log.parent / HISTORY).mkdir()
    with FileLock(log.parent / HISTORY / "lock"):
        _refused(log, "has been locked by another program for more than 0.1 seconds: try again")


@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_a_disk_that_fails_at_any_step_is_a_sentence_and_the_old_file(log, monkeypatch, step, number):
    def fails(*_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, step, fails)
    _refused(log, f"could not be written and is unchanged: {re.escape(os.strerror(number))}")


def test_a_change_by_another_program_during_the_write_is_kept(log, monkeypatch):
    store, once = storage._store_version, [True]

    def meanwhile(*args):
        store(*args)
        if once.pop() if once else False:
            log.write_text(log.read_text() + "2026-03-07,3,A,,\n")

    monkeypatch.setattr(storage, "_store_version", meanwhile)
    append_row(log, SCHEMA, {"date": "2026-03-06", "hours": "1.5"})
    assert log.read_text() == LOG + "2026-03-07,3,A,,\n2026-03-06,1.5,,,\n"


def test_two_writers_on_a_slow_drive_wait_for_each_other(log, monkeypatch):
    fsync = os.fsync

    def slowly(descriptor):
        time.sleep(0.05)
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", slowly)
    writers = [
        threading.Thread(target=append_row, args=(log, SCHEMA, {**ROW, "note": f"w{i}"})) for i in range(4)
    ]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert sorted(re.findall(r"w\d", log.read_text())) == ["w0", "w1", "w2", "w3"]


@pytest.mark.skipif(os.name != "posix", reason="uses fork and signals")
@pytest.mark.parametrize("trial", [("kills", "60"), ("crowd", "8", "50"), ("full_disk",), ("locked_folder",)])
def test_hard_trials_lose_nothing(trial):
    run = subprocess.run(
        [sys.executable, "-m", "tests.storage_trials", *trial],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    if trial[0] == "kills":
        assert int(re.search(r"(\d+) of them", run.stdout)[1]) > 10
