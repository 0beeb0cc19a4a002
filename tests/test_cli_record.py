"""`benchdays record` as a builder types it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.written_build import write_build

ROOT = Path(__file__).resolve().parents[1]
PLAN = "task,stage,type,planned_hours\n" + "".join(f"T{i},tail,drill,4\n" for i in range(1, 9))
DAYS = [f"2026-0{m}-{d:02d}" for m in (1, 2, 3) for d in (3, 10, 17, 24)]
LOG = "date,hours,task,done\n" + "".join(
    f"{day},2,T{n // 2 + 1},{'yes' if n % 2 else ''}\n" for n, day in enumerate(DAYS)
)
FORECASTS = (
    "announced,as_of,target,p05,p10,p25,p50,p75,p80,p90,p95,runs,seed\n"
    "2026-02-01,2026-02-01,build,2026-02-05,2026-02-06,2026-02-08,2026-02-10,2026-02-20,2026-02-21,,,100,0\n"
)


def record(folder, *more):
    words = [sys.executable, "-m", "forecast.cli", "record", folder, "--as-of", "2026-04-15", "--runs", "50"]
    return subprocess.run(
        [*map(str, words), *more], cwd=ROOT, capture_output=True, text=True, check=False, timeout=240
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("record") / "mine"
    toml = 'name = "Small"\n[[builder]]\nid = "A"\n'
    return write_build(where, build_toml=toml, plan_csv=PLAN, log_csv=LOG, forecasts_csv=FORECASTS)


def test_the_json_has_the_keys_of_the_contract_and_what_was_announced(folder):
    answer = json.loads(record(folder, "--json").stdout)
    assert [f["as_of"] for f in answer["forecasts"][::2]] == ["2026-02-28", "2026-03-31"]
    assert answer["coverage"].keys() == {"50", "80", "90"}
    assert answer["announced"][0]["finish"]["p90"] is None


@pytest.fixture(scope="module")
def said(folder):
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    done = record(folder)
    assert done.returncode == 0, done.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before, "record must write nothing"
    return done.stdout


@pytest.mark.parametrize(
    "words",
    [
        "4 forecasts: none can be judged yet.",
        "Announced dates: of 1 date whose outcome is known, the 80 % date held in 0; the even-odds date "
        "was at least 64 days too early.",
        "From 2 past days, 2026-02-28 to 2026-03-31; 50 runs each, seed 0, as of 2026-04-15.",
    ],
)
def test_the_words_say_how_the_dates_did_and_what_was_told(said, words):
    assert words in said


def test_an_announcement_that_cannot_be_read_is_named_before_anything_is_computed(tmp_path):
    bad = FORECASTS.replace("2026-02-10", "2026-02-31")
    where = write_build(tmp_path / "mine", plan_csv=PLAN, log_csv=LOG, forecasts_csv=bad)
    said = record(where)
    assert said.returncode == 1
    assert said.stdout == ""
    assert "forecasts.csv, line 2, p50: '2026-02-31' must be a date that exists" in said.stderr
