"""The first runs, computed while the server starts."""

import numpy as np
import pytest

from dashboard.server.opening import Opening, state_of
from dashboard.work import first_look as first_look_module
from dashboard.work.first_look import FIRST_LOOK_RUNS, first_look, forecast_key, start_first_look
from forecast.files.folder import read_build
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.dashboard_build import AS_OF, write_kit


@pytest.fixture
def none_started():
    yield
    first_look_module._started.clear()


def key_of(folder, runs):
    return forecast_key(state_of(folder), AS_OF, Settings(runs=runs))


def test_the_first_look_is_that_of_the_command_and_of_nothing_else(tmp_path, none_started):
    folder = write_kit(tmp_path / "kit")
    start_first_look(Opening(folder=folder, as_of=AS_OF, runs=10_000))
    found = first_look(key_of(folder, FIRST_LOOK_RUNS))
    same = forecast_finish(read_build(folder), AS_OF, Settings(runs=FIRST_LOOK_RUNS))
    assert np.array_equal(found.build_finish_days, same.build_finish_days)
    assert found.fitted.progress.tasks.equals(same.fitted.progress.tasks)
    assert first_look(key_of(folder, 10_000)) is None
    with (folder / "log.csv").open("a") as log:
        log.write("2026-06-30,1,A,H04,,,\n")
    assert first_look(key_of(folder, FIRST_LOOK_RUNS)) is None


def test_a_folder_without_a_build_leaves_the_look_to_the_pages(tmp_path, none_started, capfd):
    start_first_look(Opening(folder=tmp_path))
    assert first_look(key_of(tmp_path, FIRST_LOOK_RUNS)) is None
    assert capfd.readouterr() == ("", "")


def test_none_started_is_nothing(tmp_path):
    assert first_look(key_of(tmp_path, FIRST_LOOK_RUNS)) is None
