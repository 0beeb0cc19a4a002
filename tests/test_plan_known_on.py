"""The plan as it was known on one day: a task added on that day is in it, one added the day after is not."""

from datetime import date, timedelta

import pytest

from forecast.files.plan import Plan, Task, Use

DAY = date(2026, 5, 10)


def task(name, **more) -> Task:
    return Task(task=name, stage="hull", title=name, **more)


@pytest.mark.parametrize(("days_after", "known"), [(-1, True), (0, True), (1, False)])
def test_a_task_is_known_from_the_day_on_which_it_is_added(days_after, known):
    plan = Plan(tasks=(task("T1"), task("T2", added=DAY + timedelta(days=days_after))))
    assert [t.task for t in plan.known_on(DAY).tasks] == (["T1", "T2"] if known else ["T1"])


def test_a_task_without_a_day_was_always_in_the_plan():
    assert Plan(tasks=(task("T1"),)).known_on(date.min) == Plan(tasks=(task("T1"),))


def test_the_tasks_that_are_known_remain_in_the_order_of_the_plan():
    days = {"T4": None, "T2": DAY + timedelta(days=1), "T3": DAY, "T1": DAY - timedelta(days=1)}
    plan = Plan(tasks=tuple(task(name, added=added) for name, added in days.items()))
    assert [t.task for t in plan.known_on(DAY).tasks] == ["T4", "T3", "T1"]


def test_links_to_a_later_task_are_dropped_and_all_others_remain():
    later = task("L", added=DAY + timedelta(days=1))
    first = task("F", added=DAY)
    uses = (Use(limit="clamps", amount=2.0, until="L"), Use(limit="clamps", amount=1.0, until="F"))
    plan = Plan(tasks=(first, later, task("A", after=("F", "L"), repeat_of="L", uses=uses),
                       task("B", after=("L",), repeat_of="F")))  # fmt: skip
    known = plan.known_on(DAY).by_id
    assert (known["A"].after, known["A"].repeat_of) == (("F",), None)
    assert [(u.amount, u.until) for u in known["A"].uses] == [(2.0, None), (1.0, "F")]
    assert (known["B"].after, known["B"].repeat_of) == ((), "F")
