"""What was announced is kept once, and only ever added to."""

from datetime import date
from pathlib import Path

import pytest

from forecast.files.folder import read_build, start_build
from forecast.files.tables import read_table
from forecast.questions.announced_dates import FORECASTS, announced_rows, store_announced_dates
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings

DAY = date(2025, 3, 1)


@pytest.fixture(scope="module")
def outlook(tmp_path_factory):
    folder = Path(tmp_path_factory.mktemp("kept")) / "mine"
    start_build(folder)
    return forecast_finish(read_build(folder), DAY, Settings(runs=50, horizon_years=6))


def test_the_file_keeps_the_contract_of_its_table(outlook):
    store_announced_dates(outlook, DAY)
    path = outlook.fitted.build.folder / FORECASTS
    table = read_table(path.read_bytes(), FORECASTS, "forecasts")
    assert not table.problems
    assert set(table.frame["target"]) == {*outlook.open_stages, "build"}


def test_the_same_announcement_is_kept_once(outlook):
    path = outlook.fitted.build.folder / FORECASTS
    store_announced_dates(outlook, DAY)
    before = path.read_bytes()
    store_announced_dates(outlook, DAY)
    assert path.read_bytes() == before


def test_another_day_is_added_and_nothing_before_is_touched(outlook):
    path = outlook.fitted.build.folder / FORECASTS
    store_announced_dates(outlook, DAY)
    before = path.read_bytes()
    store_announced_dates(outlook, date(2025, 3, 2))
    after = path.read_bytes()
    assert after.startswith(before)
    assert len(after) > len(before)


def test_a_date_past_the_horizon_is_blank(outlook):
    rows = {r["target"]: r for r in announced_rows(outlook, DAY)}
    for level, key in ((0.05, "p05"), (0.95, "p95")):
        day = outlook.date_at(level, None)
        assert rows["build"][key] == ("" if day is None else day.isoformat())
