"""From plan and progress to the network of the open work."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from forecast.files.plan import Delivery, Limit, Plan, Task, Use
from forecast.learn.progress import read_progress
from forecast.simulate.network import network_of, network_of_untouched, simulate_schedule
from tests.conftest import sessions_frame
from tests.schedule_cases import unfinished_share

FRIDAY = date(2026, 3, 6)
CLECOS = Limit(id="clecos", amount=4)


def _kit(name="K", needed_for=None) -> Delivery:
    return Delivery(delivery=name, title="", ordered=None, lead_weeks_low=1, lead_weeks_likely=2,
                    lead_weeks_high=3, needed_for=needed_for)  # fmt: skip


def _network(plan, log, *, deliveries=(), limits=(), as_of=FRIDAY):
    return network_of(plan, read_progress(plan, sessions_frame(log), as_of), deliveries, as_of, limits=limits)


def _row(task, day, **more):
    return {"date": day, "hours": 2, "task": task, "stage": "tail", **more}


def test_finished_tasks_are_not_in_the_network(five_tasks):
    network = _network(five_tasks, [_row("D1", "2026-03-02", done=True)])
    assert network.tasks == ("D2", "P1", "R1", "W1")
    assert network.after == ((), (0,), (1,), (2,))


def test_a_hold_that_began_before_is_counted_from_the_end_of_its_day(five_tasks):
    done = [
        _row(t, d, done=True) for t, d in (("D1", "2026-03-02"), ("D2", "2026-03-03"), ("P1", "2026-03-05"))
    ]
    network = _network(five_tasks, done)
    assert network.earliest_days.tolist() == [1.0, 0.0]


def test_a_hold_that_is_over_keeps_nothing_waiting(five_tasks):
    done = [_row(t, "2026-03-02", done=True) for t in ("D1", "D2", "P1")]
    assert _network(five_tasks, done).earliest_days.tolist() == [0.0, 0.0]


def test_what_could_have_been_picked_up_has_waited_since(five_tasks):
    done = [_row(t, d, done=True) for t, d in (("D1", "2026-03-02"), ("D2", "2026-03-03"))]
    network = _network(five_tasks, done)
    assert dict(zip(network.tasks, network.waited_days.tolist(), strict=True)) == {
        "P1": 3.0,
        "R1": 0.0,
        "W1": 0.0,
    }


def test_nothing_has_waited_before_the_first_session(five_tasks):
    assert not _network(five_tasks, []).waited_days.any()
    assert _network(five_tasks, [_row("D1", "2026-03-04")]).waited_days.tolist()[0] == 2.0


def test_what_waits_for_a_kit_has_waited_since_it_came():
    plan = Plan(
        tasks=(Task(task="A", stage="tail", title="A", delivery="K"), Task(task="B", stage="tail", title="B"))
    )
    log = [_row("B", "2026-02-02")]
    came = [replace(_kit(), arrived=date(2026, 3, 2)), _kit()]
    assert [_network(plan, log, deliveries=[kit]).waited_days[0] for kit in came] == [4.0, 0.0]


def test_hours_spent_on_a_stage_count_work_outside_the_plan_and_rework(five_tasks):
    log = [_row("D1", "2026-03-02"), _row("", "2026-03-03"), _row("D1", "2026-03-04", rework=True)]
    network = _network(five_tasks, [*log, _row("", "2026-03-05", stage="shop")])
    assert network.spent_hours.tolist() == [6.0, 0.0]
    assert network.spent_elsewhere_hours == 2.0


def test_nine_tenths_of_a_stage_count_what_was_spent(five_tasks):
    network = _network(five_tasks, [_row("D1", "2026-03-02", hours=80)])
    result = simulate_schedule(network, [[2, 2, 2, 2, 2.0]], np.full((1, 30, 2), 1.0))
    assert result.stage_first_90[0, 0] == 0.0


def test_a_stage_without_open_work_is_finished(five_tasks):
    done = [_row(t, "2026-03-02", done=True) for t in ("D1", "D2", "P1", "R1")]
    network = _network(five_tasks, done)
    result = simulate_schedule(network, [[2.0]], np.full((1, 5, 1), 1.0))
    assert result.stage_finish[0].tolist() == [0.0, 2.0]


def test_tasks_that_come_into_the_plan_later_are_left_out():
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""),
                       Task(task="B", stage="tail", title="", added=date(2026, 4, 1))))  # fmt: skip
    assert _network(plan, []).tasks == ("A",)


def test_a_task_under_way_is_marked(five_tasks):
    network = _network(five_tasks, [_row("D2", "2026-03-02")])
    assert network.under_way.tolist() == [False, True, False, False, False]


def test_only_deliveries_that_open_work_needs_are_in_it(five_tasks):
    plan = Plan(tasks=(Task(task="A", stage="tail", title="", delivery="K2"),))
    network = _network(plan, [], deliveries=[_kit("K1"), _kit("K2")])
    assert [d.delivery for d in network.deliveries] == ["K2"]
    assert network.needs == ((0,),)


def test_a_delivery_for_a_stage_holds_its_untouched_tasks(five_tasks):
    network = _network(five_tasks, [_row("D1", "2026-03-02")], deliveries=[_kit(needed_for="tail")])
    assert network.needs == ((), (0,), (0,), (0,), ())


def test_a_delivery_that_a_task_names_holds_that_task_only():
    plan = Plan(tasks=(Task(task="A", stage="tail", title="", delivery="K"),
                       Task(task="B", stage="tail", title="")))  # fmt: skip
    assert _network(plan, [], deliveries=[_kit(needed_for="tail")]).needs == ((0,), ())


def _held_plan() -> Plan:
    return Plan(
        tasks=(
            Task(task="A", stage="tail", title="", uses=(Use(limit="clecos", amount=3, until="C"),)),
            Task(task="B", stage="tail", title="", uses=(Use(limit="clecos", amount=2),)),
            Task(task="C", stage="tail", title="", after=("A",)),
        )
    )


def test_finished_work_still_holds_what_a_later_task_frees():
    network = _network(_held_plan(), [_row("A", "2026-03-02", done=True)], limits=[CLECOS])
    result = simulate_schedule(network, [[2.0, 2.0]], np.full((1, 5, 1), 2.0))
    assert result.finish[0].tolist() == [2.0, 1.0]


def test_work_under_way_holds_its_limits():
    network = _network(_held_plan(), [_row("B", "2026-03-02")], limits=[CLECOS])
    result = simulate_schedule(network, [[2.0, 2.0, 2.0]], np.full((1, 5, 1), 2.0))
    assert result.start[0].tolist() == [1.0, 0.0, 2.0]


def test_work_that_waits_for_a_limit_for_ever_says_so():
    plan = Plan(
        tasks=(
            Task(task="A", stage="tail", title="", uses=(Use(limit="clecos", amount=3, until="B"),)),
            Task(task="B", stage="tail", title="", uses=(Use(limit="clecos", amount=2),)),
        )
    )
    result = simulate_schedule(network_of_untouched(plan, limits=[CLECOS]), [[1.0, 1.0]], np.ones((1, 9, 1)))
    assert result.build_finish[0] == np.inf
    assert unfinished_share(result) == {"limit": 1.0}
    assert result.never_finished() == {("limit", "B"): 1}


@pytest.mark.parametrize(
    ("row", "days", "release", "lacks"),
    [
        ({}, 1, 0.0, "days"),
        ({"crew": "two"}, 9, 0.0, "two hands"),
        ({"delivery": "K"}, 9, np.inf, "delivery"),
        ({"delivery": "K"}, 9, 20.0, "days"),
    ],
)
def test_what_an_unfinished_run_lacks(row, days, release, lacks):
    plan = Plan(tasks=(Task(task="A", stage="tail", title="", **row),))
    network = network_of_untouched(plan, deliveries=[_kit()])
    arrivals = np.full((1, len(network.deliveries)), release)
    result = simulate_schedule(network, [[5.0]], np.ones((1, days, 1)), release=arrivals)
    assert unfinished_share(result) == {lacks: 1.0}


def test_a_limit_that_is_not_known_is_named():
    with pytest.raises(ValueError, match="clecos"):
        network_of_untouched(_held_plan())


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"hours": [[1.0, np.nan]]}, "hours must be numbers of 0 or more"),
        ({"hours": [[1.0, -1.0]]}, "hours must be numbers of 0 or more"),
        ({"bench": np.full((1, 3, 1), np.nan)}, "bench must hold numbers of 0 or more"),
        ({"bench": np.ones((1, 3))}, r"bench must have the shape \(draw, day, person\)"),
        ({"bench": np.ones((1, 3, 0))}, r"bench must have the shape \(draw, day, person\)"),
        ({"release": [[np.nan]]}, "release must have the shape"),
        ({"grid": [3, 1]}, "grid must ascend"),
        ({"shared_penalty": 0.0}, "shared_penalty must be above 0"),
    ],
)
def test_what_cannot_be_played_is_refused(change, sentence):
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""), Task(task="B", stage="tail", title="")))
    given = {"hours": [[1.0, 1.0]], "bench": np.ones((1, 3, 1)), **change}
    with pytest.raises(ValueError, match=sentence):
        simulate_schedule(network_of_untouched(plan), **given)
