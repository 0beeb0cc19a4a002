"""Days of a worked week, who comes, and which stage the session goes to."""

from datetime import date, timedelta

import numpy as np
import pytest

from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Plan, Task
from forecast.learn.bench_time import BenchTime, Newcomer
from forecast.learn.bench_time.habit import Habit
from forecast.learn.bench_time.people import draw_newcomer
from forecast.learn.bench_time.stage_rank import fit_stage_ranks, sample_ranks, stage_ranks
from forecast.learn.progress import read_progress
from tests.bench_time_parts import calendar, played, steady, usual
from tests.conftest import sessions_frame
from tests.test_bench_time import MONDAY, SUNDAY_60, SUNDAYS, A, B, draw, fitted, weekly_rows

WEEKENDER = Habit(
    worked=np.array([0.01, 0.01, 0.01, 0.01, 0.01, 60.0, 60.0]),
    idle=np.array([60.0, 60.0, 60.0, 60.0, 60.0, 20.0, 20.0]),
    stretch=1.0,
    stretch_sd=0.1,
    usual_log_hours=float(np.log(6)),
    length=np.ones(7),
    longest_day=12.0,
    observed=80,
)


def placed(week_hours, free=None, habit=WEEKENDER, draws=500):
    """(run, 7) hours of a week with so many."""
    days = habit.sample(draws, np.random.default_rng(0))
    drawn = steady(draws, mean=np.full(draws, np.log(week_hours)), **days)
    same = usual(hours=np.exp(habit.usual_log_hours), length=habit.length, longest_day=habit.longest_day)
    return played(drawn, calendar(1, free), same)[0]


def test_the_hours_of_a_week_are_kept_when_they_fall_on_days():
    assert placed(7.0).sum(axis=1) == pytest.approx(7.0, rel=1e-5)


def test_a_silent_week_has_no_hours():
    silent = steady(50, stop=np.full(50, 50.0), resume=np.full(50, -50.0))
    assert played(silent, calendar(3))[0].sum() == 0


def test_a_worked_week_has_a_session_whatever_chance_says():
    assert (placed(0.5) > 0).any(axis=1).all()


def test_a_fuller_week_spreads_over_more_days():
    days = [(placed(h) > 0).sum(axis=1).mean() for h in (2.0, 6.0, 16.0)]
    assert days == sorted(days)


def test_a_weekend_habit_stays_on_the_weekend():
    hours = placed(8.0)
    assert hours[:, 5:].sum() > 0.99 * hours.sum()


def test_nothing_falls_on_a_day_away():
    free = np.array([[True, True, True, True, True, False, True]])
    assert placed(8.0, free)[:, 5].sum() == 0


def test_days_are_at_most_the_longest_day():
    assert placed(60.0).max() <= 12.0


def both_rows(weeks, together):
    """Saturdays, `together` of every ten with both."""
    return [
        {"date": MONDAY + timedelta(days=7 * w + 5), "hours": 4.0, "task": "T",
         "builders": "A+B" if w % 10 < together else "A"}
        for w in range(weeks)
    ]  # fmt: skip


def test_a_pair_comes_together_as_often_as_the_log_says():
    hours = draw(fitted(both_rows(60, 7), SUNDAY_60, builders=(A, B)), draws=1000).hours
    here = hours > 0
    assert here[:, :, 1].sum() / here[:, :, 0].sum() == pytest.approx(0.7, abs=0.07)


def test_a_pair_leaves_at_the_same_time():
    hours = draw(fitted(both_rows(60, 10), SUNDAY_60, builders=(A, B))).hours
    both = (hours > 0).all(axis=2)
    assert np.mean(hours[both][:, 0] == hours[both][:, 1]) > 0.99


def test_weekly_hours_of_a_pair_go_together():
    # Measured on a log of a pair: both on .90 of the days, weekly hours correlated by .93.
    hours = draw(fitted(both_rows(60, 9), SUNDAY_60, builders=(A, B))).hours
    weekly = hours.reshape(400, 52, 7, 2).sum(axis=2).reshape(-1, 2)
    assert np.corrcoef(weekly.T)[0, 1] > 0.75


def test_who_comes_half_as_long_has_half_the_hours():
    rows = weekly_rows(range(60), [5], hours=2.0, builders="A+B") + weekly_rows(range(60), [5], hours=2.0)
    hours = draw(fitted(rows, SUNDAY_60, builders=(A, B))).hours.sum(axis=(0, 1))
    assert hours[1] / hours[0] == pytest.approx(0.5, abs=0.07)


def test_one_who_stopped_coming_a_year_ago_is_hardly_expected():
    rows = weekly_rows(range(20), [5], builders="A+B") + weekly_rows(range(20, 100), [5])
    hours = draw(fitted(rows, MONDAY + timedelta(days=699), builders=(A, B))).hours.sum(axis=(0, 1))
    assert hours[1] < 0.25 * hours[0]


def test_the_household_is_silent_while_all_its_main_people_are_away():
    away = [Away(builder="A", start=SUNDAY_60, end=SUNDAY_60 + timedelta(days=400))]
    model = fitted(both_rows(60, 3), SUNDAY_60, builders=(A, B), away=away)
    assert draw(model).hours.sum() == 0


def test_one_of_a_pair_goes_on_while_the_other_is_away():
    away = [Away(builder="A", start=SUNDAY_60, end=SUNDAY_60 + timedelta(days=400))]
    model = fitted(both_rows(60, 10), SUNDAY_60, builders=(A, B), away=away)
    hours = draw(model).hours.sum(axis=(0, 1))
    assert hours[0] == 0
    assert hours[1] > 0


def test_leaving_somebody_out_keeps_the_hours_of_the_others():
    drawn = draw(fitted(both_rows(60, 7), SUNDAY_60, builders=(A, B)))
    alone = drawn.without("B")
    assert alone.people == ("A",)
    assert alone.hours.tobytes() == np.ascontiguousarray(drawn.hours[:, :, :1]).tobytes()


def test_leaving_out_somebody_unknown_is_refused():
    with pytest.raises(ValueError, match="must be among"):
        draw(fitted(SUNDAYS, SUNDAY_60)).without("Z")


@pytest.mark.parametrize("weekly_hours", [1.0, 3.0, 6.0])
def test_who_joins_has_the_hours_that_were_said(weekly_hours):
    household = np.zeros((2000, 364), dtype=np.float32)
    household[:, 6::7] = 3.0
    said = np.full(2000, weekly_hours)
    hours = draw_newcomer(household, said, 3.0, np.tile(np.arange(7), 52), np.random.default_rng(0))
    assert hours.sum(axis=1).mean() / 52 == pytest.approx(weekly_hours, rel=0.1)


def test_more_hours_said_never_mean_fewer_on_any_day():
    model = fitted(SUNDAYS, SUNDAY_60)
    little, much = (draw(model, joining=[Newcomer(id="B", weekly_hours=h)]).hours for h in (2.0, 9.0))
    assert (much[:, :, 1] >= little[:, :, 1]).all()


def test_what_somebody_would_do_does_not_depend_on_who_else_joins():
    model = fitted(SUNDAYS, SUNDAY_60)
    b, c = Newcomer(id="B", weekly_hours=2), Newcomer(id="C", weekly_hours=4, only_two=True)
    both, alone = draw(model, joining=[b, c]), draw(model, joining=[c])
    assert both.hours[:, :, 2].tobytes() == alone.hours[:, :, 1].tobytes()
    assert both.only_two.tolist() == [False, False, True]


def test_somebody_with_a_log_cannot_join():
    with pytest.raises(ValueError, match="A must not join"):
        draw(fitted(SUNDAYS, SUNDAY_60), joining=[Newcomer(id="A", weekly_hours=2)])


def test_nobody_joins_twice():
    twice = [Newcomer(id="B", weekly_hours=2), Newcomer(id="B", weekly_hours=3)]
    with pytest.raises(ValueError, match="named once"):
        draw(fitted(SUNDAYS, SUNDAY_60), joining=twice)


def test_a_second_builder_who_said_nothing_is_taken_to_come_to_most_sessions():
    later = Builder(id="B", joins=SUNDAY_60 + timedelta(days=1))
    model = fitted(SUNDAYS, SUNDAY_60, builders=(A, later))
    hours = draw(model).hours.sum(axis=(0, 1))
    assert 0.7 < hours[1] / hours[0] < 1.2
    assert any("assumed from the others' hours" in note for note in model.notes_)


def test_stated_hours_fade_with_weeks_that_went_by_without_a_session():
    silent_partner = Builder(id="B", weekly_hours=5)
    model = fitted(SUNDAYS, SUNDAY_60, builders=(A, silent_partner))
    assert model.newcomers_["B"].weekly_hours == pytest.approx(5 * 6 / 66, rel=0.02)


NEEDS_TWO = Plan(
    tasks=(Task(task="T", stage="S", title="T"), Task(task="R", stage="S", title="R", crew="two"))
)


def test_visitors_come_as_often_as_the_log_says():
    rows = [r | {"helpers": 1 if i % 4 == 0 else 0} for i, r in enumerate(SUNDAYS)]
    drawn = draw(fitted(rows, SUNDAY_60))
    assert drawn.people == ("A", "helper")
    here = drawn.hours > 0
    assert here[:, :, 1].sum() / here[:, :, 0].sum() == pytest.approx(0.25, abs=0.07)


def test_a_visitor_is_assumed_when_open_tasks_need_two_and_said_to_be():
    model = fitted(SUNDAYS, SUNDAY_60, plan=NEEDS_TWO)
    assert draw(model).people == ("A", "helper")
    assert model.basis_["helper"] == "prior"
    assert any("a helper is assumed" in note for note in model.notes_)


def test_no_visitor_is_assumed_where_nothing_needs_two():
    assert draw(fitted(SUNDAYS, SUNDAY_60)).people == ("A",)


TAIL_THEN_WING = Plan(
    tasks=(
        Task(task="T1", stage="tail", title="T1", hold_days=20),
        Task(task="T2", stage="tail", title="T2", after=("T1",)),
        Task(task="W1", stage="wing", title="W1"),
        Task(task="F1", stage="fuselage", title="F1", delivery="K"),
        Task(task="C1", stage="cowl", title="C1"),
    )
)


def ranks_of(rows, deliveries=(), plan=TAIL_THEN_WING, as_of=SUNDAY_60):
    progress = read_progress(TAIL_THEN_WING, sessions_frame(rows), as_of)
    return stage_ranks(progress, plan, deliveries)["rank"].tolist()


def on(day, task, **more):
    return {"date": MONDAY + timedelta(days=day), "hours": 2.0, "task": task} | more


def test_the_first_stage_has_rank_0_and_the_next_rank_1():
    assert ranks_of([on(0, "T1"), on(1, "W1")]) == [0, 1]


def test_a_stage_that_only_waits_is_not_counted():
    # The tail waits on day 5 and could go on from day 20: on day 31 it is the stage left longer ago.
    rows = [on(0, "T1", done=True), on(5, "W1"), on(30, "W1"), on(31, "T2")]
    assert ranks_of(rows) == [0, 0, 0, 1]


def test_a_stage_without_its_delivery_is_not_counted_before_it_arrives():
    kit = Delivery(
        delivery="K", title="K", ordered=MONDAY, lead_weeks_low=1, lead_weeks_likely=2, lead_weeks_high=3,
        arrived=MONDAY + timedelta(days=10),
    )  # fmt: skip
    assert ranks_of([on(3, "C1")], [kit]) == [2]
    assert ranks_of([on(12, "C1")], [kit]) == [3]


def test_a_finished_stage_is_not_counted_after_its_last_day():
    rows = [on(0, "W1", done=True), on(1, "C1"), on(2, "T1")]
    assert ranks_of(rows, plan=None) == [1, 2, 1]


def test_what_was_worked_on_could_be_worked_on():
    assert ranks_of([on(0, "T2")]) == [0]


def test_the_stage_with_most_hours_stands_for_the_day():
    assert ranks_of([on(0, "T1", hours=1.0), on(0, "W1", hours=3.0)]) == [1]


def test_work_outside_the_plan_has_no_rank():
    assert ranks_of([on(0, "")]) == []


def every_day(habit, draws, weeks):
    """Ranks of somebody who works every day."""
    drawn = steady(draws, ranks=sample_ranks(habit, draws, np.random.default_rng(0)))
    return played(drawn, calendar(weeks))[1]


def test_a_builder_who_keeps_to_the_order_is_expected_to():
    # On Sundays alone the log would show 90 %, and chance would decide.
    rows = [on(7 * w + day, "T1") for w in range(60) for day in (-1, 0)]
    ranks = draw(
        BenchTime().fit(read_progress(TAIL_THEN_WING, sessions_frame(rows), SUNDAY_60), [A])
    ).stage_rank
    assert (ranks == 0).mean() > 0.9


def test_a_builder_who_runs_ahead_is_expected_to_as_often():
    # Wing, tail, tail, wing, ...: two days of three go to the stage that was left longer ago.
    rows = [on(7 * w, "W1" if w % 3 == 0 else "T1") for w in range(60)]
    habit = fit_stage_ranks(read_progress(TAIL_THEN_WING, sessions_frame(rows), SUNDAY_60), TAIL_THEN_WING)
    ranks = every_day(habit, 500, 43)
    assert (ranks == 1).mean() == pytest.approx(2 / 3, abs=0.08)


def test_while_the_household_is_silent_whoever_comes_goes_on_with_the_last_stage():
    habit = fit_stage_ranks(read_progress(TAIL_THEN_WING, sessions_frame([]), SUNDAY_60), TAIL_THEN_WING)
    ranks = sample_ranks(habit, 50, np.random.default_rng(0))
    silent = steady(50, stop=np.full(50, 50.0), resume=np.full(50, -50.0), ranks=ranks)
    assert (every_day(habit, 50, 4) > 0).any()
    assert (played(silent, calendar(4))[1] == 0).all()


def test_a_day_on_a_stage_follows_one_on_the_same_stage_as_often_as_in_the_log():
    tasks = ["T1"] * 10 + ["W1"] * 10
    rows = [on(7 * w, tasks[w % 20]) for w in range(160)]
    progress = read_progress(TAIL_THEN_WING, sessions_frame(rows), date(2027, 6, 1))
    habit = fit_stage_ranks(progress, TAIL_THEN_WING)
    ranks = every_day(habit, 300, 57)
    assert (ranks == 0).mean() == pytest.approx(0.9, abs=0.03)
