"""Which types run over, and how sure that is."""

from datetime import date

import numpy as np
import pytest

from forecast.files.plan import Plan, Task
from forecast.learn.effort import EffortModel
from forecast.learn.progress import read_progress
from forecast.questions.overruns import overruns, say_sure
from tests.conftest import sessions_frame

AS_OF = date(2026, 12, 31)
QUANTILE_KEYS = ["p05", "p10", "p25", "p50", "p75", "p80", "p90", "p95"]


def _two_types(finished: int, *, rivet_times: float, open_rivet: int = 20, planned: float | None = 4.0):
    """Drilling goes as planned; riveting takes `rivet_times` its plan."""
    kinds = ["drill", "rivet"] * finished + ["drill"] * 5 + ["rivet"] * open_rivet
    plan = Plan(
        tasks=tuple(
            Task(task=f"T{i:03d}", stage="tail", title="", type=k, planned_hours=planned)
            for i, k in enumerate(kinds)
        )
    )
    rng = np.random.default_rng(4)
    rows = [
        {
            "date": f"2026-{1 + i // 28:02d}-{1 + i % 28:02d}",
            "hours": float(4.0 * (rivet_times if k == "rivet" else 1.0) * np.exp(rng.normal(0, 0.2))),
            "task": f"T{i:03d}",
            "done": True,
        }
        for i, k in enumerate(kinds[: 2 * finished])
    ]
    return plan, rows


def _answer(plan, rows, seed=1):
    progress = read_progress(plan, sessions_frame(rows), AS_OF)
    return overruns(progress, EffortModel().fit(progress, np.random.default_rng(seed)))


def _row(found, kind):
    return found.types.set_index("type").loc[kind]


def test_a_type_that_takes_half_more_than_planned_is_found():
    found = _answer(*_two_types(20, rivet_times=1.5))
    assert _row(found, "rivet")["probability_over"] > 0.95
    assert _row(found, "rivet")["ratio_p50"] == pytest.approx(1.5, rel=0.12)
    assert found.finding.startswith("Rivet runs over: 1.")


def test_a_type_that_goes_as_planned_is_not_called_over():
    found = _answer(*_two_types(20, rivet_times=1.5))
    assert 0.05 < _row(found, "drill")["probability_over"] < 0.95


def test_two_finished_tasks_say_less_than_twenty():
    few, many = (_answer(*_two_types(n, rivet_times=1.5)) for n in (2, 20))
    width = [_row(f, "rivet")["ratio_p90"] - _row(f, "rivet")["ratio_p10"] for f in (few, many)]
    assert width[0] > 1.5 * width[1]


def test_two_finished_tasks_lean_on_the_other_types_and_twenty_do_not():
    few, many = (_answer(*_two_types(n, rivet_times=1.5)) for n in (2, 20))
    assert _row(few, "rivet")["basis"] == "pooled"
    assert _row(many, "rivet")["basis"] == "own"


def test_a_ratio_from_few_tasks_is_pulled_to_the_rest():
    found = _answer(*_two_types(2, rivet_times=3.0))
    row = _row(found, "rivet")
    assert row["ratio_p50"] < row["actual_hours"] / row["planned_hours"]


def test_the_type_with_most_hours_at_stake_comes_first():
    found = _answer(*_two_types(15, rivet_times=1.5))
    assert list(found.types["type"]) == ["rivet", "drill"]


def test_what_is_at_stake_is_the_open_tasks_share_of_the_overrun():
    found = _answer(*_two_types(25, rivet_times=1.5, open_rivet=20))
    assert 20 < _row(found, "rivet")["hours_at_stake"] < 48
    closed = _answer(*_two_types(25, rivet_times=1.5, open_rivet=0))
    assert _row(closed, "rivet")["hours_at_stake"] == 0


def test_rework_counts_into_the_ratio_and_stands_apart():
    plan, rows = _two_types(15, rivet_times=1.0)
    again = [r | {"hours": 2.0, "rework": True, "done": True} for r in rows if r["task"] in ("T001", "T003")]
    plain, redone = _answer(plan, rows), _answer(plan, [*rows, *again])
    assert _row(redone, "rivet")["rework_share_p50"] > 2 * _row(plain, "rivet")["rework_share_p50"]
    assert _row(redone, "rivet")["ratio_p50"] > _row(plain, "rivet")["ratio_p50"]
    assert _row(redone, "rivet")["actual_hours"] == pytest.approx(_row(plain, "rivet")["actual_hours"] + 4)


def test_work_outside_the_plan_is_a_share_with_a_range():
    plan, rows = _two_types(15, rivet_times=1.0)
    outside = [{"date": f"2026-02-{d:02d}", "hours": 2, "type": "shop"} for d in range(1, 11)]
    share = _answer(plan, rows + outside).outside_plan_share
    worked = sum(r["hours"] for r in rows)
    assert share["p10"] < 20 / worked < share["p90"]


def test_without_planned_hours_there_is_no_ratio():
    found = _answer(*_two_types(5, rivet_times=1.0, planned=None))
    answer = found.to_dict()["types"][0]
    assert answer["planned_hours"] is None
    assert set(answer["ratio"].values()) == {None}
    assert found.finding == "No task has planned hours, so nothing can run over them."


def test_the_answer_has_the_keys_of_the_contract():
    answer = _answer(*_two_types(3, rivet_times=1.0)).to_dict()
    assert list(answer) == ["as_of", "types", "outside_plan_share"]
    assert set(answer["types"][0]) == {
        "type", "basis", "finished", "planned_hours", "actual_hours", "ratio", "probability_over",
        "learning_rate", "rework_share",
    }  # fmt: skip
    for name in ("ratio", "learning_rate", "rework_share"):
        assert list(answer["types"][0][name]) == QUANTILE_KEYS


def test_before_the_first_task_is_finished_everything_is_prior():
    plan, _ = _two_types(3, rivet_times=1.0)
    found = _answer(plan, [])
    assert set(found.types["basis"]) == {"prior"}
    assert found.finding.startswith("Which types run over is not yet known")
    assert "none has 3 finished tasks" in found.finding


def test_a_type_without_finished_tasks_leans_on_the_others_and_is_not_called_over():
    plan, rows = _two_types(20, rivet_times=1.6)
    late = tuple(
        Task(task=f"L{i}", stage="tail", title="", type="wire", planned_hours=4.0, after=()) for i in range(3)
    )
    found = _answer(Plan(tasks=plan.tasks + late), rows)
    assert _row(found, "wire")["basis"] == "pooled"
    assert "wire" not in found.finding
    assert "wire" in found.reasons[-1]


def test_nothing_is_ever_said_to_be_certain():
    found = _answer(*_two_types(30, rivet_times=2.5))
    assert "more than 99 % sure" in found.finding
    assert "100" not in found.finding
    assert [say_sure(p) for p in (1.0, 0.994, 0.99, 0.5, 0.0)] == [
        "more than 99 %", "more than 99 %", "99 %", "50 %", "less than 1 %",
    ]  # fmt: skip


def test_learning_still_to_come_is_given_as_the_reason():
    plan, _ = _two_types(0, rivet_times=1.0, open_rivet=60)
    rivet = [t for t in plan.tasks if t.type == "rivet"]
    rng = np.random.default_rng(8)
    rows = [
        {
            "date": f"2026-{1 + i // 28:02d}-{1 + i % 28:02d}",
            "hours": float(9.0 * (i + 1) ** -0.3 * np.exp(rng.normal(0, 0.1))),
            "task": task.task,
            "done": True,
        }
        for i, task in enumerate(rivet[:10])
    ]
    said = [line for line in _answer(plan, rows).reasons if "learning is still to come" in line]
    assert [line.split(":")[0] for line in said] == ["Rivet"]


def test_rework_that_puts_a_type_over_is_given_as_the_reason():
    plan, rows = _two_types(20, rivet_times=0.95)
    again = [r | {"hours": 2.4, "rework": True} for r in rows[1::2]]
    found = _answer(plan, rows + again)
    assert found.finding.startswith("Rivet runs over")
    assert any(line.startswith("Rivet: rework puts it over, ") for line in found.reasons)


def test_same_seed_same_answer():
    plan, rows = _two_types(4, rivet_times=1.2)
    assert _answer(plan, rows).to_dict() == _answer(plan, rows).to_dict()
