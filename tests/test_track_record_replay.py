"""Past forecasts use nothing that came later, and do not depend on how they are computed."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.errors import UsageError
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Plan
from forecast.questions.track_record import TASKS, WINDOW, build_known_on, past_days, replay_day, track_record
from forecast.simulate.finish import forecast_finish, simulate_build
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from tests.conftest import sessions_frame
from tests.record_build import LAST, progress_of, record_build, rows

DAY = date(2025, 6, 30)
SETTINGS = Settings(runs=60, horizon_years=4)
LATER = [r for r in rows() if r["date"] > str(DAY)]
QUANTILES = {"p05", "p10", "p25", "p50", "p75", "p80", "p90", "p95"}
UNTIL_THEN = [r for r in rows() if r["date"] <= str(DAY)]


def _said(build):
    """Everything that a past forecast says, without what happened."""
    replay = replay_day(build_known_on(build, DAY), DAY, SETTINGS)
    finishes = [
        (f.target, f.days.tolist(), f.average_pace_days, f.earned_schedule_days) for f in replay.finishes
    ]
    return finishes, [(h.target, h.tasks, h.hours.tolist(), h.naive_hours) for h in replay.hours]


def _changed(kind):
    """The build with everything of one kind that is dated after DAY changed."""
    build = record_build()
    if kind == "log rows":
        return record_build(
            [*UNTIL_THEN, {"date": "2025-07-01", "hours": 20, "builders": "A+C", "task": "T12"}]
        )
    if kind == "done":
        return record_build([*UNTIL_THEN, *({**r, "done": True} for r in LATER)])
    if kind == "a row that ends later":
        row = {"date": "2025-06-29", "until": "2025-07-01", "hours": 20, "task": "T08", "rework": True}
        return record_build([*rows(), row])
    if kind == "added":
        more = tuple(
            replace(t, task=f"X{n}", added=date(2025, 7, n), after=("T12",), planned_hours=400.0)
            for n, t in enumerate(build.plan.tasks[:5], start=2)
        )
        return record_build(plan=Plan(tasks=(*more, *build.plan.tasks)))
    if kind == "arrived":
        return replace(build, deliveries=(replace(build.deliveries[0], arrived=date(2025, 7, 1)),))
    if kind == "away":
        return replace(build, away=(Away(builder=None, start=date(2025, 7, 1), end=date(2026, 7, 1)),))
    return replace(
        build, builders=(*build.builders, Builder(id="B", joins=date(2025, 7, 1), weekly_hours=30.0))
    )


@pytest.fixture(scope="module")
def said():
    return _said(record_build())


@pytest.mark.parametrize(
    "kind", ["log rows", "done", "a row that ends later", "added", "arrived", "away", "joins"]
)
def test_nothing_that_came_later_changes_what_would_have_been_said(said, kind):
    assert _said(_changed(kind)) == said


def test_an_order_that_was_placed_later_was_not_placed_yet(said):
    deliveries = record_build().deliveries
    later = replace(record_build(), deliveries=(replace(deliveries[0], ordered=date(2025, 7, 2)),))
    never = replace(record_build(), deliveries=(replace(deliveries[0], ordered=None, arrived=None),))
    assert _said(later) == _said(never) != said


def test_what_was_known_on_the_day_does_change_what_would_have_been_said(said):
    assert _said(record_build([*rows(), {"date": str(DAY), "hours": 1, "task": "T07"}])) != said


@pytest.mark.parametrize("kind", ["log rows", "done", "a row that ends later", "added", "arrived"])
def test_the_forecast_of_a_past_day_leaves_out_by_itself_what_came_later(kind):
    def dates(build):
        return forecast_finish(replace(build, away=()), DAY, SETTINGS).finish_days.tolist()

    assert dates(_changed(kind)) == dates(build_known_on(record_build(), DAY))


def test_the_record_says_what_the_forecast_of_that_day_says():
    build = replace(record_build(), away=())
    outlook = forecast_finish(build, DAY, SETTINGS)
    replay = replay_day(build_known_on(build, DAY), DAY, SETTINGS)
    assert replay.finishes[0].target == "wing"
    np.testing.assert_array_equal(replay.finishes[0].days, np.ceil(outlook.days("wing")))
    np.testing.assert_array_equal(replay.finishes[-1].days, np.ceil(outlook.days(None)))


@pytest.mark.parametrize("first", [90, SETTINGS.horizon_days])
def test_the_horizon_that_is_tried_first_changes_no_run(first):
    fitted = fit_build(record_build(), DAY, SETTINGS)
    usual, other = (
        simulate_build(fitted, SETTINGS),
        simulate_build(fitted, SETTINGS, first_horizon_days=first),
    )
    np.testing.assert_array_equal(usual.finish_days, other.finish_days)
    np.testing.assert_array_equal(usual.burn_hours_done, other.burn_hours_done)


@pytest.fixture(scope="module")
def record():
    return track_record(record_build(), LAST, SETTINGS, workers=1)


def test_the_answer_does_not_depend_on_the_number_of_workers(record):
    two = track_record(record_build(), LAST, SETTINGS, days=record.days[:6], workers=2)
    pd.testing.assert_frame_equal(two.finishes, record.finishes.head(len(two.finishes)), check_exact=True)
    pd.testing.assert_frame_equal(two.hours, record.hours.head(len(two.hours)), check_exact=True)


def test_the_order_of_the_rows_does_not_matter(record):
    mixed = record_build(plan=record_build().plan, sessions=sessions_frame(rows()[::-1]))
    days = record.days[:2]
    again = track_record(mixed, LAST, SETTINGS, days=days)
    pd.testing.assert_frame_equal(again.finishes, record.finishes.head(len(again.finishes)))


def test_every_past_day_forecasts_each_open_stage_and_the_build(record):
    targets = record.finishes.groupby("as_of")["target"].agg(list)
    assert record.days == past_days(progress_of(record_build()))
    for day, names in targets.items():
        open_then = ["tail", "wing"] if day < pd.Timestamp(2025, 6, 14) else ["wing"]
        assert names == [*open_then, "build"]
    assert record.targets == ("tail", "wing", "build")


def test_hours_at_the_bench_and_of_the_next_tasks_are_forecast_on_every_past_day(record):
    for target in (WINDOW, TASKS):
        assert len(record.hours.loc[record.hours["target"] == target]) == len(record.days)


def test_the_window_of_the_last_days_ends_today(record):
    last = record.hours.loc[record.hours["target"] == WINDOW].iloc[-1]
    assert last["days"] == (pd.Timestamp(LAST) - last["as_of"]).days < 91


def test_the_hours_of_the_next_tasks_are_those_of_tasks_that_were_open(record):
    tasks = record.hours.loc[record.hours["target"] == TASKS]
    assert tasks.iloc[0]["tasks"] == 10  # of twelve, two were done by the end of February
    assert not tasks["settled"].any()


def test_the_json_has_the_keys_of_the_contract(record):
    answer = record.to_dict()
    assert set(answer) >= {"forecasts", "coverage", "crps_days", "burn_rate_crps_days"}
    assert set(answer["coverage"]) == {"50", "80", "90"}
    keys = {"as_of", "target", "finish", "actual", "crps_days", "burn_rate_error_days"}
    assert all(set(f) == keys for f in answer["forecasts"])
    assert set(answer["forecasts"][0]["finish"]) == {
        f"p{q}" for q in ["05", "10", "25", "50", "75", "80", "90", "95"]
    }
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_actual_dates_and_the_error_of_the_average_pace_are_given_once_a_stage_is_finished(record):
    for said in record.to_dict()["forecasts"]:
        finished = said["target"] == "tail"
        assert (said["actual"] == "2025-06-14") is finished
        assert (said["burn_rate_error_days"] is not None) is finished


def test_past_days_lie_before_today():
    with pytest.raises(UsageError, match="must lie before 2025-09-27"):
        track_record(record_build(), LAST, SETTINGS, days=[LAST])


def test_a_day_on_which_all_that_was_planned_was_done_has_nothing_to_forecast():
    plan = Plan(tasks=record_build().plan.tasks[:2])
    build = record_build([r for r in rows() if r["task"] in ("T01", "T02")], plan=plan)
    replay = replay_day(build_known_on(build, DAY), DAY, SETTINGS)
    assert (replay.finishes, replay.hours, replay.finished_tasks) == ((), (), 2)


def test_progress_is_told_after_each_past_day():
    seen = []
    days = [date(2025, 2, 28), date(2025, 3, 31)]
    track_record(record_build(), LAST, SETTINGS, days=days, on_progress=lambda *a: seen.append(a))
    assert seen == [(1, 2), (2, 2)]
