"""Tonight by pencil: the chance of finishing, the hands on a task, what speaks for it, and the evening."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from forecast.files.plan import Task
from forecast.questions.tonight import (
    Ready,
    Stretch,
    chance_of_finishing,
    draw_hours_left,
    hands_on,
    tonight,
    usual_hours,
)
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from tests.conftest import sessions_frame
from tests.written_build import build_of

AS_OF = date(2026, 3, 10)
SETTINGS = Settings(runs=200)
HEADER = "task,stage,title,type,quantity,planned_hours,after,crew,hold_days\n"
LOGGED = "date,hours,builders,task,done\n"


def ready(crew="either", left=(1.0, 2.0, 3.0, 7.0), *, hands=1, hours=3.0, penalty=1.2) -> Ready:
    task = Task(task="A1", stage="tail", title="A1", crew=crew)
    return Ready(
        task=task, hands=hands, session_hours=hours, hours_left=np.array(left), shared_penalty=penalty,
        why_ready="", frees=(), criticality=0.0,
    )  # fmt: skip


# Chances -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "hands", "chance"), [
    (0.9, 1, 0.0), (1.0, 1, 0.25), (1.9, 1, 0.25), (2.0, 1, 0.5), (1.0, 2, 0.5), (3.5, 2, 1.0), (7.0, 1, 1.0),
])  # fmt: skip
def test_hours_that_just_fit_are_finished_and_each_hand_does_an_hour_an_hour(hours, hands, chance):
    assert chance_of_finishing(np.array([1.0, 2.0, 3.0, 7.0]), hours, hands) == chance


def test_the_chance_of_a_lognormal_task_is_that_of_its_distribution():
    """Median 2 hours, sd 0.5 on the log: two and a half hours are ln(1.25) / 0.5 = 0.446 sd above."""
    hours = 2.0 * np.exp(0.5 * np.random.default_rng(1).standard_normal(40_000))
    assert chance_of_finishing(hours, 2.5, 1) == pytest.approx(0.6723, abs=5 * 0.0024)


@pytest.mark.parametrize(("crew", "hands"), [("one", [1, 1, 1]), ("either", [1, 2, 2]), ("two", [1, 2, 2])])
def test_a_task_takes_two_hands_at_most(crew, hands):
    assert [hands_on(crew, people) for people in (1, 2, 3)] == hands


@pytest.mark.parametrize(("crew", "hands", "factor"), [
    ("either", 1, 1.0), ("either", 2, 1.2), ("two", 2, 1.0), ("one", 1, 1.0),
])  # fmt: skip
def test_only_two_who_share_what_one_could_do_pay_for_it(crew, hands, factor):
    assert ready(crew).person_hours(hands).tolist() == pytest.approx(
        [factor, 2 * factor, 3 * factor, 7 * factor]
    )


def test_expected_hours_and_chance_are_for_the_hands_of_tonight():
    """Two share 1.2, 2.4, 3.6 or 8.4 person-hours in three clock hours: six person-hours."""
    pair = ready(hands=2)
    assert pair.expected_hours["p75"] == pytest.approx(3.6)
    assert pair.probability_done == 0.75


def test_what_is_begun_later_has_less_of_the_session():
    """Of three hours one is over: two hours for one, four person-hours for two."""
    late = Stretch(ready=ready(), people=("A",), begin=1.0, hours=2.0)
    assert late.probability_done == 0.5
    assert replace(late, people=("A", "B")).probability_done == 0.75


# Hours left --------------------------------------------------------------------------------------

PLAN = (
    f"{HEADER}"
    "D1,tail,Drill left,drill,6,3,,one,\n"
    "D2,tail,Drill right,drill,6,3,,one,\n"
    "C1,wing,Cut caps,cut,2,2,,either,\n"
    "J1,wing,Set up the jig,fit,1,2,,two,\n"
    "P1,wing,Prime caps,prime,1,1,,either,2\n"
    "L1,wing,Lift the spar,fit,1,1,C1 P1,two,\n"
    "L2,wing,Turn the spar,fit,1,1,P1,two,\n"
)
LOG = f"{LOGGED}2026-03-03,2,A+B,C1,\n2026-03-04,1.5,A,D1,yes\n2026-03-06,1,A,D2,\n"


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("evening")
    return fit_build(build_of(folder, plan_csv=PLAN, log_csv=LOG), AS_OF, SETTINGS)


def test_the_hours_left_are_those_of_one_alone_and_never_negative(fitted):
    """The total less what is spent; of a task that two may share, less the shared work it has by habit."""
    model, place = fitted.effort, fitted.network.tasks.index
    left = draw_hours_left(fitted, 300, np.random.default_rng(1))
    total = model.sample_first_time_hours(300, np.random.default_rng(1))
    habit = model.shared_work_penalty_**model.design_.usual_share
    assert habit > 1
    for task, spent, factor in [("D2", 1.0, 1.0), ("C1", 4.0, habit), ("J1", 0.0, 1.0), ("P1", 0.0, habit)]:
        expected = np.maximum(total[:, place(task)] - spent, 0.0) / factor
        assert left[:, place(task)] == pytest.approx(expected)
    assert left.shape == (300, 6)


def test_of_a_task_open_again_a_share_of_its_hours_is_left(tmp_path):
    """About a quarter of its 4.5 hours, sd 0.8 on the log: the belief before any rework is seen."""
    log = f"{LOGGED}2026-03-02,4,A,D1,yes\n2026-03-06,0.5,A,D1,\n"
    again = fit_build(build_of(tmp_path, plan_csv=PLAN, log_csv=log), AS_OF, SETTINGS)
    left = draw_hours_left(again, 4_000, np.random.default_rng(1))[:, again.network.tasks.index("D1")]
    assert np.median(left) == pytest.approx(0.25 * 4.5, rel=0.1)
    assert left.max() <= 3 * 4.5 + 1e-9


# What speaks for a task --------------------------------------------------------------------------


def weighed(fitted, *people) -> dict[str, Ready]:
    found = tonight(fitted, hours=3.0, people=people, settings=SETTINGS).tasks
    assert [r.points for r in found] == sorted((r.points for r in found), reverse=True)
    return {r.task.task: r for r in found}


def of_the_date(ready) -> float:
    return 2.0 * ready.criticality if ready.criticality >= 0.25 else 0.0


def test_points_for_two_are_three_for_needing_them_and_none_for_preparing_their_evening(fitted):
    found = weighed(fitted, "A", "B")
    expected = {"J1": 3.0, "C1": 1.5, "D2": 1.5, "P1": found["P1"].probability_done}
    assert {n: r.points - of_the_date(r) for n, r in found.items()} == pytest.approx(expected)
    assert {n: r.hands for n, r in found.items()} == {"J1": 2, "C1": 2, "D2": 1, "P1": 2}


def test_points_for_one_are_two_for_preparing_an_evening_for_two(fitted):
    """P1 makes the turning of the spar ready; its hold then runs, worth its chance of being finished."""
    found = weighed(fitted, "A")
    expected = {"C1": 1.5, "D2": 1.5, "P1": 2.0 + found["P1"].probability_done}
    assert {n: r.points - of_the_date(r) for n, r in found.items()} == pytest.approx(expected)
    assert 0 < found["P1"].probability_done < 1


def test_the_reasons_come_in_the_order_of_their_points(fitted):
    found = weighed(fitted, "A")["P1"]
    assert 1.0 < of_the_date(found) < 2.0
    assert (found.reasons[0], found.reasons[2]) == (
        "makes Turn the spar (L2) ready for the next evening with two",
        "its hold of 2 days then runs while nobody is here",
    )


@pytest.mark.parametrize(("days_ago", "points"), [(0, 1.0), (10, 1.0), (11, 0.0)])
def test_work_of_the_last_ten_days_is_fresh(tmp_path, days_ago, points):
    plan = f"{HEADER}D1,tail,Left,drill,6,3,,one,\nD2,tail,Right,drill,6,3,,one,\nE1,tail,Pad,pad,1,1,,one,\n"
    day = AS_OF - timedelta(days=days_ago)
    build = build_of(tmp_path, plan_csv=plan, log_csv=f"{LOGGED}{day},3,A,D1,yes\n")
    found = weighed(fit_build(build, AS_OF, SETTINGS), "A")["D2"]
    assert found.points - of_the_date(found) == pytest.approx(points)


def test_the_only_chain_sets_the_date_in_every_run(tmp_path):
    plan = f"{HEADER}D1,tail,Left,drill,6,30,,one,\nE1,tail,Pad,pad,1,30,D1,one,\n"
    log = f"{LOGGED}2026-03-09,1,A,D1,\n"
    found = weighed(fit_build(build_of(tmp_path, plan_csv=plan, log_csv=log), AS_OF, SETTINGS), "A")
    assert found["D1"].criticality == pytest.approx(1.0)
    assert found["D1"].points == pytest.approx(2.0 + 1.5)
    assert found["D1"].reasons == ("sets the date in nearly all runs", "it is begun")


# The evening -------------------------------------------------------------------------------------


def test_the_evening_gives_each_task_its_median_clock_hours_from_the_top_of_the_list(fitted):
    answer = tonight(fitted, hours=30.0, people=("A",), settings=SETTINGS)
    assert [s.ready for s in answer.suggestion] == list(answer.tasks)
    begin = 0.0
    for part in answer.suggestion:
        assert part.begin == pytest.approx(begin)
        assert part.hours == pytest.approx(np.median(part.ready.hours_left))
        begin += part.hours


def test_two_on_a_task_for_two_need_half_its_person_hours(fitted):
    first = tonight(fitted, hours=30.0, people=("A", "B"), settings=SETTINGS).suggestion[0]
    assert (first.ready.task.task, first.people) == ("J1", ("A", "B"))
    assert first.hours == pytest.approx(np.median(first.ready.hours_left) / 2)


@pytest.mark.parametrize(("hours", "begun"), [(0.2, 1), (0.6, 1)])
def test_a_short_session_is_still_given_a_task_that_lasts_to_its_end(fitted, hours, begun):
    found = tonight(fitted, hours=hours, people=("A",), settings=SETTINGS).suggestion
    assert len(found) == begun
    assert found[0].hours == pytest.approx(min(hours, np.median(found[0].ready.hours_left)))


@pytest.mark.parametrize(("last", "hours"), [("2026-08-31", 2.0), ("2026-09-01", 3.0), ("2026-09-02", 4.0)])
def test_the_usual_session_is_the_median_day_of_the_last_half_year(last, hours):
    """A day 183 days before the last one is too old to count."""
    rows = [
        {"date": "2026-03-02", "hours": 2.0},
        {"date": "2026-03-03", "hours": 2.0},
        {"date": last, "hours": 4.0},
    ]
    assert usual_hours(sessions_frame(rows)) == hours
