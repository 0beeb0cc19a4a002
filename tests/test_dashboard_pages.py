"""The logic of every page, run without a browser."""

import re
import shutil
import time
from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.frame import CHANGED
from dashboard.opening import Opening, open_dashboard
from forecast.folder import read_build, start_build
from forecast.outlook import Settings, forecast_finish
from forecast.report import finish_lines
from tests.dashboard_build import AS_OF, write_kit

APP = str(Path(__file__).resolve().parents[1] / "dashboard" / "app.py")
PAGES = ("finish", "log", "evening", "burn", "crew", "over", "bench", "orders", "record", "method")
CHARTED = ("finish", "burn", "crew", "over", "bench", "orders", "record")
RUNS = 300
WORKING = ("A first look", "Looking", "Tracing", "Drawing", "Playing", "Forecasting")


@pytest.fixture(scope="session")
def kit(tmp_path_factory):
    """A kit that tests only look at."""
    return write_kit(tmp_path_factory.mktemp("kit") / "stint")


@pytest.fixture
def own_kit(tmp_path):
    """A kit that a test may write to."""
    return write_kit(tmp_path / "stint")


def shown(folder, page="", *, as_of=AS_OF):
    """One page of the dashboard on a folder, drawn."""
    open_dashboard(Opening(folder=folder, as_of=as_of, runs=RUNS))
    app = AppTest.from_file(APP, default_timeout=120).run()
    return turned_to(app, page) if page else settled(app)


def turned_to(app, page):
    """Another page of the same visit."""
    return settled(app.switch_page(f"views/{page}.py").run())


def settled(app):
    """The page once nothing is worked out in the background any more."""
    until = time.monotonic() + 120
    while any(caption.value.startswith(WORKING) for caption in app.caption):
        assert time.monotonic() < until, words(app)
        time.sleep(0.2)
        app.run()
    return app


def words(app):
    """Everything that the page says, without the marks that keep text from being Markdown."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "text", "error", "success", "info")
    said = [str(element.value) for kind in kinds for element in getattr(app, kind)]
    said += [element.proto.body for element in app.get("html")]
    return "\n".join(said).replace("\\", "")


def test_the_answer_is_the_first_thing_and_the_same_as_the_command_gives(kit):
    outlook = forecast_finish(read_build(kit), AS_OF, Settings(runs=RUNS))
    app = shown(kit)
    assert app.title[0].value.replace("\\", "") == finish_lines(outlook)[0]
    assert finish_lines(outlook)[-1] in words(app)


@pytest.mark.parametrize("page", PAGES)
def test_every_page_has_one_answer_at_the_top_and_no_error(kit, page):
    app = shown(kit, page)
    assert len(app.title) == 1
    assert not app.exception
    assert not app.error


@pytest.mark.parametrize("page", CHARTED)
def test_every_chart_has_a_title_a_description_a_table_and_two_downloads(kit, page):
    app = shown(kit, page)
    charts = app.get("vega_lite_chart")
    assert charts
    assert len(app.get("download_button")) == 2 * len(charts)
    assert len(app.expander) >= len(charts)
    for chart in charts:
        assert '"description": "' in chart.proto.spec
    assert len(app.subheader) >= len(charts)


def test_the_chance_of_a_day_follows_the_day(kit):
    app = shown(kit)
    early, late = AS_OF + timedelta(days=1), AS_OF + timedelta(days=5000)
    app.date_input[0].set_value(early).run()
    assert "next to no chance" in words(app)
    app.date_input[0].set_value(late).run()
    assert re.search(r"as good as certain|a chance of 9\d in 100", words(app))


def test_the_burn_down_of_one_stage_is_that_stages(kit):
    app = shown(kit, "burn")
    app.selectbox[0].set_value("Hull").run()
    assert "Hull:" in words(app)


def test_the_learning_curve_is_that_of_the_picked_type(kit):
    app = shown(kit, "over")
    app.selectbox[0].set_value("rivet").run()
    assert "Rivet:" in words(app)


def test_a_page_says_on_what_it_rests(kit):
    assert "seed 0, as of 30 June 2026." in words(shown(kit))


def offered(app):
    """The pages that can be turned to."""
    return {Path(str(p["script_path"])).stem for p in app._registered_pages.values()}


def test_a_page_with_nothing_to_show_is_not_offered(kit, tmp_path):
    assert offered(shown(kit)) == set(PAGES)
    folder = write_kit(tmp_path / "begun")
    (folder / "deliveries.csv").unlink()
    (folder / "plan.csv").write_text((folder / "plan.csv").read_text().replace(",engine,", ",,"))
    lines = (folder / "log.csv").read_text().splitlines()
    (folder / "log.csv").write_text("\n".join(lines[:2]) + "\n")
    assert offered(shown(folder, as_of=date(2025, 11, 20))) == set(PAGES) - {"orders", "record"}


def test_a_second_builder_with_more_hours_is_not_less_help(kit):
    app = shown(kit, "crew")
    assert app.title[0].value.startswith(("With B the build", "B would not"))
    app.slider(key="help_hours").set_value(app.slider(key="help_hours").max).run()
    settled(app)
    assert "sooner" in app.title[0].value
    assert "person-hours in all instead of" in words(app)


def test_help_for_two_person_tasks_only_can_be_asked(kit):
    app = shown(kit, "crew")
    before = words(app)
    app.checkbox(key="help_only_two").set_value(True).run()
    assert words(settled(app)) != before


def test_tonight_follows_the_hours_and_the_people(kit):
    app = shown(kit, "evening")
    alone = words(app)
    next(p for p in app.get("button_group") if p.key == "evening_who").set_value(["A", "B"]).run()
    assert words(app) != alone
    next(p for p in app.get("button_group") if p.key == "evening_who").set_value([]).run()
    assert app.title[0].value == "Say who is there\\."


def test_the_order_to_place_first_is_the_answer(kit):
    app = shown(kit, "orders")
    assert "Engine" in app.title[0].value


def test_the_record_begins_with_how_often_the_dates_held(kit):
    app = shown(kit, "record")
    assert re.match(r"80 % sure: held in \d+ of \d+ past forecasts\.", words(app))


@pytest.mark.parametrize("page", ["finish", "log", "evening", "burn", "crew", "over", "bench", "method"])
def test_one_session_is_enough_for_every_page(tmp_path, page):
    folder = write_kit(tmp_path / "begun")
    lines = (folder / "log.csv").read_text().splitlines()
    (folder / "log.csv").write_text("\n".join(lines[:2]) + "\n")
    app = shown(folder, page)
    assert not app.exception
    assert not app.error
    assert app.title


def test_an_empty_folder_offers_to_begin_a_build(tmp_path):
    app = shown(tmp_path)
    assert "There is no build in this folder yet." in words(app)
    app.button(key="start").click().run()
    assert (tmp_path / "log.csv").exists()
    assert not app.exception
    assert settled(app).title[0].value.startswith("Tail")


def test_a_log_without_a_session_invites_the_first_one(tmp_path):
    folder = write_kit(tmp_path / "new")
    (folder / "log.csv").write_text("date,hours,builders,task\n")
    app = shown(folder)
    assert app.title[0].value.startswith("No session yet")
    save(app, hours=2.0)
    assert len(read_build(folder).sessions) == 1


def test_a_broken_log_says_every_problem_beside_its_row(own_kit):
    with (own_kit / "log.csv").open("a") as log:
        log.write("2026-06-29,two,A,T01,,,\n2026-06-30,1,Z,T02,,,\n")
    app = shown(own_kit)
    assert app.title[0].value.startswith("2 things in your files")
    app = turned_to(app, "log")
    said = words(app)
    assert "must be hours as 2.5 or 2:30" in said
    assert "2026-06-29, two h, A, T01" in said
    assert "nan" not in app.title[0].value


@pytest.mark.parametrize("name", ["plan.csv", "build.toml"])
def test_a_missing_file_is_a_sentence_on_every_page_offered(own_kit, name):
    (own_kit / name).unlink()
    app = shown(own_kit)
    assert "is missing" in words(app)
    for page in ("log", "method"):
        app = turned_to(app, page)
        assert not app.exception


def test_a_binary_log_is_a_sentence(own_kit):
    (own_kit / "log.csv").write_bytes(bytes(range(256)) * 8)
    app = shown(own_kit)
    assert "log.csv" in words(app)
    app = turned_to(app, "log")
    assert "The log cannot be written to until this is put right" in words(app)


def save(app, *, hours=None, **fields):
    """Fill the form in and save it."""
    count = app.session_state["sessions_written"]
    if hours is not None:
        next(p for p in app.get("button_group") if p.key == f"hours_{count}").set_value(hours)
    for kind, values in fields.items():
        for key, value in values.items():
            getattr(app, kind)(key=f"{key}_{count}").set_value(value)
    return app.button(key=f"save_{count}").click().run()


def test_a_session_is_two_taps_the_task_and_the_people_being_those_of_last_time(own_kit):
    app = shown(own_kit, "log", as_of=None)
    save(app, hours=2.5)
    assert not app.error
    last = read_build(own_kit).sessions.iloc[-1]
    before = read_build(own_kit).sessions.iloc[-3]
    assert (last["date"].date(), last["hours"], last["task"]) == (date.today(), 2.5, before["task"])
    assert "Wrote log.csv, line" in words(app)
    assert "Today: 2.5 hours in the log." in words(app)


def test_what_was_saved_can_be_taken_back(own_kit):
    before = (own_kit / "log.csv").read_bytes()
    app = save(shown(own_kit, "log", as_of=None), hours=2.5)
    assert (own_kit / "log.csv").read_bytes() != before
    app.button(key="undo").click().run()
    assert (own_kit / "log.csv").read_bytes() == before
    assert "log.csv: took out" in words(app)


def test_nothing_to_take_back_is_said(own_kit):
    app = shown(own_kit, "log", as_of=None)
    app.button(key="undo").click().run()
    assert "holds no change to take back" in words(app)


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


def test_a_sheet_is_shown_as_it_is_understood_and_written_when_told_to(own_kit):
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


def test_what_a_sheet_leaves_open_is_asked_and_can_be_answered(own_kit):
    before = len(read_build(own_kit).sessions)
    sheet = b"Datum;Stunden;Arbeit\n01.07.2026;2,5;Wire hull part 4\n02.07.2026;1;Wire hull part 5\n"
    app = shown(own_kit, "log", as_of=None)
    app.get("file_uploader")[0].set_value(("hours.csv", sheet, "text/csv")).run()
    assert any("order=" in info.value.replace("\\", "") for info in app.info)
    assert next(b for b in app.button if str(b.key).startswith("write_rows_")).disabled
    app.text_area[0].set_value("order=day-first").run()
    next(b for b in app.button if str(b.key).startswith("write_rows_")).click().run()
    assert len(read_build(own_kit).sessions) == before + 2


def test_a_column_can_be_said_to_be_something_else(own_kit):
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


def test_a_row_is_put_right_where_it_stands(own_kit):
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


def test_the_page_says_that_the_files_changed(own_kit):
    app = shown(own_kit)
    with (own_kit / "log.csv").open("a") as log:
        log.write("2026-06-30,1,A,H04,,,\n")

    def page(state):
        from dashboard.frame import watch

        watch(state)

    told = AppTest.from_function(page, args=("the state before",)).run()
    assert "changed since this page was drawn" in words(told)
    assert not app.toast
    app.run()
    assert [toast.value for toast in app.toast] == [CHANGED]
    app.run()
    assert not app.toast


def test_what_this_visitor_wrote_is_not_told_as_a_change(own_kit):
    app = save(shown(own_kit, "log", as_of=None), hours=2.5)
    assert "Wrote log.csv, line" in words(app)
    assert not app.toast


def test_text_of_a_builder_is_shown_as_text(tmp_path):
    trick = "![x](http://evil.example/p.png) <img src=http://evil.example/i.png> $e=mc^2$ :red[x] =1+1"
    folder = write_kit(tmp_path / "tricky")
    plan = (folder / "plan.csv").read_text().replace(",hull,", f',"{trick}",')
    (folder / "deliveries.csv").unlink()
    (folder / "plan.csv").write_text(plan.replace(",engine,", ",,"))
    (folder / "build.toml").write_text(f"name = '{trick}'\n[[builder]]\nid = 'A'\n[[builder]]\nid = 'B'\n")
    for page in set(PAGES) - {"orders", "record"}:
        app = shown(folder, page)
        assert not app.exception
        marked = [
            e.value for kind in ("title", "subheader", "caption", "markdown") for e in getattr(app, kind)
        ]
        assert not any(re.search(r"(?<!\\)(!\[|<img|\$|:red)", text) for text in marked)
        assert not any("<img" in element.proto.body for element in app.get("html"))


def test_the_samples_are_left_as_they_are():
    root = Path(__file__).resolve().parents[1] / "sample_logs"
    assert all((folder / "plan.csv").exists() for folder in root.iterdir() if (folder / "log.csv").exists())


def test_a_new_build_of_the_command_is_shown(tmp_path):
    start_build(tmp_path / "mine")
    app = shown(tmp_path / "mine", as_of=None)
    assert not app.exception
    shutil.rmtree(tmp_path / "mine")
