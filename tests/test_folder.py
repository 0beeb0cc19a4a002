"""A build folder: started, read, checked."""

import shutil
from datetime import date

import pandas as pd
import pytest

from forecast.errors import InputError
from forecast.files.folder import STARTER_FILES, check_build, read_build, start_build
from forecast.files.logbook import Builder
from forecast.files.plan import Limit
from tests.written_build import BUILD_TOML, LOG, PLAN, build_of, problems_of, write_build

TODAY = date(2026, 11, 25)
WEEK_RULE = "must be a number above 0 and at most 168"
DATE_RULE = "must be a date that exists, written YYYY-MM-DD"
ID_RULE = "must be a text in quotes without spaces or +, and not only digits"


def test_a_build_is_read_whole(tmp_path):
    build = build_of(
        tmp_path,
        build_toml='country = "GB"\n'
        + BUILD_TOML
        + 'weekly_hours = 5\n[[limit]]\nid = "clamps"\namount = 4\n',
        plan_csv="task,stage,delivery,uses\nD1,tail,K1,clamps:2\n",
        deliveries_csv="delivery,lead_weeks_low,lead_weeks_likely,lead_weeks_high\nK1,1,2,3\n",
        away_csv="builder,from,to\nB,2026-07-01,2026-07-14\n",
    )
    assert (build.name, build.country) == ("Stint", "GB")
    assert build.builders == (Builder(id="A"), Builder(id="B", joins=date(2026, 3, 3), weekly_hours=5.0))
    assert build.limits == (Limit(id="clamps", amount=4.0),)
    assert (len(build.plan.tasks), len(build.sessions), len(build.deliveries), len(build.away)) == (
        1,
        3,
        1,
        1,
    )
    assert build.notices == ()


def test_a_build_without_a_name_is_called_like_its_folder(tmp_path):
    build = build_of(tmp_path / "boat", build_toml='[[builder]]\nid = "A"\n[[builder]]\nid = "B"\n')
    assert build.name == "boat"


def test_a_started_build_passes_its_check_without_a_notice(tmp_path):
    assert start_build(tmp_path / "a b" / "café") == STARTER_FILES
    build = check_build(tmp_path / "a b" / "café", TODAY)
    assert build.notices == ()
    assert len(build.sessions) == 4


def test_starting_fills_an_empty_folder_and_touches_no_other(tmp_path):
    start_build(tmp_path)
    with pytest.raises(InputError, match="already exists"):
        start_build(tmp_path)


def test_starting_where_a_file_stands_is_refused(tmp_path):
    file = write_build(tmp_path) / "log.csv"
    with pytest.raises(InputError, match="already exists"):
        start_build(file)
    assert file.read_text() == LOG


def test_a_folder_of_logs_is_read_together_with_log_csv(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log").mkdir()
    for name, day in (
        ("2025.csv", "2025-06-01"),
        ("b.CSV", "2025-07-01"),
        (".hidden.csv", "x"),
        ("n.txt", "x"),
    ):
        (tmp_path / "log" / name).write_text(f"date,hours\n{day},1\n")
    build = read_build(tmp_path)
    assert list(build.sessions["file"][:2]) == ["log/2025.csv", "log/b.CSV"]
    assert len(build.sessions) == 5
    assert build.notices == ("log: n.txt: not a .csv file, so not read.",)


def test_one_folder_of_logs_is_enough(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log").mkdir()
    shutil.move(tmp_path / "log.csv", tmp_path / "log" / "log.csv")
    assert len(read_build(tmp_path).sessions) == 3


def test_an_empty_file_among_the_logs_is_said_though_others_have_rows(tmp_path):
    write_build(tmp_path)
    (tmp_path / "log").mkdir()
    (tmp_path / "log" / "new.csv").write_text("date,hours\n")
    assert len(read_build(tmp_path).sessions) == 3


def test_unknown_columns_are_said_once_a_file(tmp_path):
    build = build_of(tmp_path, log_csv="date,hours,weather,\n2026-03-02,1,sun,x\n2026-03-03,1,rain,\n")
    assert build.notices == ("log.csv: unknown columns, ignored: weather, a column without a name.",)


def test_moving_rows_of_the_log_changes_nothing_but_their_lines(tmp_path):
    head, *rows = LOG.splitlines()
    there = build_of(tmp_path / "there").sessions
    back = build_of(tmp_path / "back", log_csv="\n".join([head, *reversed(rows)])).sessions
    pd.testing.assert_frame_equal(there.drop(columns="line"), back.drop(columns="line"))


def test_reading_looks_at_no_clock_and_checking_takes_the_day(tmp_path):
    write_build(tmp_path)
    assert len(read_build(tmp_path).sessions) == 3
    with pytest.raises(InputError) as raised:
        check_build(tmp_path, date(2026, 3, 4))
    assert [str(p) for p in raised.value.problems] == [
        "log.csv, line 4, date: '2026-03-05' must not lie in the future (today is 2026-03-04)."
    ]


def test_a_day_away_may_lie_in_the_future(tmp_path):
    write_build(tmp_path, away_csv="builder,from,to\n,2027-01-01,2027-01-02\n")
    assert len(check_build(tmp_path, TODAY).away) == 1


def test_orders_arrivals_and_added_tasks_may_not_lie_in_the_future(tmp_path):
    write_build(
        tmp_path,
        plan_csv=PLAN.replace("after\n", "after,added\n").replace("D1\n", "D1,2027-01-01\n"),
        deliveries_csv="delivery,ordered,arrived,lead_weeks_low,lead_weeks_likely,lead_weeks_high\n"
        "K1,2027-01-01,2027-02-01,1,2,3\n",
    )
    with pytest.raises(InputError) as raised:
        check_build(tmp_path, TODAY)
    assert [(p.file, p.line, p.column) for p in raised.value.problems] == [
        ("deliveries.csv", 2, "arrived"),
        ("deliveries.csv", 2, "ordered"),
        ("plan.csv", 3, "added"),
    ]


def test_a_delivery_named_without_a_deliveries_file_is_unknown(tmp_path):
    assert problems_of(tmp_path, plan_csv="task,stage,delivery\nD1,tail,K1\n") == [
        "plan.csv, line 2, delivery: 'K1' must be an id of deliveries.csv."
    ]


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("", "build.toml, builder: is missing: written as [[builder]], with an id."),
        ("builder = []", "build.toml, builder: is missing: written as [[builder]], with an id."),
        (
            '[builder]\nid = "A"',
            "build.toml, builder: \"{'id': 'A'}\" must be written as [[builder]], with an id.",
        ),
        (
            "[[builder]]",
            "build.toml, builder 1, id: is missing: a text in quotes "
            "without spaces or +, and not only digits.",
        ),
        ('[[builder]]\nid = "A B"', f"build.toml, builder 1, id: 'A B' {ID_RULE}."),
        ('[[builder]]\nid = "12"', f"build.toml, builder 1, id: '12' {ID_RULE}."),
        (
            '[[builder]]\nid = "A"\n[[builder]]\nid = "A"',
            "build.toml, builder 2, id: 'A' must be unique.",
        ),
        ('[[builder]]\nid = "A"\njoins = "soon"', f"build.toml, builder 1, joins: 'soon' {DATE_RULE}."),
        (
            '[[builder]]\nid = "A"\njoins = 2026-03-02T10:00:00',
            f"build.toml, builder 1, joins: '2026-03-02 10:00:00' {DATE_RULE}.",
        ),
        ('[[builder]]\nid = "A"\nweekly_hours = 0', f"build.toml, builder 1, weekly_hours: '0' {WEEK_RULE}."),
        (
            '[[builder]]\nid = "A"\nweekly_hours = nan',
            f"build.toml, builder 1, weekly_hours: 'nan' {WEEK_RULE}.",
        ),
        (
            'country = "gb"\n[[builder]]\nid = "A"',
            "build.toml, country: 'gb' must be an ISO 3166 code of two capital letters, such as GB.",
        ),
        (
            '[[builder]]\nid = "A"\n[[limit]]\nid = "x"\namount = 0',
            "build.toml, limit 1, amount: '0' must be a number above 0.",
        ),
        ("name = ", "build.toml: is not TOML: invalid value."),
        (
            'name = "a"\n[[builder]\n',
            "build.toml, line 2: is not TOML: expected ']]' at the end of an array declaration.",
        ),
        (b'name = "\xff"', "build.toml, line 1: is not UTF-8 (byte 0xff): save it again in UTF-8."),
        ("a = " + "9" * 5000, "build.toml: contains a number that is too long to read."),
        ("a = " + "[" * 3000, "build.toml: contains brackets that are nested too deeply to read."),
    ],
)
def test_a_bad_build_toml_is_said_in_one_sentence(tmp_path, toml, said):
    problems = problems_of(tmp_path, build_toml=toml, log_csv="date,hours\n2026-03-02,1\n")
    assert problems == [said]


def test_a_country_without_known_holidays_is_said_and_left_out(tmp_path):
    build = build_of(tmp_path, build_toml='country = "ZZ"\n' + BUILD_TOML)
    assert build.country is None
    assert build.notices == ("build.toml: no public holidays are known for ZZ, so none are counted.",)


def test_a_joining_day_may_be_a_toml_date_or_the_same_in_quotes(tmp_path):
    build = build_of(tmp_path, build_toml=BUILD_TOML.replace("2026-03-03", '"2026-03-03"'))
    assert build.builders[1].joins == date(2026, 3, 3)


def test_unknown_keys_of_build_toml_are_said_once(tmp_path):
    build = build_of(tmp_path, build_toml='colour = "red"\n' + BUILD_TOML + "age = 3\n")
    assert build.notices == ("build.toml: unknown keys, ignored: colour, builder.age.",)
