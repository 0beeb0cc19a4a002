"""Types whose record is too short are named as not yet known, and no others."""

from forecast.files.plan import Plan, Task
from tests.test_overruns import _answer, _row, _two_types


def test_only_planned_types_with_fewer_than_three_finished_tasks_are_not_yet_known():
    plan, rows = _two_types(3, rivet_times=1.6)
    more = tuple(
        Task(task=f"L{i}", stage="tail", title="", type=kind, planned_hours=hours)
        for i, (kind, hours) in enumerate([("wire", 4.0), ("wire", 4.0), ("clean", None)])
    )
    found = _answer(Plan(tasks=plan.tasks + more), rows)
    assert found.reasons[-1] == "Not yet known, with fewer than 3 finished: wire."


def test_with_two_finished_tasks_no_type_has_a_record_of_its_own():
    found = _answer(*_two_types(2, rivet_times=1.6))
    assert not any("Not yet known" in reason for reason in found.reasons)
    assert "none has 3 finished tasks" in found.finding


def test_hours_of_a_type_that_is_partly_planned_are_those_beside_the_plan():
    """Of two finished tasks of a type only one has planned hours: the other is compared with nothing."""
    kinds = [("A", "wire", 4.0), ("B", "wire", None), ("C", "wire", 5.0), ("D", "clean", None)]
    plan = Plan(tasks=tuple(
        Task(task=name, stage="tail", title="", type=kind, planned_hours=hours) for name, kind, hours in kinds
    ))  # fmt: skip
    rows = [
        {"date": f"2026-01-0{day}", "hours": hours, "task": task, "done": True}
        for day, task, hours in [(1, "A", 6.0), (2, "B", 9.0), (3, "D", 2.5)]
    ]
    found = _answer(plan, rows)
    assert (_row(found, "wire")["planned_hours"], _row(found, "wire")["actual_hours"]) == (4.0, 6.0)
    assert _row(found, "clean")["actual_hours"] == 2.5
