"""Hours by week, silences and days of the week, counted by hand."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from forecast.files.logbook import Builder
from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import BenchTime
from forecast.learn.progress import read_progress
from forecast.questions.bench_hours import bench_hours
from forecast.simulate.settings import Settings
from tests.conftest import sessions_frame

BUILDERS = (Builder(id="A"), Builder(id="B"))


def record_of(rows, as_of):
    plan = Plan(tasks=(Task(task="T", stage="tail", title="T"),))
    progress = read_progress(plan, sessions_frame(rows), as_of)
    bench = BenchTime().fit(progress, BUILDERS)
    return bench_hours(SimpleNamespace(bench=bench, as_of=as_of), Settings(runs=400))


@pytest.fixture(scope="module")
def record():
    """Mondays of March 2026 of two hours, then silence from the 17th to the 5th of April."""
    rows = [
        {"date": "2026-03-02", "hours": 2, "task": "T"},
        {"date": "2026-03-09", "hours": 2, "task": "T", "builders": "A+B"},
        {"date": "2026-03-14", "hours": 1, "task": "T"},
        {"date": "2026-03-16", "hours": 2, "task": "T"},
        {"date": "2026-04-06", "hours": 4, "task": "T"},
    ]
    return record_of(rows, date(2026, 4, 8))


def test_weeks_begin_on_monday_and_two_at_once_count_their_clock_hours_once(record):
    assert record.weeks["monday"].dt.day.to_list() == [2, 9, 16, 23, 30, 6]
    assert record.weeks["hours"].to_list() == [2.0, 3.0, 2.0, 0.0, 0.0, 4.0]


def test_a_silence_is_the_days_between_two_sessions(record):
    assert record.silences["days"].to_list() == [20]
    assert (record.silences["start"][0].date(), record.silences["end"][0].date()) == (
        date(2026, 3, 17),
        date(2026, 4, 5),
    )


def test_days_of_the_week_are_shares_of_the_days_there_were(record):
    days = record.days.set_index("name")
    assert days.loc["Monday", "worked_share"] == pytest.approx(4 / 6)
    assert days.loc["Monday", "hours"] == pytest.approx(10 / 4)
    assert days.loc["Saturday", "worked_share"] == pytest.approx(1 / 5)
    assert days.loc["Friday", "worked_share"] == 0


def test_a_silence_that_still_lasts_is_one(record):
    assert record.silent_days == 0
    longer = record_of([{"date": "2026-03-02", "hours": 2, "task": "T"}], date(2026, 3, 31))
    assert longer.silent_days == 29


def test_past_totals_are_sums_of_whole_spans_and_nan_where_the_log_is_shorter(record):
    last = record.totals.set_index("weeks")["last"]
    assert last[4] == pytest.approx(1 + 2 + 4)
    assert np.isnan(last[13])


def test_the_coming_weeks_are_in_order_and_begin_after_the_day(record):
    assert record.coming["week_from"].iloc[0].date() == date(2026, 4, 9)
    assert len(record.coming) == 26
    quantiles = record.totals.filter(regex=r"^p\d\d$").to_numpy()
    assert (np.diff(quantiles, axis=1) >= 0).all()


def test_nothing_logged_has_no_silence_and_no_past():
    record = record_of([], date(2026, 4, 8))
    assert record.silences.empty
    assert record.weeks["hours"].sum() == 0
    assert record.silent_days == 0
