"""One CSV file through one Table Schema: what is read, what is refused, on which line."""

import json
import unicodedata
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings

import forecast
from forecast.errors import InputError
from forecast.files.csv_file import format_record, guard_formula, parse_csv, unguard_formula
from forecast.files.tables import (
    check_frame,
    contract,
    read_date,
    read_hours,
    read_number,
    read_table,
    table_schema,
)
from tests.conftest import sessions_frame
from tests.written_build import CELL

SCHEMAS = sorted(p.stem for p in (Path(forecast.__file__).parent / "schemas").glob("*.json"))
# Frictionless Data, Table Schema 2.0, "Field types" and "Constraints".
FRICTIONLESS_TYPES = {"string", "number", "integer", "boolean", "date"}
FRICTIONLESS_CONSTRAINTS = {
    "required",
    "unique",
    "minimum",
    "maximum",
    "exclusiveMinimum",
    "exclusiveMaximum",
    "pattern",
    "enum",
}


def _log(text: str | bytes):
    return read_table(text if isinstance(text, bytes) else text.encode(), "log.csv", "log")


def _said(text: str | bytes) -> list[str]:
    return [str(p) for p in _log(text).problems]


def _refusal(data: bytes) -> str:
    with pytest.raises(InputError) as raised:
        _log(data)
    assert len(raised.value.problems) == 1
    return str(raised.value)


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_schema_uses_the_words_of_table_schema(name):
    source = Path(forecast.__file__).parent / "schemas" / f"{name}.json"
    for field in json.loads(source.read_text(encoding="utf-8"))["fields"]:
        assert field["type"] in FRICTIONLESS_TYPES
        assert set(field.get("constraints", {})) <= FRICTIONLESS_CONSTRAINTS


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_contract_of_a_table_has_its_columns(name):
    assert tuple(contract(name).columns) == table_schema(name).columns


def test_an_optional_column_says_what_blank_means_and_a_required_one_must_not_be_blank():
    for name in ("plan", "log", "deliveries", "away"):
        for field in table_schema(name).fields:
            assert field.required != bool(field.blank), f"{name}.{field.name}"


def test_the_documentation_of_a_table_has_one_row_a_column_with_its_range():
    rows = table_schema("plan").markdown.splitlines()
    assert len(rows) == 2 + len(table_schema("plan").columns)
    assert "| quantity | number of pieces in the task, above 0 | 1 |" in rows
    assert "| task | id of the task, unique and without spaces | error |" in rows


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_the_same_rows_come_out_however_the_file_is_written(separator, newline, mark):
    rows = [["date", "hours", "note"], ["2026-03-02", "2.5", "ribs"], ["2026-03-03", "1:30", "spar"]]
    data = mark + newline.join(separator.join(r) for r in rows).encode()
    frame = _log(data).frame
    assert list(frame["hours"]) == [2.5, 1.5]
    assert list(frame["note"]) == ["ribs", "spar"]
    assert frame["date"].iloc[1] == pd.Timestamp("2026-03-03")


def test_a_quoted_cell_may_hold_lines_and_the_next_row_keeps_its_own_line_number():
    table = _log('date,hours,note\n2026-03-02,1,"one\ntwo, ""three""\n"\n\n2026-03-03,1,x\n')
    assert list(table.line) == [2, 6]
    assert table.frame["note"].iloc[0] == 'one\ntwo, "three"'


def test_line_numbers_count_windows_line_ends_once():
    assert list(_log("date,hours\r\n2026-03-02,1\r\n\r\n2026-03-03,1\r\n").line) == [2, 4]


@pytest.mark.parametrize("word", ["NA", "None", "null", "nan", "N/A", "True", "1e5", "007"])
def test_a_task_may_be_called_what_other_programs_take_for_nothing(word):
    assert list(_log(f"date,hours,task\n2026-03-02,1,{word}\n").frame["task"]) == [word]


def test_the_same_id_typed_on_two_systems_is_the_same_id():
    composed, decomposed = "Fl\u00fcgel", "Flu\u0308gel"
    assert list(_log(f"date,hours,task\n2026-03-02,1,{decomposed}\n").frame["task"]) == [composed]


def test_header_names_may_be_written_in_capitals_in_any_order():
    frame = _log("Hours,DATE\n1,2026-03-02\n").frame
    assert frame["hours"].iloc[0] == 1.0


def test_a_short_row_has_blanks_at_its_end():
    assert list(_log("date,hours,note\n2026-03-02,1\n").frame["note"]) == [""]


def test_a_row_with_more_cells_than_columns_is_said_not_cut():
    assert _said("date,hours\n2026-03-02,2,5\n") == [
        "log.csv, line 2: has 3 cells, but the header names 2 columns."
    ]


def test_empty_cells_past_the_header_are_no_matter():
    assert _said("date,hours,,\n2026-03-02,2,,,\n") == []


def test_unknown_columns_are_named():
    assert _log("date,hours,weather\n2026-03-02,2,sun\n").ignored == ("weather",)


def test_a_missing_column_is_one_problem_and_not_one_a_row():
    assert _said("date,note\n2026-03-02,x\n2026-03-03,y\n") == [
        "log.csv, line 1, hours: this column is missing."
    ]


def test_a_column_that_is_there_twice_is_said():
    assert _said("date,hours,Hours\n2026-03-02,2,3\n") == [
        "log.csv, line 1, hours: this column appears twice."
    ]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "log.csv: is empty: its first line must name the columns."),
        (b"\n ,, \n", "log.csv: is empty: its first line must name the columns."),
        (
            b"date,hours\n2026-03-02,1,M\xfcller\n",
            "log.csv, line 2: is not UTF-8 (byte 0xfc): save it again in UTF-8.",
        ),
        (b"\x89PNG\r\n\x1a\n\0\0", "log.csv: is not a text file: it must hold text in UTF-8."),
        ("date,hours\n".encode("utf-16"), "log.csv: is UTF-16 text: save it again in UTF-8."),
        (
            b'date,hours,note\n2026-03-02,1,"open\n2026-03-03,1,x\n',
            "log.csv, line 2: a quote is opened here and never closed, so nothing after it could be read.",
        ),
        (
            b'date,hours,note\n2026-03-02,1,"6"" and "more\n',
            "log.csv, line 2: text follows the closing quote of a cell: "
            "double every quote inside a quoted cell.",
        ),
        (
            b'date,hours,note\n2026-03-02,1,"' + b"x" * 140_000 + b'"\n',
            "log.csv, line 2: has a cell of more than 131072 characters: a quote may be missing.",
        ),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_one_sentence(data, sentence):
    assert _refusal(data) == sentence


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("2", 2.0),
        ("2.5", 2.5),
        (".5", 0.5),
        ("2:30", 2.5),
        ("0:45", 0.75),
        ("24:00", 24.0),
        ("1e0", 1.0),
        ("-1", -1.0),
    ],
)
def test_hours_are_decimal_or_hours_and_minutes(text, hours):
    assert read_hours(text) == hours


@pytest.mark.parametrize(
    "text",
    ["two", "2h", "2:60", "2:3", ":30", "2,5", "nan", "inf", "1e999", "1_0", "0x10", "٢", "2 30", "--1", ""],
)
def test_other_hours_are_not_guessed(text):
    assert read_hours(text) is None


def test_a_decimal_comma_is_read_where_commas_do_not_part_the_cells():
    assert list(_log("date;hours\n2026-03-02;2,5\n").frame["hours"]) == [2.5]
    assert read_number("1.234,5", decimal_comma=True) is None
    assert _said('date,hours\n2026-03-02,"2,5"\n') == [
        "log.csv, line 2, hours: '2,5' must be hours as 2.5 or 2:30, above 0 and at most 24 for one day"
        " (a point before decimals)."
    ]


@pytest.mark.parametrize(
    "text",
    [
        "2026-13-01",
        "2026-02-29",
        "20260301",
        "2026-3-1",
        "01/03/2026",
        "2026-03-01T10:00",
        "0000-01-01",
        "２０２６-01-01",
    ],
)
def test_only_days_that_exist_written_year_month_day_are_dates(text):
    assert read_date(text) is None


def test_years_far_away_are_a_slip_of_the_pen():
    assert _said("date,hours\n0203-05-01,1\n") == [
        "log.csv, line 2, date: '0203-05-01' must lie between 1950-01-01 and 2199-12-31."
    ]


def test_a_doubled_id_names_the_line_that_has_it_first():
    table = read_table(b"task,stage\nD1,tail\nR1,tail\nD1,wing\n", "plan.csv", "plan")
    assert [str(p) for p in table.problems] == [
        "plan.csv, line 4, task: 'D1' must be unique: line 2 has it too."
    ]


def test_columns_come_in_the_type_of_their_field():
    dtypes = _log("date,hours\n2026-03-02,1\n").frame.dtypes.astype(str)
    assert dtypes[["date", "hours", "note", "done"]].tolist() == ["datetime64[us]", "float64", "str", "bool"]


def test_the_sessions_contract_takes_a_good_frame_and_names_a_bad_cell():
    good = sessions_frame([{"date": "2026-03-02", "hours": 2}])
    assert check_frame(good, "sessions").empty
    bad = check_frame(good.assign(percent=130.0), "sessions")
    assert list(bad["column"]) == ["percent"]


@given(st.text())
def test_a_guarded_text_is_no_formula_and_comes_back_whole(text):
    assert guard_formula(text)[:1] not in set("=+-@\t\r")
    assert unguard_formula(guard_formula(text)) == text


@given(
    st.lists(
        st.lists(
            st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"])), min_size=2, max_size=4
        ),
        min_size=1,
    )
)
def test_what_is_written_as_csv_is_read_as_it_was(rows):
    text = "\r\n".join(
        [format_record(["date", "hours", "a", "b"], ","), *(format_record(r, ",") for r in rows)]
    )
    read = parse_csv(text.encode(), "x.csv", {"date", "hours"})
    written = [[unicodedata.normalize("NFC", c).strip() for c in r] for r in rows]
    written = [r + [""] * (4 - len(r)) for r in written if any(r)]
    assert read.rows == written


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_cells_give_problems_and_never_a_traceback(data):
    name = data.draw(st.sampled_from(["plan", "log", "deliveries", "away"]))
    columns = table_schema(name).columns
    rows = data.draw(st.lists(st.lists(CELL, min_size=len(columns), max_size=len(columns) + 1), max_size=6))
    text = "\n".join(format_record(r, ";") for r in [list(columns), *rows])
    try:
        table = read_table(text.encode("utf-8", "surrogatepass"), f"{name}.csv", name)
    except InputError as error:
        refused = error.problems
    else:
        refused = ()
    if refused:
        assert len(refused) == 1
        return
    assert len(table.frame) == sum(any(c.strip() for c in r) for r in rows)
    bad = {(p.line, p.column) for p in table.problems}
    for column in columns:
        if table.frame[column].dtype == "float64":
            unread = np.isnan(table.frame[column]) & np.array(
                [bool(c) for c in table.cells[column]], dtype=bool
            )
            assert all((int(table.line[i]), column) in bad for i in np.flatnonzero(unread))


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_a_sentence(data):
    try:
        problems = _log(b"date,hours\n" + data).problems
    except InputError as error:
        problems = error.problems
    assert all(str(p).startswith("log.csv, line ") or p.line is None for p in problems)
