"""A session or a step written down at the bench."""

from datetime import date, timedelta

import pytest

from forecast.errors import InputError, UsageError
from forecast.files.entry import add_step, find_task, log_on_new_step, log_session, propose_step
from forecast.files.folder import read_build
from forecast.files.plan import Plan, Task
from forecast.files.storage import undo
from tests.written_build import LOG, PLAN, write_build

DAY = date(2026, 3, 6)
WHO_RULE = "must be builders of build.toml (A, B) joined by +, helpers as +2"
COUNT_RULE = "must be a number of 0 or more (a point before decimals)"


@pytest.fixture
def folder(tmp_path):
    return write_build(tmp_path)


def _text(folder, name="log.csv"):
    return (folder / name).read_text()


def _said(call, *args, **kwargs) -> str:
    with pytest.raises(UsageError) as raised:
        call(*args, **kwargs)
    return str(raised.value)


def test_a_session_is_written_read_back_and_said(folder):
    entry = log_session(
        folder, day=DAY, hours="2:30", builders="A+B", task="rivet", quantity="12", done=True, note="-2 left"
    )
    assert (entry.file, entry.line) == ("log.csv", 5)
    assert (
        entry.sentence == "Wrote log.csv, line 5: 2026-03-06, 2:30 h by A+B, R1 Rivet ribs, 12 pieces, done."
    )
    last = read_build(folder).sessions.iloc[-1]
    assert (last["task"], last["person_hours"], last["quantity"], last["done"]) == ("R1", 5.0, 12.0, True)
    assert last["note"] == "-2 left"
    undo(folder)
    assert _text(folder) == LOG


def test_what_is_not_said_is_the_first_builder_outside_the_plan(folder):
    entry = log_session(folder, day=DAY, hours="1", stage="shop", type="shelving")
    assert entry.sentence == "Wrote log.csv, line 5: 2026-03-06, 1 h by A, shop shelving."
    last = read_build(folder).sessions.iloc[-1]
    assert (last["builders"], last["task"], last["stage"]) == ("A", "", "shop")


def test_start_and_end_give_the_hours_past_midnight_too(folder):
    assert log_session(folder, day=DAY, start="18:30", end="20:15").row["hours"] == "1:45"
    assert log_session(folder, day=DAY, start="23:30", end="1:00").row["hours"] == "1:30"
    assert read_build(folder).sessions["start"].iloc[-1] == "23:30"


def test_a_decimal_comma_typed_at_the_bench_is_a_point_in_the_file(folder):
    assert log_session(folder, day=DAY, hours="2,5").row["hours"] == "2.5"


def test_a_first_session_makes_the_log(folder):
    (folder / "log.csv").unlink()
    assert log_session(folder, day=DAY, hours="1", task="D1").line == 2
    assert len(read_build(folder).sessions) == 1


def test_a_refused_first_session_makes_no_log(folder):
    (folder / "log.csv").unlink()
    _said(log_session, folder, day=DAY, hours="25")
    assert not (folder / "log.csv").exists()


def test_a_session_goes_to_the_last_file_of_a_log_folder(folder):
    (folder / "log").mkdir()
    (folder / "log.csv").rename(folder / "log" / "2025.csv")
    (folder / "log" / "2026.csv").write_text("date,hours,task\n")
    assert log_session(folder, day=DAY, hours="1", task="D1").file == "log/2026.csv"
    undo(folder)
    assert _text(folder, "log/2026.csv") == "date,hours,task\n"


@pytest.mark.parametrize(
    ("session", "said"),
    [
        ({"hours": "25"}, "hours: '25' must be hours as 2.5 or 2:30, above 0 and at most 24 for one day."),
        ({"hours": "two"}, "hours: 'two' must be hours as 2.5 or 2:30, above 0 and at most 24 for one day."),
        ({}, "hours: give hours, as 2.5 or 2:30, or start and end, as 18:30."),
        ({"start": "18:30", "end": "25:00"}, "end: '25:00' must be a time of day as HH:MM."),
        ({"hours": "1", "end": "20:00"}, "hours: give either hours, or start and end."),
        ({"hours": "1", "builders": "C"}, f"builders: 'C' {WHO_RULE}."),
        ({"hours": "1", "quantity": "1,200"}, f"quantity: '1,200' {COUNT_RULE}."),
        ({"hours": "1", "percent": "120"}, "percent: '120' must be a number from 0 to 100."),
        ({"hours": "1", "note": "\0"}, "note: contains characters that are not text."),
        ({"hours": "1", "note": "\udcff"}, "note: contains characters that are not text."),
        ({"hours": "1", "until": date(2026, 3, 1)}, "until: '2026-03-01' must not be before date."),
        (
            {"hours": "1", "today": DAY - timedelta(1)},
            "date: 2026-03-06 must not lie in the future (today is 2026-03-05).",
        ),
        (
            {"hours": "1", "task": "D1", "done": True},
            "done: 'yes' must occur only once per task: log.csv, line 3, has already finished D1.",
        ),
    ],
)
def test_a_session_that_cannot_be_is_refused_in_one_sentence(folder, session, said):
    assert _said(log_session, folder, day=DAY, **session) == said
    assert _text(folder) == LOG


def test_everything_wrong_with_a_session_comes_at_once(folder):
    assert len(_said(log_session, folder, day=DAY, hours="0", percent="-1", builders="Z").splitlines()) == 3


def test_rework_may_finish_a_finished_task_again(folder):
    assert log_session(folder, day=DAY, hours="1", task="D1", rework=True, done=True).line == 5


def test_a_problem_elsewhere_in_the_log_does_not_stop_the_builder(folder):
    (folder / "log.csv").write_text(LOG.replace(",2,", ",0,"))
    assert log_session(folder, day=DAY, hours="1").line == 5


def test_a_log_that_cannot_be_read_gets_no_row(folder):
    (folder / "log.csv").write_text(LOG + '2026-03-05,1,,"open,\n')
    with pytest.raises(InputError, match="never closed"):
        log_session(folder, day=DAY, hours="1")


def test_a_missing_build_is_a_sentence(tmp_path):
    with pytest.raises(InputError, match="is not a folder"):
        log_session(tmp_path / "none", day=DAY, hours="1")
    with pytest.raises(InputError, match="build.toml: is missing"):
        log_session(tmp_path, day=DAY, hours="1")


RIBS = Plan(
    tasks=(
        Task(task="T1", stage="tail", title="Drill left ribs", type="drill"),
        Task(task="T2", stage="tail", title="Drill right ribs", type="drill"),
        Task(task="T3", stage="wing", title="Drill", type="drill"),
        Task(task="rib", stage="wing", title="Rivet skin to spar", type="rivet"),
    )
)


@pytest.mark.parametrize(
    ("text", "task"),
    [
        ("T1", "T1"),
        ("t1", "T1"),
        ("rib", "rib"),
        ("drill", "T3"),
        ("LEFT", "T1"),
        ("rig rib", "T2"),
        ("spar skin", "rib"),
    ],
)
def test_a_task_is_known_by_its_id_its_title_or_some_letters_of_it(text, task):
    assert find_task(RIBS, text).task == task


def test_an_ambiguous_task_lists_the_candidates():
    assert _said(find_task, RIBS, "ribs") == (
        "task: 'ribs' matches T1 (Drill left ribs) or T2 (Drill right ribs): give the id."
    )


def test_many_candidates_are_cut_and_counted():
    plan = Plan(tasks=tuple(Task(task=f"T{i}", stage="s", title=f"Rib {i}") for i in range(30)))
    assert _said(find_task, plan, "rib").endswith("or 22 more: give the id.")


def test_an_unknown_task_is_told_the_nearest_id_or_how_to_add_one():
    assert _said(find_task, RIBS, "T11") == (
        "task: 'T11' is not a task of plan.csv: did you mean T1 (Drill left ribs)?"
    )
    assert _said(find_task, RIBS, "engine") == (
        "task: 'engine' is not a task of plan.csv: `benchdays step` adds one."
    )


def test_a_step_goes_after_its_stage_and_the_plan_knows_since_when(folder):
    (folder / "plan.csv").write_text(PLAN + "W1,wing,Fit spar,fit,1,\n")
    entry = add_step(folder, added=DAY, title="Rivet doubler", planned_hours="1.5", after="R1")
    assert entry.sentence == "Wrote plan.csv, line 4: R2 Rivet doubler, tail, rivet."
    tasks = read_build(folder).plan.tasks
    assert [t.task for t in tasks] == ["D1", "R1", "R2", "W1"]
    assert (tasks[2].added, tasks[2].planned_hours, tasks[2].after) == (DAY, 1.5, ("R1",))
    undo(folder)
    assert len(read_build(folder).plan.tasks) == 3


def test_the_stage_of_a_new_step_is_the_one_last_worked_on(folder):
    (folder / "plan.csv").write_text(PLAN + "W1,wing,Fit spar,fit,1,\n")
    log_session(folder, day=DAY, hours="1", task="W1")
    assert add_step(folder, added=DAY, title="Fit aileron").row["stage"] == "wing"


def test_a_first_step_makes_the_plan(folder):
    (folder / "plan.csv").unlink()
    add_step(folder, added=DAY, title="Sand hull", stage="hull")
    assert _text(folder, "plan.csv").splitlines()[1].startswith("hull-1,hull,Sand hull,general")


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ({"task": "D1"}, "task: 'D1' must be unique: line 2 has it too."),
        ({"task": "D 1"}, "task: 'D 1' must be an id without spaces."),
        ({"after": "Z"}, "after: 'Z' must be ids of plan.csv, space-separated."),
        ({"crew": "many"}, "crew: 'many' must be one of one, either, two."),
        ({"planned_hours": "0"}, "planned_hours: '0' must be a number above 0."),
        ({"delivery": "K1"}, "delivery: 'K1' must be an id of deliveries.csv."),
        ({"uses": "clamps:2"}, "uses: 'clamps:2' must name a [[limit]] of build.toml: there is no clamps."),
        ({"task": "X", "after": "X"}, "after: tasks form a cycle: X -> X."),
    ],
)
def test_a_step_that_cannot_be_is_refused_in_one_sentence(folder, step, said):
    assert _said(add_step, folder, added=DAY, title="New", stage="wing", **step) == said
    assert _text(folder, "plan.csv") == PLAN


def test_a_step_and_a_session_on_it_are_written_together(folder):
    step, session = log_on_new_step(
        folder, step={"title": "Dimple skin"}, added=DAY, session={"day": DAY, "hours": "2"}
    )
    assert session.row["task"] == step.row["task"] == "R2"
    assert read_build(folder).sessions["task"].iloc[-1] == "R2"


def test_a_step_whose_session_is_refused_is_not_written_either(folder):
    with pytest.raises(UsageError):
        log_on_new_step(folder, step={"title": "Dimple skin"}, added=DAY, session={"day": DAY, "hours": "99"})
    assert _text(folder, "plan.csv") == PLAN
    assert _text(folder) == LOG


MANUAL = Plan(
    tasks=(
        Task(task="08-02-01", stage="tail", title="Drill left ribs", type="drill"),
        Task(task="08-02-09", stage="tail", title="Prime left ribs", type="prime"),
        Task(task="21-01-03", stage="wing", title="Buck the spar web", type="rivet"),
    )
)


@pytest.mark.parametrize(
    ("known", "proposed"),
    [
        ({"title": "Drill tabs"}, ("08-02-10", "tail", "drill")),
        ({"title": "Drilling tabs", "stage": "wing"}, ("21-01-04", "wing", "drill")),
        ({"title": "Buck the rear spar"}, ("08-02-10", "tail", "rivet")),
        ({"title": "Wash", "task": "21-04-01"}, ("21-04-01", "wing", "general")),
        ({"title": "Wash", "task": "99-1"}, ("99-1", "tail", "general")),
        (
            {"title": "Wash", "stage": "Firewall forward"},
            ("Firewall-forward-1", "Firewall forward", "general"),
        ),
    ],
)
def test_a_new_step_is_proposed_from_the_plans_own_ways(known, proposed):
    step = propose_step(MANUAL, **known)
    assert (step.task, step.stage, step.type) == proposed


def test_a_proposed_id_is_free():
    plan = Plan(tasks=(Task(task="A2", stage="x", title="a"), Task(task="A1", stage="y", title="b")))
    assert propose_step(plan, title="c", stage="y").task == "A3"
