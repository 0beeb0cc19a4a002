"""The record by pencil: which days, what happened, what held, and how it is said."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from forecast.files.logbook import Builder
from forecast.files.plan import Plan
from forecast.quantiles import QUANTILES, quantile_key
from forecast.questions.track_record import (
    TASKS,
    WINDOW,
    Judged,
    MedianError,
    Outcomes,
    Replay,
    announced_beside_outcomes,
    announced_sentences,
    build_known_on,
    early_or_late,
    earned_schedule,
    past_days,
    record_sentences,
    score_replays,
)
from forecast.questions.track_record.naive import naive_ways
from forecast.questions.track_record.past_days import left_out_notes
from forecast.questions.track_record.replay import FinishForecast, HoursForecast
from forecast.simulate.settings import Settings
from tests.record_build import LAST, progress_of, record_build, rows

DAY = date(2025, 6, 30)
KEYS = [quantile_key(q) for q in QUANTILES]


# Which days


def test_month_ends_begin_with_eight_weeks_of_log_and_stop_before_today():
    days = past_days(progress_of(record_build(), date(2025, 6, 10)))
    assert [str(d) for d in days] == ["2025-02-28", "2025-03-31", "2025-04-30", "2025-05-31"]


def test_six_finished_tasks_are_enough_before_eight_weeks_have_passed():
    log = [
        {"date": f"2025-01-{d:02d}", "hours": 1, "task": f"T{d - 4:02d}", "done": True} for d in range(5, 12)
    ]
    build = record_build([*log, {"date": "2025-03-10", "hours": 1, "task": "T08"}])
    assert date(2025, 1, 31) in past_days(progress_of(build, date(2025, 3, 10)))
    fewer = record_build([*log[:5], {"date": "2025-02-10", "hours": 1, "task": "T08"}])
    assert past_days(progress_of(fewer, date(2025, 2, 10))) == ()


def test_a_finished_stage_adds_the_days_on_which_it_had_a_quarter_a_half_and_three_quarters_of_its_hours():
    days = set(past_days(progress_of(record_build())))
    tail = [date(2025, 1, 4) + timedelta(weeks=w) for w in (5, 11, 17)]  # 24 sessions of 2 hours
    assert days >= set(tail[1:])
    assert tail[0] not in days  # five weeks of log and one finished task are too little


def test_a_finished_build_has_no_past_day_from_its_last_session_on():
    plan = Plan(tasks=record_build().plan.tasks[:9])
    days = past_days(progress_of(record_build(rows()[:36], plan=plan), date(2026, 3, 31)))
    assert max(days) < date(2025, 9, 6)


def test_a_log_without_sessions_has_no_past_days():
    assert past_days(progress_of(record_build([]))) == ()


# What was known then


def test_nothing_dated_later_is_left_in_the_build_of_a_past_day():
    build = record_build(builders=(Builder(id="A"), Builder(id="B", joins=date(2025, 7, 5))))
    then = build_known_on(build, DAY)
    assert then.sessions["until"].max() <= pd.Timestamp(DAY)
    assert "X1" not in then.plan.by_id
    assert [b.id for b in then.builders] == ["A"]
    assert then.deliveries[0].arrived is None
    assert then.deliveries[0].ordered == date(2025, 5, 20)
    assert build_known_on(build, date(2025, 5, 1)).deliveries[0].ordered is None
    assert then.away == ()


def test_an_absence_that_has_begun_is_known_to_its_end():
    assert build_known_on(record_build(), date(2025, 8, 5)).away == record_build().away


def test_what_was_left_out_for_want_of_a_date_is_reported():
    build = record_build(builders=(Builder(id="A"), Builder(id="B", joins=date(2025, 7, 5))))
    joins, away = left_out_notes(build, [DAY])
    assert joins == (
        "Forecasts from days before B joins are made without B: the folder does not say since when that was "
        "planned."
    )
    assert away.startswith("1 row of away.csv is left out")
    assert left_out_notes(build, [date(2025, 8, 31)]) == ()


# What happened


@pytest.fixture(scope="module")
def outcomes() -> Outcomes:
    return Outcomes(progress=progress_of(record_build()))


def test_a_stage_is_finished_on_the_day_of_its_last_task_and_the_build_is_open(outcomes):
    assert outcomes.finished_on("tail") == date(2025, 6, 14)
    assert outcomes.finished_on("wing") is None
    assert outcomes.finished_on("build") is None


def test_the_hours_of_a_window_take_their_share_of_a_row_over_several_days():
    log = [
        {"date": "2025-01-04", "hours": 2, "task": "T01"},
        {"date": "2025-01-09", "until": "2025-01-12", "hours": 8, "task": "T01", "builders": "A+B"},
    ]
    seen = Outcomes(progress=progress_of(record_build(log)))
    assert seen.hours_within(date(2025, 1, 5), 5) == pytest.approx(8.0)  # two of its four days
    assert seen.hours_within(date(2025, 1, 10), 30) == pytest.approx(8.0)
    assert seen.hours_within(date(2025, 1, 3), 1) == pytest.approx(2.0)


def test_the_hours_of_tasks_count_from_the_day_after_and_are_settled_when_all_are_done(outcomes):
    assert outcomes.task_hours_after(date(2025, 1, 11), ["T01", "T02"]) == (12.0, True)
    assert outcomes.task_hours_after(DAY, ["T10", "T11"]) == (6.0, False)


# Scores


def _replay(days, *, target="tail", naive=100.0, hours=()):
    said = FinishForecast(
        target=target,
        next_stage=True,
        days=np.array(days, dtype=float),
        average_pace_days=naive,
        earned_schedule_days=np.inf,
    )
    return Replay(as_of=date(2025, 4, 30), finished_tasks=4, finishes=(said,), hours=tuple(hours))


def _score(replays, build=None, as_of=LAST):
    progress = progress_of(build or record_build(), as_of)
    seen = Outcomes(progress=progress)
    nothing = pd.DataFrame(columns=["announced", "as_of", "target", *KEYS]).astype(
        dict.fromkeys(("announced", "as_of", *KEYS), "datetime64[us]") | {"target": "str"}
    )
    return score_replays(replays, seen, Settings(runs=1), announced_beside_outcomes(nothing, seen))


def test_a_date_said_to_the_day_scores_its_error_in_days():
    row = _score([_replay([55])]).finishes.iloc[0]  # tail: 45 days after
    assert row["actual"] == pd.Timestamp(2025, 6, 14)
    assert row["crps_days"] == 10.0
    assert row["average_pace_crps_days"] == 55.0


def test_an_open_target_is_scored_for_the_days_on_which_it_was_said_to_be_finished():
    record = _score([_replay([140, np.inf], target="wing")])  # 150 days are known
    row = record.finishes.iloc[0]
    assert row["crps_days"] == pytest.approx(10 * 0.5**2)
    assert pd.isna(row["actual"])
    assert record.to_dict()["forecasts"][0]["burn_rate_error_days"] is None


def test_in_a_build_under_way_a_late_date_costs_only_the_days_up_to_today():
    assert _score([_replay([400])]).finishes.iloc[0]["crps_days"] == 150 - 45


def test_in_a_finished_build_a_late_date_costs_all_of_its_days():
    build = record_build(rows()[:36], plan=Plan(tasks=record_build().plan.tasks[:9]))
    assert _score([_replay([400])], build).finishes.iloc[0]["crps_days"] == 400 - 45


def test_a_way_that_never_ends_is_past_the_horizon_and_still_scored():
    row = _score([_replay([45])]).finishes.iloc[0]
    assert pd.isna(row["earned_schedule"])
    assert row["earned_schedule_crps_days"] == 150 - 45


def test_hours_that_are_not_settled_are_scored_up_to_the_hours_so_far():
    forecast = HoursForecast(
        target=TASKS, days=0, tasks=("T09", "T10"), hours=np.array([2.0, 99.0]), naive_hours=99.0
    )
    row = _score([_replay([45], hours=[forecast])]).hours.iloc[0]
    assert row["actual"] == 14.0
    assert not row["settled"]
    assert row["crps_hours"] == pytest.approx(12 * 0.5**2)
    assert row["naive_crps_hours"] == 0.0


def test_scores_of_the_ways_are_compared_only_where_all_of_them_have_an_answer():
    record = _score([_replay([55]), _replay([45], naive=np.nan)])
    assert record.crps_days() == 10.0
    assert record.crps_days("average_pace") == 55.0


# Verdicts


def _judged(p50, p80, outcome, known_until):
    frame = pd.DataFrame({k: np.asarray(p50, dtype=float) for k in KEYS})
    frame["p80"] = frame["p90"] = frame["p95"] = np.asarray(p80, dtype=float)
    frame["p05"] = frame["p10"] = 0.0
    return Judged(
        quantiles=frame,
        outcome=np.asarray(outcome, dtype=float),
        known_until=np.asarray(known_until, dtype=float),
    )


def test_an_open_target_whose_range_has_run_out_has_failed_and_one_whose_range_still_runs_is_undecided():
    judged = _judged([10, 10, 10], [20, 20, 20], [15, np.inf, np.inf], [30, 30, 12])
    counted = judged.coverage(0.80)
    assert (counted.inside, counted.trials, judged.undecided(0.80)) == (1, 2, 1)


def test_the_80_percent_dates_hold_for_whatever_is_finished_by_then():
    held = _judged([10, 10, 10, 10], [20] * 4, [5, 20, 21, np.inf], [30, 30, 30, 19]).held
    assert (held.held, held.known, held.open) == (2, 3, 1)


def test_the_band_of_coverage_is_that_of_clopper_and_pearson():
    counted = _judged([10] * 10, [20] * 10, [15] * 8 + [25] * 2, [30] * 10).coverage(0.80)
    assert (counted.low, counted.high) == pytest.approx((0.4439, 0.9748), abs=1e-4)  # published for 8 of 10


def test_the_middle_error_is_early_below_zero():
    middle = _judged([10, 10, 10], [20] * 3, [15, 22, 40], [50] * 3).middle
    assert middle == MedianError(error=-12.0, or_lower=False)


def test_an_open_target_whose_even_odds_date_has_passed_is_at_least_that_early():
    middle = _judged([10, 10], [20, 20], [12, np.inf], [40, 40]).middle
    assert middle == MedianError(error=-30.0, or_lower=True)


def test_a_stage_that_left_the_plan_is_never_judged():
    judged = _judged([10], [20], [np.inf], [np.nan])
    assert judged.held.open == 1
    assert judged.undecided(0.90) == 1


# Naive ways: four of twelve tasks done in 16 of the 17 weeks


def test_average_pace_is_hours_left_over_hours_a_day():
    naive = naive_ways(progress_of(record_build(), date(2025, 4, 30)))
    assert naive.ratio == pytest.approx(8 / 5)
    # T05 has had 2 of 8 hours, T06 is untouched; 34 hours in 117 days
    assert naive.hours_left[4:6] == pytest.approx([6, 8])
    assert naive.average_pace_days("tail") == np.ceil(14 * 117 / 34)


def test_a_later_stage_waits_for_the_stages_before_it():
    naive = naive_ways(progress_of(record_build(), date(2025, 4, 30)))
    assert naive.average_pace_days("wing") == naive.average_pace_days(None) == np.ceil(62 * 117 / 34)


def test_a_window_takes_no_more_hours_than_are_left():
    naive = naive_ways(progress_of(record_build(), date(2025, 4, 30)))
    assert naive.hours_ahead(91) == pytest.approx(34 / 117 * 91)
    assert naive.hours_ahead(10_000) == pytest.approx(62)


def test_earned_schedule_follows_the_stated_hours_of_the_builders():
    build = build_known_on(record_build(), date(2025, 4, 30))
    naive = naive_ways(progress_of(build, date(2025, 4, 30)))
    # 20 of 60 planned hours earned; at 3 hours a week that is day 46.67 of 140, after 117 days
    assert naive.earned_schedule_days(None, build) == np.ceil(140 / ((20 / 3 * 7) / 117) - 117)
    assert naive.earned_schedule_days("tail", build) == np.ceil(70 / ((20 / 3 * 7) / 117) - 117)


def test_time_away_shifts_the_planned_curve_of_earned_schedule():
    from forecast.files.logbook import Away

    build = record_build(away=(Away(builder=None, start=date(2025, 1, 4), end=date(2025, 1, 31)),))
    build = build_known_on(build, date(2025, 4, 30))
    naive = naive_ways(progress_of(build, date(2025, 4, 30)))
    assert naive.earned_schedule_days(None, build) == np.ceil(168 / ((28 + 20 / 3 * 7) / 117) - 117)


def test_without_planned_hours_a_task_counts_as_the_mean_of_the_finished_ones():
    from dataclasses import replace

    plan = Plan(tasks=tuple(replace(t, planned_hours=None) for t in record_build().plan.tasks))
    naive = naive_ways(progress_of(record_build(plan=plan), date(2025, 4, 30)))
    assert naive.planned == pytest.approx(np.full(12, 8.0))
    assert naive.ratio == 1.0


def test_with_neither_plan_nor_finished_task_there_is_no_naive_answer():
    from dataclasses import replace

    plan = Plan(tasks=tuple(replace(t, planned_hours=None) for t in record_build().plan.tasks))
    build = record_build(rows()[:2], plan=plan)
    naive = naive_ways(progress_of(build, date(2025, 4, 30)))
    assert np.isnan(naive.average_pace_days(None))
    assert np.isnan(naive.earned_schedule_days(None, build))


@pytest.mark.parametrize("curve", [[0, 2, 1], [1, 2], [0, 0], [0]])
def test_a_planned_curve_that_is_none_is_refused(curve):
    with pytest.raises(ValueError, match="planned_value"):
        earned_schedule(curve, earned=1, actual_time=1)


# Words


def test_the_record_of_the_dates_in_one_sentence():
    record = _score([_replay([55, 60]), _replay([30, 35]), _replay([160, 900], target="wing")])
    assert record_sentences(record)[0] == (
        "Of 2 forecasts whose outcome is known, the 80 % dates held in 1; the median even-odds date was "
        "15 days too early. 1 more cannot be judged yet."
    )


def test_dependence_is_explained_and_no_p_value_given():
    last = record_sentences(_score([_replay([55]), _replay([50])]))[-1]
    assert "right or wrong together: 2 of them are less evidence than 2 builds" in last
    assert "No p-value is given" in last


def test_a_build_that_is_too_young_says_so():
    record = _score([])
    assert record_sentences(record)[0].startswith("Too early for a record")
    assert record.to_dict()["coverage"] == {"50": None, "80": None, "90": None}


@pytest.mark.parametrize(
    ("middle", "words"),
    [
        (MedianError(error=0.0, or_lower=False), "on the day"),
        (MedianError(error=-1.0, or_lower=False), "1 day too early"),
        (MedianError(error=400.0, or_lower=True), "at most 400 days too late"),
        (MedianError(error=np.inf, or_lower=False), "past the horizon"),
    ],
)
def test_early_and_late_in_words(middle, words):
    assert early_or_late(middle) == words


# Announced dates


def _announced(rows_of_file):
    days = ["announced", "as_of", *KEYS]
    full = []
    for announced, target, even, sure in rows_of_file:
        row = dict.fromkeys(KEYS, even) | {"p80": sure, "p90": sure, "p95": sure}
        full.append({"announced": announced, "as_of": announced, "target": target, **row})
    frame = pd.DataFrame(full)
    for c in days:
        frame[c] = pd.to_datetime(frame[c]).astype("datetime64[us]")
    return announced_beside_outcomes(
        frame.astype({"target": "str"}), Outcomes(progress=progress_of(record_build()))
    )


def test_announced_dates_are_counted_from_their_announcement():
    announced = _announced([("2025-04-30", "tail", "2025-06-01", "2025-06-20")])
    assert announced.judged.held.held == 1
    assert announced.judged.middle.error == -13.0


def test_of_several_announcements_of_one_day_the_last_one_counts():
    announced = _announced(
        [("2025-04-30", "tail", "2025-05-01", None), ("2025-04-30", "tail", "2025-06-14", None)]
    )
    assert announced.judged.middle.error == 0.0


def test_announcements_after_the_last_day_that_counts_are_ignored():
    assert _announced([("2025-12-30", "tail", "2026-06-01", "2026-06-20")]).rows.empty


def test_a_date_announced_for_a_stage_that_left_the_plan_is_named():
    record = _score([_replay([55])])
    announced = _announced([("2025-04-30", "floats", "2025-05-01", "2025-05-20")])
    assert announced.judged.held.known == 0
    assert announced.no_longer_planned == ("floats",)
    from dataclasses import replace

    assert (
        announced_sentences(replace(record, announced=announced))[-1]
        == "Dates were announced for floats, which the plan no longer has."
    )


def test_the_window_of_thirteen_weeks_is_always_settled():
    forecast = HoursForecast(target=WINDOW, days=91, tasks=(), hours=np.array([20.0]), naive_hours=30.0)
    row = _score([_replay([45], hours=[forecast])]).hours.iloc[0]
    assert row["settled"]
    assert (row["actual"], row["crps_hours"], row["naive_crps_hours"]) == (26.0, 6.0, 4.0)
