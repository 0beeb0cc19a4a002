"""Helpers without a name: `+3` in the log are three people, who come together again."""

import csv
import shutil
from pathlib import Path

import numpy as np

from forecast.files.folder import read_build
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.test_bench_time import SUNDAY_60, SUNDAYS, draw, fitted

TURNSTONE = Path(__file__).parents[1] / "sample_logs" / "turnstone"


def test_each_of_a_party_is_a_person_and_comes_as_often_as_in_the_log():
    # One Sunday in three with three helpers, another with one.
    rows = [r | {"helpers": (3, 1, 0)[i % 3]} for i, r in enumerate(SUNDAYS)]
    drawn = draw(fitted(rows, SUNDAY_60), draws=1000)
    assert drawn.people == ("A", "helper", "helper 2", "helper 3")
    assert drawn.lends.tolist() == drawn.on_call.tolist() == [False, True, False, False]
    here = drawn.hours > 0
    share = here.sum(axis=(0, 1)) / here[:, :, 0].sum()
    np.testing.assert_allclose(share, [1.0, 2 / 3, 1 / 3, 1 / 3], atol=0.07)
    assert (here[:, :, 2] == here[:, :, 3]).all()
    assert not (here[:, :, 2] & ~here[:, :, 1]).any()


def _hours_of(text: str) -> float:
    """Hours as in the log: 1.75 or 1:45."""
    hours, _, minutes = text.partition(":")
    return float(hours) + float(minutes or 0) / 60


def _finish_with(helpers: int, folder: Path) -> float:
    """Median days to the finish when every `A+1` row had so many helpers and the same person-hours."""
    shutil.copytree(TURNSTONE, folder)
    with (folder / "log.csv").open(encoding="utf-8", newline="") as log:
        rows = list(csv.DictReader(log))
    for row in rows:
        if row["builders"] == "A+1":
            row["builders"] = f"A+{helpers}"
            row["hours"] = f"{2 * _hours_of(row['hours']) / (1 + helpers):g}"
    with (folder / "log.csv").open("w", encoding="utf-8", newline="") as log:
        writer = csv.DictWriter(log, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    outlook = forecast_finish(read_build(folder), "2026-09-30", Settings(runs=2000, seed=3))
    return float(np.median(outlook.build_finish_days))


def test_the_same_person_hours_by_more_helpers_do_not_make_the_build_later(tmp_path):
    assert _finish_with(3, tmp_path / "three") <= _finish_with(1, tmp_path / "one")
