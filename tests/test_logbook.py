"""log.csv and away.csv: who was at the bench, when, for how long, on what."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.files.fields import HOURS_RULE
from forecast.files.logbook import Away, Builder, read_away, read_sessions
from forecast.files.plan import Plan, Task
from forecast.files.tables import check_frame, read_table
from tests.conftest import sessions_frame

BUILDERS = (Builder(id="A"), Builder(id="B", joins=date(2026, 3, 3)))
PLAN = Plan(
    tasks=(
        Task(task="D1", stage="tail", title="Drill", type="drill"),
        Task(task="R1", stage="tail", title="Rivet"),
    )
)
HEAD = "date,until,start,hours,builders,task,stage,type,quantity,percent,done,rework,note\n"

WHO_RULE = "must be builders of build.toml (A, B) joined by +, helpers as +2"
TASK_RULE = "must be an id of plan.csv, or blank for work outside the plan"


def _read(*rows: str, plan: Plan | None = PLAN, builders=BUILDERS):
    table = read_table((HEAD + "\n".join(rows) + "\n").encode(), "log.csv", "log")
    assert not table.problems
    sessions, problems, notices = read_sessions([table], builders, plan)
    return sessions, [str(p) for p in problems], notices


def _sessions(*rows: str) -> pd.DataFrame:
    sessions, problems, _ = _read(*rows)
    assert problems == []
    return sessions


def _problem(*rows: str) -> str:
    _, problems, _ = _read(*rows)
    assert len(problems) == 1
    return problems[0]


def test_a_session_reads_as_it_was_written():
    sessions = _sessions("2026-03-04,2026-03-05,9:15,1:30,B+A+1,D1,,,4,40,no,yes,hole too big")
    expected = sessions_frame(
        [{
            "date": "2026-03-04", "until": "2026-03-05", "start": "09:15", "hours": 1.5, "builders": "A+B",
            "helpers": 1, "task": "D1", "stage": "tail", "type": "drill",
            "quantity": 4.0, "percent": 40.0, "rework": True,
            "note": "hole too big",
        }]
    )  # fmt: skip
    expected = expected.assign(people=3, person_hours=4.5)
    pd.testing.assert_frame_equal(sessions, expected)


def test_blank_cells_stand_for_what_the_contract_says():
    row = _sessions("2026-03-04,,,2,,,,,,,,,").iloc[0]
    assert row["until"] == row["date"]
    assert (row["builders"], row["helpers"], row["person_hours"]) == ("A", 0, 2.0)
    assert (row["task"], row["stage"], row["type"]) == ("", "other", "general")
    assert np.isnan(row["quantity"])
    assert not row["done"]


def test_work_outside_the_plan_keeps_its_own_stage_and_type():
    row = _sessions("2026-03-04,,,2,,,shop,shelving,,,,,").iloc[0]
    assert (row["stage"], row["type"]) == ("shop", "shelving")


def test_sessions_keep_their_contract():
    assert check_frame(_sessions("2026-03-04,,,2,,,,,,,,,", "2026-03-01,,,1,A+2,D1,,,,,,,"), "sessions").empty


def test_an_empty_log_has_the_same_columns_and_types():
    empty, _, _ = read_sessions([], BUILDERS, PLAN)
    pd.testing.assert_series_equal(empty.dtypes, _sessions("2026-03-04,,,2,,,,,,,,,").dtypes)


def test_rows_are_sorted_by_day_whatever_their_order_in_the_file():
    rows = [f"2026-03-{day:02d},,,{day},,D1,,,,,,," for day in (9, 4, 7, 4, 5)]
    there, back = _sessions(*rows), _sessions(*reversed(rows))
    pd.testing.assert_frame_equal(there.drop(columns="line"), back.drop(columns="line"))
    assert list(there["line"]) == [3, 5, 6, 4, 2]


def test_several_files_are_read_together_and_every_row_says_where_it_stands():
    tables = [
        read_table((HEAD + row).encode(), file, "log")
        for file, row in (("log/2.csv", "2026-03-04,,,1,,,,,,,,,"), ("log/1.csv", "2026-03-05,,,1,,,,,,,,,"))
    ]
    sessions, _, _ = read_sessions(tables, BUILDERS, PLAN)
    assert list(sessions["file"]) == ["log/2.csv", "log/1.csv"]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2026-03-04,,,0,,,,,,,,,", f"hours: '0' {HOURS_RULE}"),
        ("2026-03-04,,,-1,,,,,,,,,", f"hours: '-1' {HOURS_RULE}"),
        ("2026-03-04,,,24.01,,,,,,,,,", f"hours: '24.01' {HOURS_RULE}"),
        ("2026-03-04,2026-03-05,,49,,,,,,,,,", "hours: '49' must be above 0 and at most 48 for 2 days"),
        ("2026-03-04,2026-03-03,,1,,,,,,,,,", "until: '2026-03-03' must not be before date"),
        ("2026-03-04,,,1,C,,,,,,,,", f"builders: 'C' {WHO_RULE}"),
        ("2026-03-04,,,1,A+A,,,,,,,,", f"builders: 'A+A' {WHO_RULE}"),
        ("2026-03-04,,,1,2,,,,,,,,", f"builders: '2' {WHO_RULE}"),
        ("2026-03-04,,,1,A+,,,,,,,,", f"builders: 'A+' {WHO_RULE}"),
        ("2026-03-04,,,1,,d1,,,,,,,", f"task: 'd1' {TASK_RULE}"),
        (
            "2026-03-02,,,1,A+B,,,,,,,,",
            "builders: 'A+B' must not name B before 2026-03-03, when build.toml says they join",
        ),
    ],
)
def test_a_session_that_cannot_be_is_said(row, said):
    assert _problem(row) == f"log.csv, line 2, {said}."


def test_a_day_has_24_hours_and_two_days_have_48():
    sessions = _sessions("2026-03-04,,,24,,,,,,,,,", "2026-03-05,2026-03-06,,48:00,,,,,,,,,")
    assert list(sessions["hours"]) == [24.0, 48.0]


def test_no_task_is_called_unknown_while_the_plan_cannot_be_read():
    assert _read("2026-03-04,,,1,,T9,,,,,,,", plan=None)[1] == []


def test_nobody_is_called_unknown_while_build_toml_cannot_be_read():
    assert _read("2026-03-04,,,1,Q,,,,,,,,", builders=None)[1] == []


def test_done_twice_is_a_problem_at_the_second():
    said = _problem("2026-03-04,,,1,,D1,,,,,yes,,", "2026-03-05,,,1,,D1,,,,,yes,,")
    assert said == (
        "log.csv, line 3, done: 'yes' must occur only once per task: "
        "log.csv, line 2, has already finished D1."
    )


def test_done_twice_on_one_day_is_a_problem_too():
    assert "done" in _problem("2026-03-04,,,1,,D1,,,,,yes,,", "2026-03-04,,,2,,D1,,,,,yes,,")


@pytest.mark.parametrize("between", ["2026-03-05,,,1,,D1,,,,,,,", "2026-03-06,,,1,,D1,,,,,,,"])
def test_a_session_between_opens_the_task_and_it_may_be_done_again(between):
    assert _sessions("2026-03-04,,,1,,D1,,,,,yes,,", between, "2026-03-06,,,2,,D1,,,,,yes,,") is not None


def test_rework_may_finish_a_task_again_in_one_row():
    assert len(_sessions("2026-03-04,,,1,,D1,,,,,yes,,", "2026-03-05,,,1,,D1,,,,,yes,yes,")) == 2


def test_two_tasks_are_each_done_once():
    assert len(_sessions("2026-03-04,,,1,,D1,,,,,yes,,", "2026-03-04,,,1,,R1,,,,,yes,,")) == 2


@pytest.mark.parametrize(
    ("rows", "notice"),
    [
        (
            ["2026-03-04,,,1,,D1,,,,,yes,,", "2026-03-05,,,1,,D1,,,,,,yes,"],
            "Open again, because there are sessions after `done`: D1.",
        ),
        (
            ["2026-03-04,,,1,,D1,wing,,,,,,"],
            "Where the log names another stage or type than the plan, the plan's is used (log.csv, line 2).",
        ),
        (
            ["2026-03-04,,,1,,,,,,,yes,,"],
            "`done` and `percent` have no effect without a task (log.csv, line 2).",
        ),
        (
            ["2026-03-04,,,13,A,,,,,,,,", "2026-03-04,,,12,A+B,,,,,,,,"],
            "More than 24 hours in one day: A 2026-03-04 (25 h).",
        ),
        (
            ["2026-03-04,,,1,,D1,,,,,,,x", "2026-03-04,,,1,A,D1,,,,,,,x"],
            "Logged twice? Identical to an earlier row: log.csv, line 3.",
        ),
    ],
)
def test_what_is_odd_but_possible_is_a_notice(rows, notice):
    _, problems, notices = _read(*rows)
    assert problems == []
    assert notices == [notice]


def test_a_tidy_log_has_no_notices():
    rows = ["2026-03-04,,,1,,D1,tail,drill,,,,,", "2026-03-05,,,1,,D1,,,,,,,", "2026-03-06,,,2,,D1,,,,,yes,,"]
    assert _read(*rows)[2] == []


def test_a_long_list_in_a_notice_is_cut_and_counted():
    rows = [f"2026-03-{d:02d},,,1,,,,,,,yes,," for d in range(1, 10)]
    assert _read(*rows)[2][0].endswith("and 4 more).")


def _away(text: str):
    table = read_table(text.encode(), "away.csv", "away")
    assert not table.problems
    away, problems = read_away(table, BUILDERS)
    return away, [str(p) for p in problems]


def test_days_away_include_both_ends_and_a_blank_builder_is_everybody():
    away, problems = _away("builder,from,to,reason\nB,2026-07-01,2026-07-14,sea\n,2026-12-24,2026-12-24,\n")
    assert problems == []
    assert away == (
        Away(builder="B", start=date(2026, 7, 1), end=date(2026, 7, 14), reason="sea"),
        Away(builder=None, start=date(2026, 12, 24), end=date(2026, 12, 24)),
    )


def test_days_away_of_a_stranger_or_backwards_are_said():
    assert _away("builder,from,to\nQ,2026-07-02,2026-07-01\n")[1] == [
        "away.csv, line 2, to: '2026-07-01' must not be before from.",
        "away.csv, line 2, builder: 'Q' must be a builder of build.toml (A, B), or blank for everybody.",
    ]
