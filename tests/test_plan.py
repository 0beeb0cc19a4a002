"""plan.csv and deliveries.csv: the precedence network, and everything wrong with it at once."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.files.plan import Delivery, Plan, Task, Use, find_cycles, read_deliveries, read_plan
from forecast.files.tables import read_table

USE_RULE = "must be a limit and an amount above 0, as fasteners:120 or fasteners:120@T045"


def _plan(text: str, **known) -> tuple[Plan, list[str]]:
    table = read_table(text.encode(), "plan.csv", "plan")
    assert not table.problems
    plan, problems = read_plan(table, **known)
    return plan, [str(p) for p in problems]


def _deliveries(text: str, stages=None) -> tuple[tuple[Delivery, ...], list[str]]:
    deliveries, problems = read_deliveries(read_table(text.encode(), "deliveries.csv", "deliveries"), stages)
    return deliveries, [str(p) for p in problems]


def test_blank_cells_stand_for_what_the_contract_says():
    plan, problems = _plan("task,stage\nD1,tail\n")
    assert plan.tasks == (Task(task="D1", stage="tail", title="D1"),)
    assert problems == []


def test_every_cell_of_a_full_row_is_in_the_task():
    plan, problems = _plan(
        "task,stage,title,type,quantity,unit,planned_hours,after,crew,hold_days,repeat_of,delivery,uses,added\n"
        "D1,tail,Drill,drill,6,rib,3,,one,0,,,,\n"
        'D2,wing,"Drill, right",drill,6.5,rib,2.5,D1,two,1.5,D1,K1,clamps:4 clamps:2@D1,2026-03-02\n',
        limits={"clamps": 10.0},
        deliveries={"K1"},
    )
    assert problems == []
    assert plan.by_id["D2"] == Task(
        task="D2",
        stage="wing",
        title="Drill, right",
        type="drill",
        quantity=6.5,
        unit="rib",
        planned_hours=2.5,
        after=("D1",),
        crew="two",
        hold_days=1.5,
        repeat_of="D1",
        delivery="K1",
        uses=(Use(limit="clamps", amount=4.0), Use(limit="clamps", amount=2.0, until="D1")),
        added=date(2026, 3, 2),
    )


def test_a_plan_of_one_row_a_stage_is_a_plan():
    plan, problems = _plan("task,stage,planned_hours,after\nhull,hull,300,\ndeck,deck,90,hull\n")
    assert problems == []
    assert plan.stages == ("hull", "deck")


def test_rows_keep_their_order_and_blank_rows_between_them_are_no_matter():
    plan, _ = _plan("task,stage\nB,x\n,\n\nA,x\n")
    assert [t.task for t in plan.tasks] == ["B", "A"]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("X,s,Z,,,", "after: 'Z' must be ids of plan.csv, space-separated"),
        ("X,s,A;B,,,", "after: 'A;B' must be ids of plan.csv, space-separated"),
        ("X,s,,Z,,", "repeat_of: 'Z' must be an id of plan.csv"),
        ("X,s,,,K9,", "delivery: 'K9' must be an id of deliveries.csv"),
        ("X,s,,,,jigs:1", "uses: 'jigs:1' must name a [[limit]] of build.toml: there is no jigs"),
        ("X,s,,,,clamps:11", "uses: 'clamps:11' must not exceed the 10 of clamps in build.toml"),
        (
            "X,s,,,,clamps:6 clamps:5@A",
            "uses: 'clamps:6 clamps:5@A' must not exceed the 10 of clamps in build.toml: "
            "the uses add up to 11",
        ),
        ("X,s,,,,clamps:1@Q", "uses: 'clamps:1@Q' must end with an id of plan.csv: there is no Q"),
        ("X,s,,,,clamps", f"uses: 'clamps' {USE_RULE}"),
        ("X,s,,,,clamps:0", f"uses: 'clamps:0' {USE_RULE}"),
        ("X,s,,,,clamps:nan", f"uses: 'clamps:nan' {USE_RULE}"),
        ("X,s,X,,,", "after: tasks form a cycle: X -> X"),
        ("X,s,,X,,", "repeat_of: tasks form a cycle: X -> X"),
    ],
)
def test_an_unknown_reference_is_named_with_its_line(row, said):
    text = f"task,stage,after,repeat_of,delivery,uses\nA,s,,,,\nB,s,,,,\n{row}\n"
    _, problems = _plan(text, limits={"clamps": 10.0}, deliveries={"K1"})
    assert problems == [f"plan.csv, line 4, {said}."]


def test_what_other_files_hold_is_not_called_unknown_when_they_could_not_be_read():
    _, problems = _plan("task,stage,delivery,uses\nA,s,K1,clamps:3\n", limits=None, deliveries=None)
    assert problems == []


def test_a_circle_of_three_is_named_in_the_order_of_the_work():
    _, problems = _plan("task,stage,after\nA,s,C\nB,s,A\nC,s,B\nD,s,A\n")
    assert problems == ["plan.csv, line 2, after: tasks form a cycle: A -> B -> C -> A."]


def test_every_circle_is_named_not_only_the_first():
    _, problems = _plan("task,stage,after\nA,s,B\nB,s,A\nC,s,D\nD,s,C\n")
    assert len(problems) == 2


def test_a_circle_of_two_thousand_is_shortened_to_a_readable_sentence():
    rows = "".join(f"T{i},s,T{(i - 1) % 2000}\n" for i in range(2000))
    _, problems = _plan(f"task,stage,after\n{rows}")
    assert len(problems) == 1
    assert "(1989 more)" in problems[0]


@given(st.dictionaries(st.integers(0, 12).map(str), st.lists(st.integers(0, 12).map(str), max_size=4)))
def test_circles_are_found_where_and_only_where_they_are(links):
    before = {task: [b for b in first if b in links] for task, first in links.items()}
    found = find_cycles(before)
    for circle in found:
        assert circle[0] == circle[-1]
        assert all(first in before[then] for first, then in zip(circle, circle[1:], strict=False))
    left = dict(before)
    while free := [t for t, first in left.items() if not any(b in left for b in first)]:
        for task in free:
            del left[task]
    assert bool(found) == bool(left)


def test_a_plan_as_of_a_day_does_not_know_later_tasks():
    plan, _ = _plan("task,stage,after,repeat_of,added\nA,s,B,,\nB,s,,,2026-03-02\nC,s,,B,\n")
    known = plan.known_on(date(2026, 3, 1))
    assert [t.task for t in known.tasks] == ["A", "C"]
    assert known.by_id["A"].after == ()
    assert known.by_id["C"].repeat_of is None


HEAD = (
    "delivery,title,ordered,lead_weeks_low,lead_weeks_likely,lead_weeks_high,"
    "arrived,late_cost_per_week,needed_for\n"
)


def test_a_delivery_not_yet_ordered_has_lead_weeks_and_no_dates():
    deliveries, problems = _deliveries(HEAD + "K1,Wing kit,,10,14,26,,,\n")
    assert problems == []
    assert deliveries == (
        Delivery(
            delivery="K1",
            title="Wing kit",
            ordered=None,
            lead_weeks_low=10,
            lead_weeks_likely=14,
            lead_weeks_high=26,
        ),
    )


def test_what_has_arrived_needs_no_lead_weeks():
    deliveries, problems = _deliveries(HEAD + "K1,,2026-01-02,,,,2026-03-02,,\n")
    assert problems == []
    assert deliveries[0].arrived == date(2026, 3, 2)
    assert deliveries[0].lead_weeks_likely == 0.0


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("K1,,,3,2,4,,,", "lead_weeks_low: '3' must not be more than lead_weeks_likely"),
        ("K1,,,1,5,4,,,", "lead_weeks_likely: '5' must not be more than lead_weeks_high"),
        ("K1,,,1,,4,,,", "lead_weeks_likely: must not be blank before it has arrived"),
        ("K1,,2026-03-02,1,2,3,2026-03-01,,", "arrived: '2026-03-01' must not be before ordered"),
        ("K1,,,1,2,3,,,wing", "needed_for: 'wing' must be a stage of plan.csv"),
    ],
)
def test_a_delivery_that_cannot_be_is_said(row, said):
    _, problems = _deliveries(f"{HEAD}{row}\n", stages=("tail",))
    assert problems == [f"deliveries.csv, line 2, {said}."]
