"""The logic of every page, run without a browser."""

import re
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest

from forecast.files.folder import read_build, start_build
from forecast.present.finish import finish_lines
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.dashboard_app import RUNS, save, settled, shown, turned_to, words
from tests.dashboard_build import AS_OF, write_kit

PAGES = ("finish", "log", "tonight", "burn_down", "crew", "overruns", "bench", "orders", "record", "method")
CHARTED = ("finish", "burn_down", "crew", "overruns", "bench", "orders", "record")


@pytest.fixture(scope="session")
def kit(tmp_path_factory):
    """A kit that tests only look at."""
    return write_kit(tmp_path_factory.mktemp("kit") / "stint")


@pytest.fixture
def own_kit(tmp_path):
    """A kit that a test may write to."""
    return write_kit(tmp_path / "stint")


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
    app = shown(kit, "burn_down")
    app.selectbox[0].set_value("Hull").run()
    assert "Hull:" in words(app)


def test_the_learning_curve_is_that_of_the_picked_type(kit):
    app = shown(kit, "overruns")
    app.selectbox[0].set_value("rivet").run()
    assert "Rivet:" in words(app)


def test_a_page_shows_its_basis(kit):
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


def test_help_can_be_limited_to_two_person_tasks(kit):
    app = shown(kit, "crew")
    before = words(app)
    app.checkbox(key="help_only_two").set_value(True).run()
    assert words(settled(app)) != before


def test_tonight_follows_the_hours_and_the_people(kit):
    app = shown(kit, "tonight")
    alone = words(app)
    next(p for p in app.get("button_group") if p.key == "tonight_who").set_value(["A", "B"]).run()
    assert words(app) != alone
    next(p for p in app.get("button_group") if p.key == "tonight_who").set_value([]).run()
    assert app.title[0].value == "Choose who is there\\."


def test_the_order_to_place_first_is_the_answer(kit):
    app = shown(kit, "orders")
    assert "Engine" in app.title[0].value


def test_the_record_begins_with_how_often_the_dates_held(kit):
    app = shown(kit, "record")
    assert re.match(r"The 80 % date held in \d+ of \d+ past forecasts\.", words(app))


@pytest.mark.parametrize(
    "page", ["finish", "log", "tonight", "burn_down", "crew", "overruns", "bench", "method"]
)
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


def test_every_problem_of_a_broken_log_is_shown_with_its_row(own_kit):
    with (own_kit / "log.csv").open("a") as log:
        log.write("2026-06-29,two,A,T01,,,\n2026-06-30,1,Z,T02,,,\n")
    app = shown(own_kit)
    assert app.title[0].value.replace("\\", "") == "Fix 2 problems in your files to get a forecast."
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
    assert "Fix these problems before you add to the log:" in words(app)


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
