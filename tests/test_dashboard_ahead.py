"""The first look that is worked out ahead, and the scripts that the browser is told of early."""

from importlib import resources

import numpy as np
import pytest

from dashboard.server.opening import Opening, state_of
from dashboard.server.page_scripts import first_page_scripts
from dashboard.work import ahead
from dashboard.work.ahead import FIRST_LOOK_RUNS, asking_key, look_ahead, looked
from forecast.files.folder import read_build
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.dashboard_build import AS_OF, write_kit


@pytest.fixture
def nothing_ahead():
    yield
    ahead._on_its_way.clear()


def key_of(folder, runs):
    return asking_key(state_of(folder), AS_OF, Settings(runs=runs))


def test_the_first_look_is_that_of_the_command_and_of_nothing_else(tmp_path, nothing_ahead):
    folder = write_kit(tmp_path / "kit")
    look_ahead(Opening(folder=folder, as_of=AS_OF, runs=10_000))
    found = looked(key_of(folder, FIRST_LOOK_RUNS))
    same = forecast_finish(read_build(folder), AS_OF, Settings(runs=FIRST_LOOK_RUNS))
    assert np.array_equal(found.build_finish_days, same.build_finish_days)
    assert found.fitted.progress.tasks.equals(same.fitted.progress.tasks)
    assert looked(key_of(folder, 10_000)) is None
    with (folder / "log.csv").open("a") as log:
        log.write("2026-06-30,1,A,H04,,,\n")
    assert looked(key_of(folder, FIRST_LOOK_RUNS)) is None


def test_a_folder_without_a_build_leaves_the_look_to_the_pages(tmp_path, nothing_ahead, capfd):
    look_ahead(Opening(folder=tmp_path))
    assert looked(key_of(tmp_path, FIRST_LOOK_RUNS)) is None
    assert capfd.readouterr() == ("", "")


def test_nothing_ahead_is_nothing(tmp_path):
    assert looked(key_of(tmp_path, FIRST_LOOK_RUNS)) is None


def test_the_scripts_of_the_first_page_are_there_and_not_told_twice():
    scripts = first_page_scripts()
    place = resources.files("streamlit") / "static"
    begun = (place / "index.html").read_text(encoding="utf-8")
    assert len(set(scripts)) == len(scripts)
    for script in scripts:
        assert (place / script.removeprefix("/")).is_file()
        assert script.rpartition("/")[2] not in begun
    for part in ("ArrowVegaLiteChart", "embed", "Selectbox", "DateInput"):
        assert any(s.rpartition("/")[2].startswith(f"{part}.") for s in scripts)
