"""The builder's own record of hours."""

import csv
import io
from datetime import date

import pandas as pd
import pytest

from forecast.errors import UsageError
from forecast.files.folder import read_build
from forecast.learn.progress import read_progress
from forecast.questions.hours_summary import (
    BREAKDOWNS,
    CAUTION,
    HELPERS,
    OUTSIDE,
    hours_by,
    hours_record,
    record_csv,
)
from tests.conftest import sessions_frame

ALONE = {"date": "2026-03-02", "hours": 2.0, "task": "D1", "stage": "tail", "type": "drill"}
TOGETHER = {**ALONE, "date": "2026-03-05", "hours": 1.5, "builders": "A+B"}
HELPED = {**ALONE, "date": "2026-03-07", "hours": 1.0, "helpers": 2, "type": "rivet", "task": "R1"}
AGAIN = {**ALONE, "date": "2026-04-01", "hours": 0.5, "rework": True}
AWAY_FROM_THE_PLAN = {"date": "2026-04-02", "hours": 3.0, "stage": "other", "type": "inventory"}
OVER_A_MONTH_END = {**ALONE, "date": "2026-03-30", "until": "2026-04-02", "hours": 8.0}


def record_of(*rows):
    return hours_record(sessions_frame(list(rows)))


def of(table, breakdown):
    return table.set_index(breakdown)["hours"].to_dict()


def test_two_who_work_together_have_each_the_clock_hours():
    assert of(hours_by(record_of(TOGETHER), "person"), "person") == {"A": 1.5, "B": 1.5}


def test_helpers_without_a_name_are_counted_one_by_one():
    assert of(hours_by(record_of(HELPED), "person"), "person") == {"A": 1.0, HELPERS: 2.0}


def test_work_outside_the_plan_is_in_the_record_and_says_so():
    assert record_of(AWAY_FROM_THE_PLAN)["task"].tolist() == [OUTSIDE]


def test_rework_is_part_of_the_hours_and_shown_apart():
    row = hours_by(record_of(ALONE, AGAIN), "stage").iloc[0]
    assert (row["hours"], row["rework_hours"]) == (2.5, 0.5)


def test_a_row_over_the_end_of_a_month_is_parted_by_its_days():
    assert of(hours_by(record_of(OVER_A_MONTH_END), "month"), "month") == {"2026-03": 4.0, "2026-04": 4.0}


def test_a_row_within_one_month_stays_one_row():
    record = record_of({**ALONE, "date": "2026-03-02", "until": "2026-03-04", "hours": 9.0})
    assert record[["date", "until"]].astype("str").to_numpy().tolist() == [["2026-03-02", "2026-03-04"]]


def test_days_are_counted_once_however_many_rows_they_have():
    record = record_of(ALONE, {**ALONE, "task": "D2"}, {**ALONE, "date": "2026-03-03"})
    assert hours_by(record, "type")["days"].tolist() == [2]


@pytest.mark.parametrize("breakdown", BREAKDOWNS)
def test_every_breakdown_of_the_sample_adds_up_to_its_person_hours(breakdown):
    build = read_build("sample_logs/turnstone")
    sessions = read_progress(build.plan, build.sessions, date(2026, 6, 30)).sessions
    total = hours_by(hours_record(sessions), breakdown)["hours"].sum()
    assert total == pytest.approx(sessions["person_hours"].sum())


def test_the_order_of_the_rows_does_not_matter():
    rows = [ALONE, TOGETHER, HELPED, AGAIN, AWAY_FROM_THE_PLAN, OVER_A_MONTH_END]
    assert record_csv(record_of(*rows)) == record_csv(record_of(*reversed(rows)))


def test_an_empty_log_gives_an_empty_record():
    record = hours_record(sessions_frame([ALONE]).iloc[:0])
    assert len(record) == 0
    assert record_csv(record).count(b"\r\n") == 1


def test_a_breakdown_that_is_not_offered_is_refused():
    with pytest.raises(UsageError, match="must be one of person, stage, type, month"):
        hours_by(record_of(ALONE), "weekday")


def read_csv(data):
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline="")))


def test_the_csv_has_one_header_one_row_each_and_is_headed_by_the_caution():
    header, *rows = read_csv(record_csv(record_of(ALONE, TOGETHER)))
    assert header == [
        "date",
        "until",
        "month",
        "person",
        "stage",
        "type",
        "task",
        "hours",
        "rework_hours",
        CAUTION,
    ]
    assert rows[1] == ["2026-03-05", "2026-03-05", "2026-03", "A", "tail", "drill", "D1", "1.50", "0.00", ""]


def test_the_csv_reads_back_with_pandas():
    read = pd.read_csv(io.BytesIO(record_csv(record_of(ALONE, TOGETHER, HELPED))))
    assert read["hours"].sum() == 8.0


@pytest.mark.parametrize("text", ["=1+1", "+x", "-x", "@x", "\tx"])
def test_no_text_of_the_builder_becomes_a_formula(text):
    rows = read_csv(record_csv(record_of({**ALONE, "stage": text, "type": text})))
    assert rows[1][4] == rows[1][5] == f"'{text}"


def test_text_with_commas_quotes_and_line_ends_stays_in_its_cell():
    text = 'the 6" rib, left\nand right'
    assert read_csv(record_csv(record_of({**ALONE, "stage": text})))[1][4] == text


def test_nothing_in_the_record_is_a_percentage_or_a_share():
    words = record_csv(record_of(ALONE, TOGETHER)).decode().replace(CAUTION, "")
    assert "%" not in words
    assert "share" not in words
    assert not {"percent", "share"} & set(hours_by(record_of(ALONE), "person").columns)


def test_the_caution_says_what_the_record_is_not():
    assert "record of time" in CAUTION
    assert all(word in CAUTION for word in ("authority", "kit maker", "country", "fit to fly"))
