"""The commands as a builder types them, on the samples, on copies of them, and on broken folders."""

import csv
import json
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "sample_logs"
TURNSTONE = SAMPLES / "turnstone"
DAY = "2026-03-31"
QUANTILES = {"p05", "p10", "p25", "p50", "p75", "p80", "p90", "p95"}


def benchdays(*words, ok=True):
    done = subprocess.run(
        [sys.executable, "-m", "forecast.cli", *map(str, words)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=240,
    )  # fmt: skip
    if ok:
        assert done.returncode == 0, done.stderr
    return done


def finish_json(folder, *more, runs=200):
    return benchdays("finish", folder, "--json", "--runs", runs, "--no-keep", *more).stdout


def rewrite(path, change):
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
        columns = list(rows[0])
    rows = change(rows)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def turnstone(tmp_path):
    return Path(shutil.copytree(TURNSTONE, tmp_path / "turnstone"))


@pytest.mark.parametrize("name", ["turnstone", "dunlin", "dinghy"])
def test_finish_answers_on_each_sample(name):
    printed = benchdays("finish", SAMPLES / name, "--runs", 200, "--no-keep").stdout
    assert "Whole build:" in printed
    assert "80 % sure by" in printed or "at this pace" in printed or "past 15 years" in printed


def test_the_json_of_finish_has_the_keys_of_the_contract():
    answer = json.loads(finish_json(TURNSTONE, "--as-of", DAY))
    assert set(answer) == {"as_of", "runs", "seed", "basis", "stages", "build"}
    assert set(answer["basis"]) == {"finished_tasks", "sessions", "weeks"}
    keys = {"finished", "finish", "first_90", "person_hours_left", "probability_past_horizon"}
    assert set(answer["build"]) == keys
    for stage in answer["stages"]:
        assert set(stage) == keys | {"stage"}
        assert set(stage["finish"]) == set(stage["person_hours_left"]) == QUANTILES


def test_quantiles_of_every_stage_are_in_order_and_first_90_is_not_later():
    answer = json.loads(finish_json(TURNSTONE, "--as-of", DAY))
    for part in [*answer["stages"], answer["build"]]:
        dates = [d for d in part["finish"].values() if d is not None]
        assert dates == sorted(dates)
        for key, day in part["first_90"].items():
            if part["finish"][key] is not None:
                assert day is not None
                assert day <= part["finish"][key]


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not():
    first = finish_json(TURNSTONE, "--as-of", DAY, "--seed", 4)
    assert finish_json(TURNSTONE, "--as-of", DAY, "--seed", 4) == first
    other = finish_json(TURNSTONE, "--as-of", DAY, "--seed", 5)
    assert json.loads(other)["build"] != json.loads(first)["build"]


def test_as_of_never_sees_the_future(turnstone):
    before = finish_json(turnstone, "--as-of", DAY)
    rewrite(turnstone / "log.csv", lambda rows: [r for r in rows if (r["until"] or r["date"]) <= DAY])
    rewrite(turnstone / "plan.csv", lambda rows: _forget_later_tasks(rows))
    if (turnstone / "deliveries.csv").exists():
        rewrite(turnstone / "deliveries.csv", lambda rows: [_forget_later_arrival(r) for r in rows])
    assert finish_json(turnstone, "--as-of", DAY) == before


def _forget_later_tasks(rows):
    later = {r["task"] for r in rows if (r.get("added") or "") > DAY}
    kept = [r for r in rows if r["task"] not in later]
    return [{**r, "after": " ".join(a for a in r["after"].split() if a not in later)} for r in kept]


def _forget_later_arrival(row):
    return {**row, "arrived": row["arrived"] if row["arrived"] <= DAY else "",
            "ordered": row["ordered"] if row["ordered"] <= DAY else ""}  # fmt: skip


def test_moving_rows_of_the_log_changes_nothing(turnstone):
    before = finish_json(turnstone, "--as-of", DAY)

    def move_a_hundred(rows):
        moved = random.Random(8)
        for _ in range(100):
            rows.insert(moved.randrange(len(rows)), rows.pop(moved.randrange(len(rows))))
        return rows

    rewrite(turnstone / "log.csv", move_a_hundred)
    assert finish_json(turnstone, "--as-of", DAY) == before


def test_a_broken_folder_gets_sentences_and_exit_code_one(turnstone):
    rewrite(turnstone / "log.csv", lambda rows: [{**rows[0], "hours": "two"}, {**rows[1], "task": "nowhere"}])
    done = benchdays("finish", turnstone, "--no-keep", ok=False)
    assert done.returncode == 1
    assert "log.csv, line 2, hours: 'two'" in done.stderr
    assert "log.csv, line 3, task: 'nowhere'" in done.stderr
    assert "Traceback" not in done.stderr


def test_check_finds_no_problem_in_a_sample():
    assert "no problems" in benchdays("check", TURNSTONE).stdout


def test_start_then_check_then_finish(tmp_path):
    folder = tmp_path / "mine"
    benchdays("start", folder)
    benchdays("check", folder)
    assert "Whole build:" in benchdays("finish", folder, "--runs", 100, "--no-keep").stdout


def test_a_missing_folder_is_one_sentence(tmp_path):
    done = benchdays("finish", tmp_path / "gone", ok=False)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "gone" in done.stderr


@pytest.mark.parametrize(
    "words",
    [["finish"], ["finish", "x", "--as-of", "2026-13-01"], ["finish", "x", "--runs", "0"], ["nosuch"]],
)
def test_wrong_usage_is_exit_code_two(words, turnstone):
    words = [turnstone if w == "x" else w for w in words]
    done = benchdays(*words, ok=False)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_help_needs_no_heavy_import():
    code = (
        "import sys, forecast.cli\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'statsmodels', 'numba', 'pandera', 'sklearn', 'altair'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.fixture
def started(tmp_path):
    folder = tmp_path / "mine"
    benchdays("start", folder)
    return folder


def test_a_session_is_added_echoed_undone_and_redone(started):
    before = (started / "log.csv").read_bytes()
    printed = benchdays("log", started, "--hours", "2:30", "--task", "T4", "--quantity", 40).stdout
    assert "2:30 h" in printed
    assert "--undo" in printed
    after = (started / "log.csv").read_bytes()
    assert len(after.splitlines()) == len(before.splitlines()) + 1
    benchdays("log", started, "--undo")
    assert (started / "log.csv").read_bytes() == before
    benchdays("log", started, "--undo")
    assert (started / "log.csv").read_bytes() == after


def test_a_step_that_is_not_in_the_plan_is_added_with_its_session(started):
    asked = ("log", started, "--hours", 1, "--new-step", "Fit the odd door", "--task", "21-03-07")
    printed = benchdays(*asked).stdout
    assert "plan.csv" in printed
    assert "21-03-07 Fit the odd door" in printed.partition("log.csv")[2]
    assert "no problems" in benchdays("check", started).stdout
    before = (started / "log.csv").read_bytes()
    assert "21-03-07" in benchdays(*asked, ok=False).stderr
    assert (started / "log.csv").read_bytes() == before


def test_an_impossible_session_writes_nothing(started):
    before = (started / "log.csv").read_bytes()
    done = benchdays("log", started, "--hours", 25, "--task", "T4", ok=False)
    assert done.returncode == 2
    assert "25" in done.stderr
    assert (started / "log.csv").read_bytes() == before


def test_a_step_is_added_to_the_plan(started):
    benchdays("step", started, "--title", "Fit the tow hook", "--planned-hours", 2, "--after", "T4")
    assert "Fit the tow hook" in (started / "plan.csv").read_text(encoding="utf-8")
    assert "no problems" in benchdays("check", started).stdout


def test_the_json_of_overruns_has_the_keys_of_the_contract():
    answer = json.loads(benchdays("overruns", TURNSTONE, "--as-of", DAY, "--json").stdout)
    assert set(answer) == {"as_of", "types", "outside_plan_share"}
    keys = {
        "type", "basis", "finished", "planned_hours", "actual_hours", "ratio", "probability_over",
        "learning_rate", "rework_share",
    }  # fmt: skip
    for row in answer["types"]:
        assert set(row) == keys
        assert row["basis"] in {"own", "pooled", "prior"}
        assert set(row["learning_rate"]) == set(row["rework_share"]) == QUANTILES


def test_overruns_start_with_a_finding_and_give_each_ratio_a_range():
    printed = benchdays("overruns", TURNSTONE, "--as-of", DAY).stdout
    assert "times the plan (8 in 10)" in printed.splitlines()[0]
    assert "rivet" in printed
    assert "Basis: the type's own finished tasks" in printed
