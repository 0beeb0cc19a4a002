"""Rework found later is found while building: old repairs; rows of coarse plans, and borrowed residuals."""

import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from forecast.files.folder import read_build
from forecast.files.plan import Plan
from forecast.learn.effort.remaining import _residuals
from forecast.learn.effort.rework_and_growth import _count_events
from forecast.simulate.finish import forecast_finish
from forecast.simulate.settings import Settings
from tests.effort_cases import day, finished, fit, noise, plan_of, work

TURNSTONE = Path(__file__).parents[1] / "sample_logs" / "turnstone"


def _date_at_80(folder: Path) -> date:
    """The 80 % date of the build on the last day of September 2026."""
    latest = forecast_finish(read_build(folder), "2026-09-30", Settings(runs=2000, seed=3)).date_at(0.8)
    assert latest is not None
    return latest


def test_one_old_repair_hardly_moves_the_date(tmp_path):
    folder = tmp_path / "build"
    shutil.copytree(TURNSTONE, folder)
    with (folder / "log.csv").open("a", encoding="utf-8", newline="") as log:
        log.write("2026-09-29,,,2,A,T02,,,,,yes,yes,\n")  # finished on 30 March 2025, 548 days before
    assert abs(_date_at_80(folder) - _date_at_80(TURNSTONE)) <= timedelta(days=10)


def test_a_log_without_rework_is_evidence_against_it():
    few, many = (
        fit(plan_of(200), finished(4 * noise(n, 0.3))).rework_and_growth_.rework_chance.mean()
        for n in (10, 150)
    )
    # The prior mean is 1 in 12; the posterior of all types together is 1 in 32 and 1 in 312.
    assert few < 1 / 32
    assert many < 1 / 312


def test_events_are_fortnights_from_their_first_day():
    days = np.array(["2026-03-01", "2026-03-02", "2026-03-15", "2026-03-16", "2026-05-01"], "datetime64[D]")
    assert _count_events(days) == 3
    assert _count_events(days[:0]) == 0


def test_a_coarse_plan_that_is_right_is_taken_at_its_word():
    # Six stages of one row each, 150 hours planned and 150 taken. Three are done, the fourth is half done.
    rows, n = [], 0
    for task, sessions in enumerate([30, 30, 30, 15]):
        for session in range(sessions):
            percent = round(100 * (session + 1) / 30)
            rows.append({"date": day(n), "hours": 5.0, "task": f"T{task:03d}", "percent": percent})
            n += 1
        rows[-1]["done"] = sessions == 30
    kinds = ["tail", "wing", "hull", "floats", "engine", "cabin"]
    plan = Plan(
        tasks=tuple(
            replace(t, stage=kind, type=kind)
            for t, kind in zip(plan_of(6, planned_hours=150.0).tasks, kinds, strict=True)
        )
    )
    left = work(fit(plan, rows)).hours.sum(axis=1)
    assert 0.8 < np.median(left) / (75 + 150 + 150) < 1.3


def test_residuals_of_a_narrow_type_stay_within_three_spreads_of_a_wide_one():
    # In units of their narrow spread the exceptions of type 0 are enormous; type 1 has no rows of its own.
    seen = np.where(np.arange(200) % 10 == 0, 20.0, -0.5)
    posterior = SimpleNamespace(tail=np.full(50, 4.0), residual=np.tile(seen, (50, 1)))
    index, rng = np.arange(2000) % 50, np.random.default_rng(0)
    residual = _residuals(posterior, index, np.array([0, 1, 1]), np.zeros(200, dtype=int), rng)
    assert np.abs(residual[:, 1:]).max() <= 3.0
    assert residual[:, 0].max() > 15.0
