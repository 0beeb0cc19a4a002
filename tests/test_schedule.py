"""The kernel by pencil: each rule on a build of a few tasks and a few days."""

import numpy as np
import pytest

from forecast.files.plan import Delivery, Limit, Plan, Task, Use
from forecast.simulate.network import network_of_untouched, simulate_schedule
from tests.schedule_cases import unfinished_share


def _plan(*rows: dict) -> Plan:
    """Tasks A, B, C, ... of one stage unless a row says otherwise."""
    return Plan(
        tasks=tuple(
            Task(**{"task": chr(65 + i), "stage": "tail", "title": "", **row}) for i, row in enumerate(rows)
        )
    )


def _simulate(plan: Plan, hours: list[float], days: list, *, limits=(), deliveries=(), **options):
    """One run; `days` holds the clock hours of one builder, or of several, for each day."""
    network = network_of_untouched(plan, limits=limits, deliveries=deliveries)
    bench = np.array(days, dtype=float).reshape(1, len(days), -1)
    return simulate_schedule(network, [hours], bench, **options)


def test_two_tasks_in_series_take_their_hours_one_after_the_other():
    result = _simulate(_plan({}, {"after": ("A",)}), [3, 3], [2, 2, 2])
    assert result.finish[0].tolist() == [1.5, 3.0]
    assert result.start[0].tolist() == [0.0, 1.5]


def test_two_builders_work_side_by_side_on_two_tasks():
    result = _simulate(_plan({"crew": "one"}, {"crew": "one"}), [4, 2], [[2, 2], [2, 2]])
    assert result.finish[0].tolist() == [2.0, 1.0]


def test_a_task_with_no_room_for_two_never_takes_two():
    result = _simulate(_plan({"crew": "one"}), [4], [[2, 2], [2, 2]])
    assert result.finish[0].tolist() == [2.0]


def test_two_share_a_task_when_nothing_else_is_ready():
    result = _simulate(_plan({}), [4], [[2, 2], [2, 2]])
    assert result.finish[0].tolist() == [1.0]


def test_sharing_costs_its_penalty():
    result = _simulate(_plan({}), [4], [[2, 2], [2, 2]], shared_penalty=1.25)
    assert result.finish[0].tolist() == [1.25]


def test_a_two_person_task_waits_for_the_second_pair_of_hands():
    result = _simulate(_plan({"crew": "two"}, {"crew": "one"}), [4, 1], [[2, 0], [2, 0], [2, 2]])
    assert result.finish[0].tolist() == [3.0, 0.5]


def test_a_two_person_task_stops_when_one_of_them_leaves():
    result = _simulate(_plan({"crew": "two"}), [6], [[4, 2], [0, 0], [4, 4]])
    assert result.finish[0].tolist() == [2.25]


def test_whoever_stays_goes_on_with_what_is_ready():
    result = _simulate(_plan({"crew": "two"}, {"crew": "one"}), [8, 2], [[4, 2], [2, 2]])
    assert result.finish[0].tolist() == [2.0, 1.0]


def test_a_hold_runs_over_the_weekend_without_anybody():
    friday_to_monday = [2, 0, 0, 2]
    result = _simulate(_plan({"hold_days": 2}, {"after": ("A",)}), [2, 2], friday_to_monday)
    assert result.finish[0].tolist() == [1.0, 4.0]


def test_a_hold_may_end_within_a_session():
    result = _simulate(_plan({"hold_days": 1}, {"after": ("A",)}), [1, 1], [2, 4])
    assert result.start[0].tolist() == [0.0, 1.5]
    assert result.finish[0].tolist() == [0.5, 1.75]


def test_a_week_away_moves_the_finish_by_a_week():
    home = _simulate(_plan({}), [4], [2] * 9).finish[0, 0]
    away = _simulate(_plan({}), [4], [2] + [0] * 7 + [2]).finish[0, 0]
    assert away - home == 7


def test_a_helper_for_two_person_work_does_nothing_else():
    result = _simulate(_plan({"crew": "one"}, {}), [2, 2], [[2, 2], [2, 2]], only_two=[False, True])
    assert result.finish[0].tolist() == [1.0, 2.0]
    assert result.worked_hours[0].tolist() == [4.0, 0.0]


def test_two_person_work_comes_first_on_the_day_a_helper_is_there():
    days = [[2, 0], [2, 2], [2, 0]]
    result = _simulate(_plan({}, {"crew": "two"}), [4, 4], days, only_two=[False, True])
    assert result.finish[0].tolist() == [3.0, 2.0]


def test_a_delivery_keeps_its_task_waiting_and_others_go_on():
    kit = Delivery(
        delivery="K", title="", ordered=None, lead_weeks_low=1, lead_weeks_likely=1, lead_weeks_high=1
    )
    plan = _plan({"delivery": "K"}, {})
    result = _simulate(plan, [2, 2], [2] * 12, deliveries=[kit], release=[[7.0]])
    assert result.finish[0].tolist() == [8.0, 1.0]


def test_rows_stand_in_the_order_of_preference():
    result = _simulate(_plan({}, {}, {}), [1, 1, 1], [3])
    assert result.finish[0].tolist() == pytest.approx([1 / 3, 2 / 3, 1.0])


@pytest.mark.parametrize(
    ("ranks", "finish"), [([1, 1, 0], [2.0, 0.5, 2.5]), ([1, 0, 0], [2.5, 0.5, 1.5])],
    ids=["then to the one left longer ago", "then to the one worked on last"],
)  # fmt: skip
def test_a_day_may_go_to_another_stage_first(ranks, finish):
    plan = _plan({"stage": "tail"}, {"stage": "wing"}, {"stage": "wing"})
    result = _simulate(plan, [2, 1, 2], [2, 2, 2], stage_rank=[ranks])
    assert result.finish[0].tolist() == finish
    assert result.stage_finish[0].tolist() == [finish[0], finish[2]]


def test_a_rank_past_the_last_open_stage_means_the_one_worked_on_last():
    plan = _plan({"stage": "tail"}, {"stage": "wing"})
    result = _simulate(plan, [2, 4], [2, 2, 2], stage_rank=[[1, 9, 9]])
    assert result.finish[0].tolist() == [3.0, 2.0]


def test_without_ranks_the_order_is_that_of_the_rows_over_all_stages():
    # B is ready from day 2 on and comes before C, although the wing was worked on last.
    plan = _plan({"hold_days": 1}, {"after": ("A",)}, {"stage": "wing"})
    by_rows = _simulate(plan, [2, 2, 4], [2] * 4)
    by_recency = _simulate(plan, [2, 2, 4], [2] * 4, stage_rank=[[0] * 4])
    assert by_rows.finish[0].tolist() == [1.0, 3.0, 4.0]
    assert by_recency.finish[0].tolist() == [1.0, 4.0, 3.0]


def test_what_is_taken_up_again_keeps_its_hours():
    plan = _plan({"stage": "tail"}, {"stage": "wing"})
    result = _simulate(plan, [4, 2], [2, 2, 2], stage_rank=[[0, 1, 0]])
    assert result.finish[0].tolist() == [3.0, 2.0]


def test_work_past_the_last_day_is_infinite():
    result = _simulate(_plan({}, {}), [2, 2], [2])
    assert result.finish[0].tolist() == [1.0, np.inf]
    assert result.build_finish[0] == np.inf


def test_nine_tenths_are_done_before_the_end():
    result = _simulate(_plan({}, {}), [9, 1], [5, 5])
    assert result.stage_first_90[0, 0] == pytest.approx(1.8)
    assert result.build_first_90[0] == pytest.approx(1.8)


def test_hours_done_are_read_at_the_days_asked_for():
    plan = _plan({"stage": "tail"}, {"stage": "wing"})
    result = _simulate(plan, [3, 3], [2, 0, 2, 2], grid=[0, 1, 2, 3, 9])
    assert result.hours_done[0].tolist() == [[0, 2, 2, 3, 3], [0, 0, 0, 1, 3]]


def test_a_limit_is_held_until_the_task_that_frees_it():
    held = (Use(limit="clecos", amount=3, until="C"),)
    plan = _plan({"crew": "one", "uses": held}, {"crew": "one", "uses": (Use(limit="clecos", amount=2),)},
                 {"crew": "one", "after": ("A",)})  # fmt: skip
    result = _simulate(plan, [2, 2, 2], [[2, 2]] * 4, limits=[Limit(id="clecos", amount=4)])
    assert result.finish[0].tolist() == [1.0, 3.0, 2.0]


def test_two_uses_of_one_limit_count_together():
    # A holds two clecos to its own end and two until B is done: C's two are free only after that.
    uses = (Use(limit="clecos", amount=2), Use(limit="clecos", amount=2, until="B"))
    plan = _plan({"crew": "one", "uses": uses}, {"crew": "one", "after": ("A",)},
                 {"crew": "one", "uses": (Use(limit="clecos", amount=3),)})  # fmt: skip
    result = _simulate(plan, [2, 2, 2], [[2, 2]] * 4, limits=[Limit(id="clecos", amount=4)])
    assert result.start[0].tolist() == [0.0, 1.0, 2.0]


def test_uses_that_are_too_much_together_are_never_begun():
    uses = (Use(limit="clecos", amount=3), Use(limit="clecos", amount=2, until="B"))
    plan = _plan({"uses": uses}, {"after": ("A",)})
    result = _simulate(plan, [2, 2], [2] * 4, limits=[Limit(id="clecos", amount=4)])
    assert unfinished_share(result) == {"limit": 1.0}


def test_four_people_split_into_two_pairs():
    result = _simulate(_plan({"crew": "two"}, {"crew": "two"}), [4, 4], [[2, 2, 2, 2]])
    assert result.finish[0].tolist() == [1.0, 1.0]


def test_a_wrong_shape_is_refused():
    with pytest.raises(ValueError, match=r"hours must have the shape \(1, 2\). Got \(1, 1\)"):
        _simulate(_plan({}, {}), [1], [1])


def test_a_hand_is_asked_for_once_two_person_work_has_waited():
    # Nobody but A comes by themselves; the helper is asked from the third day on, stays as long as A
    # and comes again until the six person-hours are done.
    result = _simulate(
        _plan({"crew": "two"}), [6], [[2, 0]] * 5, on_call=[False, True], call_after_days=[2.0]
    )  # fmt: skip
    assert result.start[0].tolist() == [2.0]
    assert result.finish[0].tolist() == [3.5]


def test_nobody_is_asked_while_no_two_person_work_waits():
    result = _simulate(_plan({}), [6], [[2, 0]] * 5, on_call=[False, True], call_after_days=[0.0])
    assert result.present_hours[0].tolist() == [6.0, 0.0]


def test_two_person_work_that_becomes_ready_later_waits_from_then_on():
    plan = _plan({"crew": "one"}, {"crew": "two", "after": ("A",)})
    result = _simulate(plan, [4, 4], [[2, 0]] * 9, on_call=[False, True], call_after_days=[3.0])
    assert result.finish[0].tolist() == [2.0, 6.0]


def test_a_helper_who_is_not_on_call_is_not_asked():
    result = _simulate(_plan({"crew": "two"}), [6], [[2, 0]] * 5, call_after_days=[0.0])
    assert np.isinf(result.finish[0, 0])


def test_who_was_asked_in_does_two_person_work_only():
    plan = _plan({"crew": "one"}, {"crew": "two"}, {"crew": "one"})
    result = _simulate(plan, [2, 4, 2], [[2, 0]] * 5, on_call=[False, True], call_after_days=[0.0])
    assert result.finish[0].tolist() == [2.0, 1.0, 3.0]
    assert result.worked_hours[0].tolist() == [6.0, 2.0]


def test_who_comes_on_their_own_day_does_what_is_ready():
    plan = _plan({"crew": "one"}, {"crew": "one"})
    result = _simulate(plan, [2, 2], [[2, 2]], on_call=[False, True], call_after_days=[0.0])
    assert result.finish[0].tolist() == [1.0, 1.0]


def test_a_visitor_lends_a_hand_and_takes_nothing_on_their_own():
    # Two hours each: A's four are done together on day 0, B's two on day 1 by the builder alone.
    result = _simulate(_plan({}, {}), [4, 2], [[2, 2], [2, 0]], lends=[False, True])
    assert result.finish[0].tolist() == [1.0, 2.0]
    assert result.worked_hours[0].tolist() == [4.0, 2.0]


def test_a_visitor_helps_with_what_is_on_and_two_person_work_waits_its_turn():
    # A's two hours and half of B's four are done on day 0; B waits for the next visit.
    result = _simulate(_plan({}, {"crew": "two"}), [2, 4], [[2, 2], [2, 0], [2, 2]], lends=[False, True])
    assert result.finish[0].tolist() == [0.5, 2.5]


def test_a_visitor_who_was_asked_in_does_two_person_work_first():
    asking = {"on_call": [False, True], "call_after_days": [0.0], "lends": [False, True]}
    result = _simulate(_plan({}, {"crew": "two"}), [4, 2], [[2, 0], [2, 0]], **asking)
    assert result.finish[0].tolist() == [2.0, 0.5]
    assert result.worked_hours[0].tolist() == [4.0, 2.0]


def test_a_visitor_looks_on_while_there_is_room_for_one():
    result = _simulate(_plan({"crew": "one"}, {"crew": "one"}), [2, 2], [[2, 2]] * 2, lends=[False, True])
    assert result.finish[0].tolist() == [1.0, 2.0]
    assert result.worked_hours[0].tolist() == [4.0, 0.0]


def test_a_visitor_does_not_go_on_when_the_builder_leaves():
    # The builder stays an hour of the visitor's two: two person-hours a day.
    result = _simulate(_plan({}), [4], [[1, 2]] * 2, lends=[False, True])
    assert result.finish[0].tolist() == [1.5]
    assert result.worked_hours[0].tolist() == [2.0, 2.0]


def test_a_hand_is_asked_for_sooner_when_there_is_no_other_work():
    # B needs two and waits from day 0 on. While A is there nobody is asked for 9 days; after it, at once.
    plan = _plan({"crew": "one"}, {"crew": "two"})
    asking = {"on_call": [False, True], "call_after_days": [9.0], "idle_call_after_days": [1.0]}
    result = _simulate(plan, [4, 4], [[2, 0]] * 5, **asking)
    assert result.finish[0].tolist() == [2.0, 3.0]


_LONG_PATH = ({}, {"crew": "one", "after": ("A",)}, {"crew": "one"})


def test_two_share_what_the_date_hangs_on_when_the_rest_can_wait():
    # A (4 hours) leads to B (8 alone); C (3) can wait. Shared, A takes 2 hours and the build 10 of them;
    # apart, A would take 3.5.
    result = _simulate(_plan(*_LONG_PATH), [4, 8, 3], [[10, 10]] * 2, expected_hours=[4, 8, 3])
    assert result.finish[0].tolist() == pytest.approx([0.2, 1.0, 0.5])
    apart = _simulate(_plan(*_LONG_PATH), [4, 8, 3], [[10, 10]] * 2)
    assert apart.finish[0].tolist() == pytest.approx([0.35, 1.15, 0.3])


def test_two_do_not_share_while_there_is_work_enough_for_both():
    plan = _plan({}, {"crew": "one", "after": ("A",)}, {"crew": "one"})
    result = _simulate(plan, [4, 3, 8], [[20, 20]], expected_hours=[4, 3, 8])
    assert result.finish[0].tolist() == pytest.approx([0.2, 0.35, 0.4])


@pytest.mark.parametrize(("penalty", "first_done"), [(1.1, 0.165), (1.5, 0.3)])
def test_two_do_not_share_when_the_penalty_is_not_paid_back(penalty, first_done):
    # The path of A and B takes 7 hours, half of all work 6.7: a fifth more on the 3 hours of A is even.
    plan = _plan({}, {"crew": "one", "after": ("A",)}, {"crew": "one"}, {"crew": "one"})
    hours = [3, 4, 2, 4.4]
    result = _simulate(plan, hours, [[10, 10]] * 2, expected_hours=hours, shared_penalty=penalty)
    assert result.finish[0, 0] == pytest.approx(first_done)


@pytest.mark.parametrize(("hers", "begun"), [(10, 10.0), (20, 10.1)])
def test_two_share_only_when_the_second_is_there_often_enough(hers, begun):
    # With a third of the hours hers the work takes 2/3 of 37 hours and the path of A and B, 22, is not what
    # is long: she begins C. With half of them the work takes 18.5: she lends a hand with A first.
    plan = _plan(*_LONG_PATH, {"crew": "one"})
    days = [[1, 0]] * 10 + [[10, hers]] * 2
    result = _simulate(plan, [14, 8, 7, 8], days, expected_hours=[14, 8, 7, 8])
    assert result.start[0, 2] == begun


def test_more_hands_share_only_the_longest_path():
    # Three people: C goes on with D alone, the third lends a hand with A.
    plan = _plan({}, {"crew": "one", "after": ("A",)}, {}, {"crew": "one"})
    result = _simulate(plan, [4, 9, 3, 1], [[20, 20, 20]], expected_hours=[4, 9, 3, 1])
    assert result.finish[0, 0] == pytest.approx(0.1)


def test_longest_paths_of_a_network_by_pencil():
    plan = _plan({"after": ("C",)}, {"crew": "two", "after": ("C",)}, {}, {"after": ("A", "B")})
    paths = network_of_untouched(plan).longest_paths(np.array([2.0, 6.0, 1.0, 4.0]))
    assert paths.tolist() == [6.0, 7.0, 8.0, 4.0]


def test_longest_paths_can_be_known_already():
    plan = _plan(*_LONG_PATH, {"crew": "one"})
    hours, days = [14, 8, 7, 8], [[1, 0]] * 10 + [[10, 20]] * 2
    paths = network_of_untouched(plan).longest_paths(np.array(hours, dtype=float))
    for known, begun in [(paths, 10.1), (np.zeros(4), 10.0)]:
        result = _simulate(plan, hours, days, expected_hours=hours, longest_paths=known)
        assert result.start[0, 2] == begun
    with pytest.raises(ValueError, match="longest_paths must have the shape"):
        _simulate(plan, hours, days, expected_hours=hours, longest_paths=[1.0])


def _again(tasks: int, hours: float, after: float) -> dict:
    """A's last hours come when it is reopened, so many person-hours after it was finished."""
    rest = [0.0] * (tasks - 1)
    return {"reopening_hours": [[hours, *rest]], "reopening_after_hours": [[after, *rest]]}


def test_work_that_is_opened_again_keeps_what_has_not_been_begun_waiting():
    # A is finished after a day and found wanting three hours later, halfway through a day: whoever is on B
    # that day stays with it, on the next A's hour comes first.
    plan = _plan({}, {"after": ("A",)}, {"after": ("A",)})
    result = _simulate(plan, [3, 6, 2], [2] * 6, **_again(3, 1.0, 3.0))
    assert result.finish[0].tolist() == [3.5, 4.5, 5.5]
    assert result.start[0].tolist() == [0.0, 1.0, 4.5]


def test_two_builders_redo_and_go_on_at_once():
    # A is opened again as B is under way, when four more hours were worked by the two: B goes on, C waits
    # until A is finished again.
    plan = _plan({"crew": "one"}, {"crew": "one", "after": ("A",)}, {"crew": "one", "after": ("A", "D")},
                 {"crew": "one"})  # fmt: skip
    result = _simulate(plan, [5, 6, 2, 4], [[2, 2]] * 6, **_again(4, 3.0, 4.0))
    assert result.start[0].tolist() == [0.0, 1.0, 3.5, 0.0]
    assert result.finish[0].tolist() == [3.5, 4.0, 4.5, 2.0]


def test_a_hold_runs_again_after_work_that_was_opened_again():
    # Two hours on C show on day 2 what is wrong with A: done again at 2.5, it holds B up until 5.5.
    plan = _plan({"hold_days": 3}, {"after": ("A",)}, {})
    result = _simulate(plan, [3, 2, 4], [2] * 9, **_again(3, 1.0, 2.0))
    assert result.finish[0].tolist() == [2.5, 6.5, 3.5]


def test_days_without_work_do_not_bring_rework_nearer():
    plan, days = _plan({}, {}), [2] * 5
    at_once = _simulate(plan, [3, 6], days, **_again(2, 1.0, 3.0)).finish[0]
    later = _simulate(plan, [3, 6], [2, *[0] * 300, *days[1:]], **_again(2, 1.0, 3.0)).finish[0]
    assert at_once.tolist() == [3.5, 4.5]
    assert later.tolist() == [303.5, 304.5]


def test_a_build_is_finished_when_the_last_work_is_done_again():
    # A hundred hours more are never worked: the last look over the whole finds it, when B is done.
    result = _simulate(_plan({"stage": "tail"}, {"stage": "wing"}), [3, 2], [2] * 12, **_again(2, 1.0, 100.0))
    assert result.finish[0].tolist() == [2.5, 2.0]
    assert result.stage_finish[0].tolist() == [2.5, 2.0]
    assert result.stage_first_90[0].tolist() == pytest.approx([2.35, 1.9])


def test_what_is_to_be_opened_again_past_the_last_day_is_not_finished():
    result = _simulate(_plan({}), [3], [2], **_again(1, 1.0, 9.0))
    assert result.finish[0].tolist() == [np.inf]
    assert unfinished_share(result) == {"days": 1.0}


def test_rework_to_be_found_does_not_hide_what_a_run_lacks():
    # Hours that would reveal A's rework never come, because B needs two: more days would not help.
    result = _simulate(_plan({}, {"crew": "two"}), [3, 2], [2] * 9, **_again(2, 1.0, 9.0))
    assert result.finish[0].tolist() == [np.inf, np.inf]
    assert unfinished_share(result) == {"two hands": 1.0}


def test_more_hours_again_than_there_are_is_refused():
    with pytest.raises(ValueError, match="reopening_hours must be a part of hours"):
        _simulate(_plan({}), [3], [2] * 5, **_again(1, 4.0, 1.0))
