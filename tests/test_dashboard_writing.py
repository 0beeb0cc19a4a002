"""What is written on the page of the log, run without a browser."""

from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.frame import CHANGED
from forecast.files.folder import read_build
from tests.dashboard_app import save, shown, words
from tests.dashboard_build import write_kit


@pytest.fixture
def own_kit(tmp_path):
    """A kit that a test may write to."""
    return write_kit(tmp_path / "stint")


def test_a_session_is_two_taps_the_task_and_the_people_being_those_of_last_time(own_kit):
    app = shown(own_kit, "log", as_of=None)
    save(app, hours=2.5)
    assert not app.error
    last = read_build(own_kit).sessions.iloc[-1]
    before = read_build(own_kit).sessions.iloc[-3]
    assert (last["date"].date(), last["hours"], last["task"]) == (date.today(), 2.5, before["task"])
    assert "Wrote log.csv, line" in words(app)
    assert "Today: 2.5 hours in the log." in words(app)


def test_a_saved_session_can_be_undone(own_kit):
    before = (own_kit / "log.csv").read_bytes()
    app = save(shown(own_kit, "log", as_of=None), hours=2.5)
    assert (own_kit / "log.csv").read_bytes() != before
    app.button(key="undo").click().run()
    assert (own_kit / "log.csv").read_bytes() == before
    assert "log.csv: removed" in words(app)


def test_nothing_to_undo_is_reported(own_kit):
    app = shown(own_kit, "log", as_of=None)
    app.button(key="undo").click().run()
    assert "has no change to undo" in words(app)


def test_a_session_without_hours_is_refused_in_words_and_nothing_is_lost(own_kit):
    before = (own_kit / "log.csv").read_bytes()
    app = save(shown(own_kit, "log", as_of=None), text_input={"note": "kept"})
    assert "hours: give hours" in words(app)
    assert (own_kit / "log.csv").read_bytes() == before
    assert app.text_input(key="note_0").value == "kept"


def test_everything_that_a_session_can_say_is_written(own_kit):
    app = shown(own_kit, "log", as_of=None)
    save(
        app,
        text_input={"other_hours": "1:15", "pieces": "3", "percent": "80", "note": "=2+2"},
        number_input={"helpers": 2},
        checkbox={"rework": True},
        selectbox={"task": "H05"},
    )
    assert not app.error
    last = read_build(own_kit).sessions.iloc[-1]
    assert (last["hours"], last["quantity"], last["percent"], last["rework"]) == (1.25, 3.0, 80.0, True)
    assert (last["task"], last["helpers"], last["note"]) == ("H05", 2, "=2+2")
    assert "'=2+2" in (own_kit / "log.csv").read_text()


def test_work_outside_the_plan_can_be_written_down(own_kit):
    app = shown(own_kit, "log", as_of=None)
    save(app, hours=1.0, selectbox={"task": ""}, text_input={"stage": "shop", "type": "shelving"})
    last = read_build(own_kit).sessions.iloc[-1]
    assert (last["task"], last["stage"], last["type"]) == ("", "shop", "shelving")


def test_a_step_that_came_up_is_added_to_the_plan(own_kit):
    app = shown(own_kit, "log", as_of=None)
    app.text_input(key="step_title_0").set_value("Drill hull part 13")
    app.selectbox(key="step_stage_0").set_value("hull")
    app.button(key="save_step_0").click().run()
    assert not app.error
    new = read_build(own_kit).plan.tasks[-1]
    assert (new.task, new.title, new.stage, new.added) == ("H13", "Drill hull part 13", "hull", date.today())


def test_a_sheet_is_previewed_and_written_on_the_button(own_kit):
    before = len(read_build(own_kit).sessions)
    sheet = b"Datum;Stunden;Arbeit\n27.06.2026;2,5;Wire hull part 4\n28.06.2026;1;Wire hull part 5\n"
    app = shown(own_kit, "log", as_of=None)
    app.get("file_uploader")[0].set_value(("../../etc/my hours.csv", sheet, "text/csv")).run()
    assert not app.exception
    assert "my hours.csv" in words(app)
    assert "Datum -> date" in words(app)
    assert len(read_build(own_kit).sessions) == before
    next(b for b in app.button if str(b.key).startswith("write_rows_")).click().run()
    assert len(read_build(own_kit).sessions) == before + 2
    assert "2 rows added to the log." in words(app)


def test_questions_about_a_sheet_can_be_answered(own_kit):
    before = len(read_build(own_kit).sessions)
    sheet = b"Datum;Stunden;Arbeit\n01.07.2026;2,5;Wire hull part 4\n02.07.2026;1;Wire hull part 5\n"
    app = shown(own_kit, "log", as_of=None)
    app.get("file_uploader")[0].set_value(("hours.csv", sheet, "text/csv")).run()
    assert any("order=" in info.value.replace("\\", "") for info in app.info)
    assert next(b for b in app.button if str(b.key).startswith("write_rows_")).disabled
    app.text_area[0].set_value("order=day-first").run()
    next(b for b in app.button if str(b.key).startswith("write_rows_")).click().run()
    assert len(read_build(own_kit).sessions) == before + 2


def test_the_meaning_of_a_column_can_be_corrected(own_kit):
    sheet = b"Datum;Zeit;Arbeit\n27.06.2026;90;Wire hull part 4\n28.06.2026;60;Wire hull part 5\n"
    app = shown(own_kit, "log", as_of=None)
    app.get("file_uploader")[0].set_value(("hours.csv", sheet, "text/csv")).run()
    box = next(s for s in app.selectbox if str(s.key).startswith("meaning_") and s.label == "Zeit")
    box.set_value("minutes").run()
    assert "Zeit -> minutes" in words(app)
    next(b for b in app.button if str(b.key).startswith("write_rows_")).click().run()
    assert read_build(own_kit).sessions["hours"].iloc[-2:].to_list() == [1.5, 1.0]


def test_a_sheet_that_is_none_is_refused_in_words(own_kit):
    app = shown(own_kit, "log", as_of=None)
    app.get("file_uploader")[0].set_value(("hours.xlsx", bytes(range(256)) * 9, "text/csv")).run()
    assert not app.exception
    assert app.error


def test_a_row_is_corrected_in_place(own_kit):
    with (own_kit / "log.csv").open("a") as log:
        log.write("2026-06-29,two,A,H04,,,\n")
    app = shown(own_kit, "log", as_of=None)
    cell = next(t for t in app.text_input if t.key.startswith("cell_hours_"))
    assert cell.value == "two"
    cell.set_value("2")
    next(b for b in app.button if b.key.startswith("save_change_")).click().run()
    assert not app.error
    assert "hours changed" in words(app)
    assert read_build(own_kit).sessions.iloc[-1]["hours"] == 2.0


def test_a_row_that_another_tab_changed_is_not_written_over(own_kit):
    app = shown(own_kit, "log", as_of=None)
    cell = next(t for t in app.text_input if t.key.startswith("cell_hours_"))
    text = (own_kit / "log.csv").read_text()
    rows = text.splitlines()
    (own_kit / "log.csv").write_text(text.replace(rows[-1], rows[-1].replace(",1,", ",7,")))
    cell.set_value("3")
    next(b for b in app.button if b.key.startswith("save_change_")).click().run()
    assert ",3," not in (own_kit / "log.csv").read_text().splitlines()[-1]
    assert ",7," in (own_kit / "log.csv").read_text().splitlines()[-1]


def test_the_page_reports_changed_files(own_kit):
    app = shown(own_kit)
    with (own_kit / "log.csv").open("a") as log:
        log.write("2026-06-30,1,A,H04,,,\n")

    def page(state):
        from dashboard.frame import watch_files

        watch_files(state)

    told = AppTest.from_function(page, args=("the state before",)).run()
    assert "changed since this page was drawn" in words(told)
    assert not app.toast
    app.run()
    assert [toast.value for toast in app.toast] == [CHANGED]
    app.run()
    assert not app.toast


def test_a_visitor_s_own_change_is_not_announced(own_kit):
    app = save(shown(own_kit, "log", as_of=None), hours=2.5)
    assert "Wrote log.csv, line" in words(app)
    assert not app.toast
