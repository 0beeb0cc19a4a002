"""A build of a size that few builders reach: 2,000 tasks and 4,000 log rows."""

import csv
from datetime import date, timedelta

import numpy as np
import pytest

from tests.test_cli import benchdays

TASKS, ROWS, DONE = 2_000, 4_000, 1_200
STAGES = ("tail", "wings", "fuselage", "engine", "finish")
TYPES = ("deburr", "drill", "dimple", "prime", "rivet", "fit", "wire", "seal")


@pytest.fixture(scope="module")
def large_build(tmp_path_factory):
    folder = tmp_path_factory.mktemp("large")
    rng = np.random.default_rng(17)
    (folder / "build.toml").write_text('name = "Large"\n[[builder]]\nid = "A"\n', encoding="utf-8")
    plan = [
        {
            "task": f"T{i}", "stage": STAGES[i * len(STAGES) // TASKS], "title": f"Step {i}",
            "type": TYPES[i % len(TYPES)], "quantity": 1 + i % 40, "planned_hours": 1 + i % 7,
            "after": f"T{i - 3}" if i >= 3 else "",
        }
        for i in range(TASKS)
    ]  # fmt: skip
    first = date(2021, 1, 2)
    log = [
        {
            "date": first + timedelta(days=int(row * 1_900 / ROWS)),
            "hours": round(0.25 + float(rng.gamma(2.0, 0.6)), 2), "task": f"T{row * DONE // ROWS}",
            "done": "yes" if (row + 1) * DONE // ROWS > row * DONE // ROWS else "",
        }
        for row in range(ROWS)
    ]  # fmt: skip
    for name, rows in (("plan.csv", plan), ("log.csv", log)):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    return folder


def test_finish_answers_on_two_thousand_tasks_and_four_thousand_rows(large_build):
    printed = benchdays("finish", large_build, "--as-of", "2026-04-01", "--runs", 500, "--no-keep").stdout
    assert f"From {DONE} finished of {TASKS} tasks, {ROWS} sessions" in printed
    assert "Whole build: 80 % sure by" in printed
