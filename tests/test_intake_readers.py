"""Cells of foreign sheets: every form of hours, days, people and labels that real logs were seen to hold."""

from datetime import date, datetime, time, timedelta

import pytest

from forecast.errors import UsageError
from forecast.intake.builder_answers import BuilderAnswers, parse_answers, parse_mapping
from forecast.intake.cells.date_forms import find_order
from forecast.intake.cells.dates import DateRules, read_date
from forecast.intake.cells.durations import read_clock, read_duration
from forecast.intake.cells.labels import are_near, merge_labels, split_labels
from forecast.intake.cells.people import People, identify_crew, read_people
from forecast.intake.cells.phrases import is_rework, not_building, split_tasks
from forecast.intake.columns import find_headings, propose_columns
from forecast.intake.sheet_cells import Sheet, SheetRow, Unread, cell_text

TODAY = date(2026, 9, 1)


def sheet_of(*rows) -> Sheet:
    return Sheet(
        name="", rows=tuple(SheetRow(file="f", line=i, cells=tuple(r)) for i, r in enumerate(rows, start=1))
    )


def hours_of(cell, unit=None, **kwargs):
    read = read_duration(cell, unit, **kwargs)
    return None if isinstance(read, Unread) else [p.hours for p in read]


@pytest.mark.parametrize(
    ("cell", "unit", "hours"),
    [
        ("180", "minutes", 3.0),
        (180.0, "minutes", 3.0),
        ("2.5", "hours", 2.5),
        ("2,5", "hours", 2.5),
        ("2:30", None, 2.5),
        ("2h30", None, 2.5),
        ("2 h 30 min", None, 2.5),
        ("9.00", "hours", 9.0),
        ("~3 hours", None, 3.0),
        ("about 3", "hours", 3.0),
        ("3+", "hours", 3.0),
        ("90 min", "hours", 1.5),
        ("2½", "hours", 2.5),
        ("1/2 h", None, 0.5),
        (time(2, 30), None, 2.5),
        (timedelta(hours=30), None, 30.0),
        (datetime(1900, 1, 1, 6), None, 30.0),
        ("2:30", "minutes", 2.5),
    ],
)
def test_every_known_form_of_hours_is_read(cell, unit, hours):
    assert hours_of(cell, unit) == [hours]


@pytest.mark.parametrize(
    "cell",
    [None, "", "0", 0.0, "0:00", "many hours", "2-3", "2 to 3 hours", "2 days", "3 ribs", "2:30 pm", "-2",
     "1,250", "2, 5", True, date(2026, 1, 2), "1h 75", "3 x 2", "nan", "inf", "1e9", "3 am", ";", ", "],
)  # fmt: skip
def test_what_is_no_number_of_hours_is_named_and_not_guessed(cell):
    assert isinstance(read_duration(cell, "hours"), Unread)


def test_a_bare_number_needs_a_unit():
    assert "neither the heading nor the cell" in read_duration("3", None).reason


def test_person_hours_and_shopping_in_one_cell_are_two_parts():
    parts = read_duration("41.75 person-hours building, 4 shopping", None)
    assert [(p.hours, p.unit, p.what) for p in parts] == [
        (41.75, "person_hours", "building"),
        (4.0, "person_hours", "shopping"),
    ]


def test_minutes_after_the_point_only_where_the_builder_says_so():
    assert hours_of("2.30", "hours") == [2.3]
    assert hours_of("2.30", "hours", minutes_after_point=True) == [2.5]


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("7:30 pm", time(19, 30)), ("19.30", time(19, 30)), ("7pm", time(19)), ("12 am", time(0)),
        (time(8, 15), time(8, 15)), ("7", None), ("25:00", None),
    ],
)  # fmt: skip
def test_times_of_day(cell, clock):
    assert read_clock(cell) == clock


def days_of(cell, previous=None, **rules):
    read = read_date(cell, DateRules(today=TODAY, **rules), previous)
    return read.reason if isinstance(read, Unread) else (read.start.isoformat(), read.end.isoformat())


@pytest.mark.parametrize(
    ("cell", "order", "start", "end"),
    [
        ("2023-04-19", None, "2023-04-19", None),
        ("2026-01-02", "day_first", "2026-01-02", None),
        ("20230419", None, "2023-04-19", None),
        ("4/19/2023", "month_first", "2023-04-19", None),
        ("19.4.2023", "day_first", "2023-04-19", None),
        ("19. April 2023", None, "2023-04-19", None),
        ("Sat, Apr 19th 2023", None, "2023-04-19", None),
        ("2023-04-19(?)", None, "2023-04-19", None),
        ("2023-04-19T18:30:00Z", None, "2023-04-19", None),
        ("2023-04-19 through 2023-04-22", None, "2023-04-19", "2023-04-22"),
        ("4/19 - 4/22/2023", "month_first", "2023-04-19", "2023-04-22"),
        ("April 19-22, 2023", None, "2023-04-19", "2023-04-22"),
        ("May and June 2023", None, "2023-05-01", "2023-06-30"),
        ("4/19/2023 4/21/2023", "month_first", "2023-04-19", "2023-04-21"),
        (date(2023, 4, 19), None, "2023-04-19", None),
    ],
)
def test_every_known_form_of_a_day_is_read(cell, order, start, end):
    assert days_of(cell, order=order) == (start, end or start)


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("3/4/2023", "could be two different days"),
        ("4/19", "has no year"),
        ("0203-05-06", "lies in the year 203"),
        ("2062-05-06", "lies in the future"),
        ("2023-02-30", "is a day that does not exist"),
        ("some time in June", "is not a date in a known form"),
        ("2023-04-22 to 2023-04-19", "ends before it begins"),
        ("", "is missing"),
        (45035.0, "is a number"),
    ],
)
def test_a_day_that_cannot_be_is_asked_about_and_not_repaired(cell, why):
    order = None if cell == "3/4/2023" else "month_first"
    assert days_of(cell, order=order).startswith(why)


def test_one_day_above_twelve_gives_the_order_of_the_whole_file():
    assert find_order(["3/4/2023", "5/6/2023", "4/19/2023"]).order == "month_first"


def test_without_a_day_above_twelve_no_order_is_chosen():
    order = find_order(["3/4/2023", "5/6/2023"])
    assert (order.order, order.either) == (None, 2)


def test_contradicting_days_give_no_order():
    assert find_order(["4/19/2023", "19/4/2023"]).contradicts_itself


def test_the_heading_may_say_the_order():
    assert find_order(["3/4/2023"], "Date (DD/MM/YYYY)").order == "day_first"


def test_a_day_that_does_not_fit_the_order_of_the_file_is_never_turned_round():
    assert days_of("13/4/2023", order="month_first").startswith("is a day that does not exist")


def test_years_follow_on_over_new_year_once_the_first_is_said():
    assert days_of("1/3", date(2022, 12, 30), order="month_first", first_year=2022)[0] == "2023-01-03"


def test_the_builder_s_own_reading_of_a_cell_wins():
    assert days_of("0203-05-06", answers={"0203-05-06": date(2023, 5, 6)})[0] == "2023-05-06"


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [
        ("wing", "wings", True), ("Wing ", "wing", True), ("fuselage", "fueslage", True),
        ("elevator", "elevater", True), ("left wing", "right wing", False), ("rib 1", "rib 2", False),
        ("wing", "wiring", False), ("tail", "nail", False), ("upper skin", "lower skin", False),
        ("spar cap", "spar-cap", True), ("???", "!!!", False),
    ],
)  # fmt: skip
def test_spellings_of_one_label_are_told_from_two_labels(one, other, near):
    assert are_near(one.strip(), other) is near


def test_the_label_of_the_plan_wins_over_the_more_frequent_spelling():
    assert merge_labels(["wing"] * 9, known=["wings"])("wing") == "wings"


def test_what_the_builder_says_of_a_label_wins():
    assert merge_labels(["wing", "wings"], answers={"wings": "wing set"})("Wings") == "wing set"


def test_several_labels_in_one_cell():
    assert split_labels("wing / tail, canopy") == ["wing", "tail", "canopy"]


@pytest.mark.parametrize(
    ("cell", "people"),
    [
        ("Jo", People(names=("Jo",))),
        ("Jo & Sam", People(names=("Jo", "Sam"))),
        ("A+B+2", People(names=("A", "B"), unnamed=2)),
        ("me + 2 helpers", People(names=("me",), unnamed=2)),
        ("Jo, a friend", People(names=("Jo",), unnamed=1)),
        (3.0, People(unnamed=2)),
        ("solo", People(names=("me",))),
    ],
)  # fmt: skip
def test_people_as_they_are_written(cell, people):
    assert read_people(cell) == people


def test_no_people_are_not_readable():
    assert isinstance(read_people(0.0), Unread)


def test_a_row_of_helpers_only_keeps_its_person_hours():
    crew = identify_crew([People(names=("Jo",))] * 20 + [People(names=("Kim",))], known=(), answers={})
    builders, helpers, stand_in = crew.resolve(People(names=("Kim", "Dee")))
    assert (len(builders) + helpers, stand_in) == (2, True)


def test_the_builder_says_who_is_who():
    crew = identify_crew([People(names=("Jo", "Kim"))], known=("A",), answers={"jo": "A", "kim": "helper"})
    assert crew.resolve(People(names=("Kim", "Jo"))) == (("A",), 1, False)


def test_several_tasks_are_cut_where_a_word_of_work_begins():
    assert split_tasks("drilled ribs and skins, deburred; ordered primer") == [
        "drilled ribs and skins", "deburred", "ordered primer",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("inventory of the kit", "inventory"),
        ("Ordered rivets", "ordering"),
        ("planning the panel", "planning"),
        ("cleaned shop", "cleaning"),
        ("edited video", "filming"),
        ("training day", "training"),
        ("cleaned and primed ribs", ""),
        ("thread brake lines", ""),
        ("ordered rivets, deburred ribs", ""),
        ("", ""),
    ],
)
def test_work_that_is_not_building_is_told_by_its_first_words(text, kind):
    assert not_building(text) == kind


def test_rework_is_told_by_its_words():
    assert [is_rework(t) for t in ("redo the tip", "drilled out three rivets", "drilled ribs")] == [
        True, True, False,
    ]  # fmt: skip


def meanings_of(*rows, **said) -> list[str]:
    return [c.meaning for c in propose_columns(find_headings(sheet_of(*rows)), said)]


def test_columns_are_told_by_heading_and_content():
    rows = [("Date", "Hrs", "Who", "Section", "What I did", "Cost")]
    rows += [(f"2026-01-{d:02d}", 2.0, "Jo", "tail", f"drilled rib {d}", 12.0) for d in range(1, 9)]
    assert meanings_of(*rows) == ["date", "hours", "people", "stage", "text", "ignore"]


def test_columns_without_headings_are_told_by_content_and_the_unit_is_not_guessed():
    rows = [(f"2026-01-{d:02d}", "2:30", f"drilled rib {d} and more") for d in range(1, 9)]
    assert meanings_of(*rows) == ["date", "duration", "text"]


def test_start_and_end_are_days_or_times_by_what_they_hold():
    rows = [("Start", "End", "Work"), ("8:00", "10:30", "a b"), ("9:00", "10:00", "c d")]
    assert meanings_of(*rows)[:2] == ["start", "end"]
    rows = [("Start", "End", "Hours"), ("2026-01-02", "2026-01-03", 3.0)]
    assert meanings_of(*rows)[:2] == ["date", "until"]


def test_a_running_total_is_not_taken_for_hours():
    rows = [("Date", "Hours total", "Session")]
    rows += [(f"2026-01-{d:02d}", 2.0 * d, 2.0) for d in range(1, 9)]
    assert meanings_of(*rows) == ["date", "ignore", "hours"]


def test_the_builder_s_word_on_a_column_wins():
    rows = [("Date", "Time", "Who"), ("2026-01-02", 90.0, "Jo")]
    assert meanings_of(*rows, Time="minutes")[1] == "minutes"


def test_a_column_that_is_not_there_cannot_be_said():
    with pytest.raises(UsageError, match="no column 'Mins'"):
        meanings_of(("Date", "Hours"), ("2026-01-02", 2.0), Mins="minutes")


def test_answers_are_checked():
    with pytest.raises(UsageError, match="is not an answer"):
        parse_answers(["order=sideways"])
    with pytest.raises(UsageError, match="must be COLUMN=MEANING"):
        parse_mapping(["Time=moments"])


def test_later_answers_stand_over_earlier_ones():
    both = parse_answers(["order=day-first"]).over(BuilderAnswers(order="month_first", first_year=2020))
    assert (both.order, both.first_year) == ("day_first", 2020)


def test_a_cell_reads_the_same_whatever_format_it_came_in():
    assert [cell_text(c) for c in (2.0, "2", date(2026, 1, 2), datetime(2026, 1, 2))] == [
        "2", "2", "2026-01-02", "2026-01-02",
    ]  # fmt: skip
