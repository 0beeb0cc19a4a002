"""Whatever a sheet holds: no traceback, no row lost, nothing written that the checks would refuse."""

import contextlib
import csv
import io
import tempfile
from collections import Counter
from datetime import date
from math import inf
from pathlib import Path

import hypothesis.strategies as st
from hypothesis import HealthCheck, given, settings

from forecast.errors import InputError
from forecast.files.build_settings import read_settings
from forecast.files.csv_file import parse_csv
from forecast.files.logbook import read_sessions
from forecast.files.tables import read_table, table_schema
from forecast.intake import BuilderAnswers, propose_intake, take_in
from forecast.intake.builder_answers import MEANINGS
from forecast.intake.cells.dates import DateRules, read_date
from forecast.intake.cells.durations import read_duration
from forecast.intake.cells.people import read_people
from forecast.intake.cells.phrases import is_rework, not_building, split_tasks
from forecast.intake.readers.foreign import read_foreign
from forecast.intake.readers.front_matter import read_entries
from forecast.intake.saved_reading import Fingerprint, SavedReadings, SavedSheet, read_saved, write_saved
from forecast.intake.sheet_cells import Unread, cell_text
from forecast.intake.write_to_folder import with_rows

TODAY = date(2026, 9, 1)
DAYS = [
    "2023-04-19", "4/19/2023", "19.4.2023", "3/4/2023", "4/19", "0203-04-19", "2062-01-01", "2023-04-19(?)",
    "2023-04-19 through 2023-04-22", "May and June 2023", "4/19/2023 4/21/2023", "31.2.2023", "", "Total",
]  # fmt: skip
HOURS = [
    "180", "2.5", "2,5", "2:30", "2h30", "9.00", "", "0", "~3 hours", "many hours", "40", "1000", "-1", "1e9",
    "41.75 person-hours building, 4 shopping", "0.00001",
]  # fmt: skip
WORDS = [
    "drilled ribs", "deburred, primed; riveted", "inventory", "ordered rivets", "redo tip", "=1+1", "'=x",
    "@x", "two\nlines", 'the 6" rib', "", "x" * 300, "done", "+", "wing", "wings", "wing ", "tail / wing",
    "Jo & Sam", "A+2", "helper", "3", "yes", "50%", "\u202ea", "½",
]  # fmt: skip
CELL = st.one_of(
    st.sampled_from(DAYS), st.sampled_from(HOURS), st.sampled_from(WORDS), st.text(max_size=20),
    st.dates().map(str), st.floats().map(str), st.integers().map(str),
)  # fmt: skip
HEADINGS = [
    "Date",
    "Until",
    "Start",
    "End",
    "Hours",
    "Minutes",
    "Person-hours",
    "Time",
    "Who",
    "Helpers",
    "Section",
    "Task",
    "Work",
    "Notes",
    "Done",
    "Rework",
    "Type",
    "Qty",
    "%",
    "",
    "Date",
    "date",
    "kind",
]
HEADING = st.one_of(st.sampled_from(HEADINGS), st.text(max_size=8))
LIKELY = st.tuples(st.sampled_from(DAYS), st.sampled_from(HOURS), st.sampled_from(WORDS), CELL, CELL)
ORDER = st.sampled_from(["day_first", "month_first", None])
MOMENT = st.one_of(st.dates(), st.datetimes(), st.times(), st.timedeltas())
TYPED = st.one_of(st.none(), st.text(max_size=30), st.floats(), st.booleans(), MOMENT)


def as_csv(rows) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out).writerows(rows)
    return out.getvalue().encode("utf-8", "surrogatepass")


def filled_lines(data: bytes) -> list[int]:
    """The lines on which records begin that hold anything, counted without the program's own reader."""
    reader = csv.reader(io.StringIO(data.decode("utf-8"), newline=""))
    lines, begun = [], 1
    for record in reader:
        if any(cell_text(c) for c in record):
            lines.append(begun)
        begun = reader.line_num + 1
    return lines


def taken_from(data: bytes, check) -> None:
    """Take the file into a new folder and check what came of it; it may be refused as a whole."""
    with tempfile.TemporaryDirectory() as name:
        path, folder = Path(name) / "sheet.csv", Path(name) / "build"
        path.write_bytes(data)
        with contextlib.suppress(InputError):
            check(path, folder)


def said_of(path: Path) -> str:
    """The name of a file that can be read, or the sentence that refuses it."""
    try:
        return read_foreign(path).name
    except InputError as refused:
        return str(refused)


def lines_of(intake) -> Counter:
    return Counter([j.parsed.row.line for j in intake.rows] + [p.line for p in intake.reported])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.lists(CELL, max_size=6), max_size=8), st.lists(HEADING, min_size=1, max_size=6))
def test_rows_in_are_rows_kept_and_rows_reported(rows, headings):
    data = as_csv([headings, *rows])

    def check(path, folder):
        intake = propose_intake(path, folder, today=TODAY)
        told = lines_of(intake)
        assert set(told.values()) <= {1}
        assert len(told) + intake.heading_rows == len(filled_lines(data))
        assert set(told) <= set(filled_lines(data))

    taken_from(data, check)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(LIKELY, min_size=1, max_size=10),
    st.booleans(),
    ORDER,
)
def test_what_was_taken_passes_every_check_of_the_log(rows, split, order):
    data = as_csv([["Date", "Hours", "Work", "Section", "Who"], *rows])
    answers = BuilderAnswers(order=order, first_year=2023, several="split" if split else "keep")

    def check(path, folder):
        intake = propose_intake(path, folder, today=TODAY, answers=answers)
        taken = take_in(intake)
        pieces = [r for j in intake.new for r in j.rows]
        assert taken.added + taken.set_aside == len(pieces)
        builders = read_settings((folder / "build.toml").read_bytes())[0].builders if pieces else ()
        for file in ("log.csv", "not_building.csv"):
            if (folder / file).exists():
                table = read_table((folder / file).read_bytes(), file, "log")
                sessions, problems, _ = read_sessions([table], builders, None)
                assert not table.problems
                assert not problems
                assert len(sessions) == (taken.added if file == "log.csv" else taken.set_aside)

    taken_from(data, check)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(LIKELY, min_size=1, max_size=10))
def test_taking_twice_adds_nothing(rows):
    data = as_csv([["Date", "Hours", "Work", "Section", "Who"], *rows])

    def check(path, folder):
        answers = BuilderAnswers(order="month_first", first_year=2023)
        take_in(propose_intake(path, folder, today=TODAY, answers=answers))
        again = take_in(propose_intake(path, folder, today=TODAY, answers=answers))
        assert (again.added, again.set_aside, again.changed, again.gone) == (0, 0, (), 0)

    taken_from(data, check)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.tuples(st.dates(date(2023, 1, 1), date(2023, 12, 31)).map(str), st.sampled_from(["1", "2"]),
                       st.sampled_from(["drill", "seal", "plan"]), st.sampled_from(["tail", "wing"])),
             min_size=1, max_size=12),
    st.integers(0, 12),
)  # fmt: skip
def test_a_file_taken_as_it_grows_gives_the_rows_of_the_whole_file(rows, cut):
    head = ["Date", "Hours", "Work", "Section"]

    def check(path, folder):
        for part in (rows[:cut], rows):
            path.write_bytes(as_csv([head, *part]))
            take_in(propose_intake(path, folder, today=TODAY, coarse=False))
        whole = folder.with_name("whole")
        take_in(propose_intake(path, whole, today=TODAY, coarse=False))
        for file in ("log.csv", "not_building.csv"):
            grown, once = (f / file for f in (folder, whole))
            assert grown.exists() == once.exists()
            if once.exists():
                assert sorted(grown.read_text().splitlines()) == sorted(once.read_text().splitlines())

    taken_from(as_csv([head]), check)


@settings(max_examples=300, deadline=None)
@given(TYPED, st.sampled_from(["hours", "minutes", "person_hours", None]), st.booleans())
def test_any_cell_is_hours_above_nothing_or_a_reason(cell, unit, point):
    read = read_duration(cell, unit, minutes_after_point=point)
    assert read.reason if isinstance(read, Unread) else read and all(0 < p.hours < inf for p in read)


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(TYPED, st.sampled_from(DAYS)),
    ORDER,
    st.booleans(),
)
def test_any_cell_is_a_day_before_today_or_a_reason(cell, order, numbers):
    read = read_date(cell, DateRules(today=TODAY, order=order, day_numbers=numbers, first_year=2022))
    if isinstance(read, Unread):
        assert read.reason
    else:
        assert date(1950, 1, 1) <= read.start <= read.end <= TODAY


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_words_are_people_and_tasks_or_a_reason(text):
    people = read_people(text)
    assert isinstance(people, Unread) or 0 <= people.unnamed <= 99
    assert isinstance(is_rework(text), bool)
    assert isinstance(not_building(text), str)
    assert bool(split_tasks(text)) == bool(text.split())


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="-+: ab1\n\"'[],#=", max_size=80))
def test_any_text_is_entries_of_front_matter_or_reasons(text):
    for line, entry in read_entries(text):
        assert line >= 1
        assert entry.reason if isinstance(entry, Unread) else entry


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_a_sheet_or_one_sentence(data):
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "sheet"
        path.write_bytes(data)
        assert said_of(path).startswith("sheet")


TEXT = st.text(max_size=12)


COLUMNS = st.dictionaries(TEXT, st.sampled_from(sorted(MEANINGS)), max_size=4)
YEAR = st.integers(1950, 2199) | st.none()


@settings(max_examples=100, deadline=None)
@given(COLUMNS, st.dictionaries(TEXT, st.dates(), max_size=3), st.tuples(TEXT, TEXT), YEAR)
def test_what_was_decided_is_read_back_as_it_was_written(columns, days, headings, year):
    texts = dict(zip(headings, reversed(headings), strict=True))
    answers = BuilderAnswers(columns=columns, days=days, stages=texts, people=texts, first_year=year)
    mark = Fingerprint(line=7, key="0" * 16, day="2026-01-02", hours="2.5000", words="f" * 8)
    sheet = SavedSheet(file="a", headings=headings, keyed=headings[:1], answers=answers, taken=(mark, mark))
    saved = SavedReadings(sheets=(sheet,), types=texts)
    assert read_saved(write_saved(saved)) == saved


WRITTEN = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=8)
ROWS = st.lists(st.dictionaries(st.sampled_from(table_schema("log").columns), WRITTEN), max_size=4)
FILES = [b"", b"date,hours\n", b"hours;date;own\r\n1;2026-01-02;x\r\n", b"\xef\xbb\xbfdate\thours"]


@settings(max_examples=100, deadline=None)
@given(ROWS, st.sampled_from(FILES))
def test_rows_added_to_a_file_leave_everything_else_as_it_was(rows, before):
    after = with_rows(before, "log.csv", table_schema("log").columns, rows)
    first, *others = before.splitlines()[:2] or [b""]
    assert after.startswith(first)
    assert all(line in after for line in others)
    assert len(parse_csv(after, "log.csv", table_schema("log").columns).rows) >= len(others)
