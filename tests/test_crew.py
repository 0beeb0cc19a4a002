"""Alone, by two, or with a helper: gains run by run, what gives them, and when help does not help."""

import json

import numpy as np
import pytest

from forecast.errors import UsageError
from forecast.files.logbook import Builder
from forecast.files.plan import Delivery
from forecast.learn.bench_time import BenchDraws, Newcomer
from forecast.questions.crew import SECOND, Crew, HelpCurve, compare_crews, crew_of, what_ifs_of
from forecast.questions.crew.compare import per_hour
from forecast.questions.crew.findings import findings_of
from forecast.simulate.finish import simulate_build, simulate_what_ifs
from forecast.simulate.what_if import WhatIf, everyone_joining
from tests.small_builds import AS_OF, QUICK, fitted_build, plan_of

DONE = [{}] * 8
PAIR = (Builder(id="A"), Builder(id="B"))


@pytest.fixture(scope="module")
def side_by_side():
    """Twenty tasks without predecessors, four of them for two."""
    rows = [{"crew": "two", "type": "rivet"} if i % 5 == 0 else {} for i in range(20)]
    return fitted_build(plan_of(*DONE, *rows))


@pytest.fixture(scope="module")
def one_lane():
    """Twelve tasks one after another, with no room for two, and a pair that comes together."""
    rows = [{"crew": "one", "after": (f"T{i + 7}",) if i else ()} for i in range(12)]
    return fitted_build(plan_of(*DONE, *rows), builders=PAIR, by="A+B")


@pytest.fixture(scope="module")
def answer(side_by_side):
    return compare_crews(side_by_side, QUICK)


@pytest.fixture(scope="module")
def lane_answer(one_lane):
    return compare_crews(one_lane, QUICK)


def test_two_finish_side_by_side_work_earlier(answer):
    assert np.nanmedian(answer.gain_days["two"]) > 20


def test_a_second_builder_gains_more_than_a_helper_for_two_person_work(answer):
    assert np.nanmedian(answer.gain_days["two"]) > 2 * np.nanmedian(answer.gain_days["helper"])


def test_a_gain_is_a_difference_within_each_run(answer):
    alone, two = answer.plan("solo").outlook, answer.plan("two").outlook
    np.testing.assert_array_equal(answer.gain_days["two"], alone.build_finish_days - two.build_finish_days)


def test_a_gain_is_surer_than_the_dates_it_comes_from(answer):
    alone = answer.plan("solo").outlook.build_finish_days
    finite = np.isfinite(alone)
    assert answer.gain_days["two"][finite].std() < alone[finite].std()


def test_alone_the_second_builder_does_nothing(answer):
    assert not np.any(answer.plan("solo").helper_hours)
    assert np.median(answer.plan("two").helper_hours) > np.median(answer.plan("helper").helper_hours) > 0


def test_without_visitors_the_second_is_asked_in_for_two_person_work():
    rows = [{"crew": "two", "type": "rivet"}, *[{}] * 4]
    fitted = fitted_build(plan_of(*DONE, *rows), builders=PAIR, by="A+B")
    solo, _, helper = what_ifs_of(fitted, crew_of(fitted))
    assert solo.on_call == helper.on_call == ("B",)
    assert solo.presence == {"B": 0.0}
    assert np.isfinite(simulate_build(fitted, QUICK, what_if=solo).build_finish_days).mean() > 0.8


def test_person_hours_cover_the_work(answer):
    for plan in answer.plans:
        done = np.isfinite(plan.person_hours)
        assert (plan.person_hours[done] >= plan.outlook.person_hours_left(None)[done] - 1e-6).all()


def test_days_per_hour_are_the_gain_over_the_hours_of_the_others():
    assert per_hour(np.array([12.0, -3.0]), np.array([24.0, 6.0])).tolist() == [0.5, -0.5]


def test_an_assumed_builder_is_named_as_an_assumption(answer):
    assert any("is an assumption" in s and "second builder" in s for s in answer.findings)


def test_few_data_behind_the_answer_are_reported(side_by_side):
    rows = [{"crew": "two", "type": "rivet"}, *[{}] * 4]
    findings = compare_crews(fitted_build(plan_of({}, {}, *rows), done=2), QUICK).findings
    assert any("Only 2 tasks are finished: hours rest mostly on the plan" in s for s in findings)
    assert any("A helper for only the one two-person task" in s for s in findings)


def test_one_lane_says_that_it_does_not_help(lane_answer):
    assert "would not bring the date forward" in lane_answer.findings[0]
    assert "the open tasks follow one another in one lane" in lane_answer.findings[0]


@pytest.mark.parametrize(
    ("gain", "sentence"),
    [
        ([10.0] * 2 + [40.0] * 6 + [90.0] * 2, "40 days sooner, 10 days to 90 days in 8 of 10 runs"),
        ([10.0] * 2 + [40.0] * 6 + [np.inf] * 2, "40 days sooner, 10 days or more in 9 of 10 runs"),
        ([10.0] * 2 + [np.inf] * 8, "alone most runs do not finish within the horizon."),
    ],
)
def test_a_gain_past_the_horizon_is_reported_as_one(side_by_side, answer, gain, sentence):
    gains = {"two": np.array(gain), "helper": np.zeros(10)}
    findings = findings_of(side_by_side, answer.crew, answer.plans, gains, answer.by_type, answer.help)
    assert sentence in findings[0]


def test_where_no_task_needs_two_a_helper_has_nothing_to_do(lane_answer):
    assert any("No open task needs two" in s for s in lane_answer.findings)
    assert not np.any(lane_answer.plan("helper").helper_hours)
    assert not np.nan_to_num(lane_answer.gain_days["helper"]).any()


def test_days_gained_by_type_are_those_of_their_tasks(answer):
    by_task = answer.by_task.groupby("type")["days_bought"].sum()
    by_type = answer.by_type.set_index("type")["days_bought"]
    np.testing.assert_allclose(by_type, by_task[by_type.index])


def test_types_are_in_descending_order_of_days_gained(answer):
    assert answer.by_type["days_bought"].is_monotonic_decreasing


def test_fewer_hours_of_help_gain_less(answer):
    assert answer.help.weekly_hours == tuple(sorted(answer.help.weekly_hours))
    assert answer.help.gain_days[0] < answer.help.gain_days[-1]


def test_hours_for_a_share_of_the_gain_are_read_between_the_points():
    curve = HelpCurve(weekly_hours=(1.0, 2.0, 4.0), gain_days=(10.0, 20.0, 40.0))
    assert curve.hours_for(0.5) == pytest.approx(2.0)
    assert curve.hours_for(0.8) == pytest.approx(3.2)


def test_without_a_gain_no_hours_give_a_share_of_it():
    assert HelpCurve(weekly_hours=(1.0, 2.0), gain_days=(0.0, 0.0)).hours_for(0.5) is None


def test_the_same_seed_gives_the_same_bytes(side_by_side, answer):
    again = compare_crews(side_by_side, QUICK)
    assert json.dumps(again.to_dict()) == json.dumps(answer.to_dict())


def test_the_answer_has_the_keys_of_the_contract(answer):
    found = answer.to_dict()
    assert found["as_of"] == AS_OF.isoformat()
    assert [p["plan"] for p in found["plans"]] == ["solo", "two", "helper"]
    assert {"stages", "build", "person_hours"} <= set(found["plans"][0])
    assert set(found["gain_days"]) == set(found["days_gained_per_helper_hour"]) == {"two", "helper"}
    assert list(found["gain_days"]["two"]) == ["p05", "p10", "p25", "p50", "p75", "p80", "p90", "p95"]


def test_the_second_of_build_toml_is_the_second_builder():
    builders = (Builder(id="A"), Builder(id="B", weekly_hours=5))
    fitted = fitted_build(plan_of(*DONE, *[{}] * 8), builders=builders)
    assert crew_of(fitted) == Crew(first="A", others=("B",), weekly_hours=None, assumed=True)
    with pytest.raises(UsageError, match="hours of B come from"):
        crew_of(fitted, weekly_hours=3.0)


def test_by_two_is_what_finish_says_when_the_second_is_in_the_log():
    fitted = fitted_build(plan_of(*DONE, *[{}] * 8), builders=PAIR, by="A+B")
    answer = compare_crews(fitted, QUICK)
    np.testing.assert_array_equal(
        answer.plan("two").outlook.build_finish_days, simulate_build(fitted, QUICK).build_finish_days
    )
    assert not answer.crew.assumed


def test_work_that_a_pair_shares_takes_one_alone_fewer_person_hours():
    fitted = fitted_build(plan_of(*DONE, *[{}] * 8), builders=PAIR, by="A+B")
    solo, two, _ = simulate_what_ifs(fitted, QUICK, what_ifs_of(fitted, crew_of(fitted)))
    assert np.median(solo.person_hours_left(None)) < np.median(two.person_hours_left(None))


def test_a_build_that_is_done_says_so():
    answer = compare_crews(fitted_build(plan_of(*DONE)), QUICK)
    assert answer.findings == ("Everything in the plan is done.",)
    assert answer.to_dict()["gain_days"]["two"]["p50"] == 0.0


# What-ifs


@pytest.fixture
def pair():
    hours = np.array([[[2.0, 3.0], [0.0, 1.0]]], dtype=np.float32)
    return BenchDraws(
        start=AS_OF, people=("A", "B"), hours=hours, stage_rank=np.zeros((1, 2), np.uint8),
        only_two=np.zeros(2, bool), on_call=np.zeros(2, bool), lends=np.zeros(2, bool),
        call_after_days=np.ones(1), idle_call_after_days=np.ones(1),
    )  # fmt: skip


def test_who_leaves_takes_nothing_from_the_others(pair):
    alone = WhatIf(leaving=("B",)).applied_to(pair)
    assert alone.people == ("A",)
    assert alone.hours[0, :, 0].tolist() == [2.0, 0.0]


def test_who_stays_for_a_part_of_the_hours(pair):
    half = WhatIf(presence={"B": 0.5}).applied_to(pair)
    assert half.hours[0, :, 1].tolist() == [1.5, 0.5]
    assert pair.hours[0, :, 1].tolist() == [3.0, 1.0]


def test_who_joins_elsewhere_is_not_here(pair):
    elsewhere = WhatIf(joining=(Newcomer(id="B", weekly_hours=3),))
    assert WhatIf().applied_to(pair, [WhatIf(), elsewhere]).people == ("A",)
    assert elsewhere.applied_to(pair, [WhatIf(), elsewhere]).people == ("A", "B")


def test_one_id_joins_with_one_number_of_hours():
    more = [WhatIf(joining=(Newcomer(id="B", weekly_hours=h),)) for h in (3, 4)]
    with pytest.raises(ValueError, match="same hours"):
        everyone_joining(more)


def test_arrivals_are_as_drawn_or_as_asked():
    kits = [
        Delivery(delivery=k, title="", ordered=None, lead_weeks_low=1, lead_weeks_likely=1, lead_weeks_high=1)
        for k in ("K", "L")
    ]
    drawn = np.array([[7.0, 9.0]])
    assert WhatIf(arrivals={"L": 0.0}).arrivals_from(drawn, kits).tolist() == [[7.0, 0.0]]
    assert drawn.tolist() == [[7.0, 9.0]]


def test_what_ifs_simulated_together_and_apart_agree(side_by_side):
    crew = crew_of(side_by_side)
    what_ifs = what_ifs_of(side_by_side, crew)
    assert crew.others == (SECOND,)
    for what_if, together in zip(what_ifs, simulate_what_ifs(side_by_side, QUICK, what_ifs), strict=True):
        apart = simulate_build(side_by_side, QUICK, what_if=what_if)
        np.testing.assert_array_equal(apart.build_finish_days, together.build_finish_days)
