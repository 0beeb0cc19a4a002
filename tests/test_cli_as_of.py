"""`--as-of` by the commands themselves: nothing in any file that is dated later changes an answer."""

import contextlib
import io
import json

import pytest

from forecast.cli import app
from tests.written_build import write_build

DAY = "2026-03-31"
TOML = 'name = "Small"\n[[builder]]\nid = "A"\n'
PLAN = "task,stage,type,planned_hours,delivery,added\n" + "".join(
    f"T{i},{'tail' if i < 6 else 'wing'},drill,4,{'K' if i == 10 else ''},\n" for i in range(1, 11)
)
DAYS = [f"2026-0{m}-{d:02d}" for m in (1, 2, 3) for d in (3, 10, 17, 24)]
LOG = "date,until,hours,builders,task,done\n" + "".join(
    f"{day},,2,A,T{n // 2 + 1},{'yes' if n % 2 else ''}\n" for n, day in enumerate(DAYS)
)
HEAD = "delivery,title,ordered,lead_weeks_low,lead_weeks_likely,lead_weeks_high,arrived,needed_for\n"
DELIVERIES = HEAD + "K,Kit,2026-03-01,4,6,9,,wing\nL,Late kit,,4,6,9,,wing\n"
AWAY = "builder,from,to,reason\n,2026-02-05,2026-02-08,\n"
TOLD = "announced,as_of,target,p05,p10,p25,p50,p75,p80,p90,p95,runs,seed\n"
FILES = {"build_toml": TOML, "plan_csv": PLAN, "log_csv": LOG, "deliveries_csv": DELIVERIES}
TOLD_LATER = TOLD + "2026-04-02,2026-04-02,build" + ",2026-06-01" * 8 + ",40,0\n"

# What the builder wrote down after DAY, file by file.
LATER = {
    "log_csv": LOG
    + "2026-03-30,2026-04-02,9,A,T7,yes\n"
    + "".join(f"2026-04-{d:02d},,7,A,T{d},yes\n" for d in (8, 9)),
    "plan_csv": PLAN + "X1,tail,prime,90,,2026-04-01\nX2,tip,rivet,90,,2026-04-03\n",
    "deliveries_csv": HEAD + "K,Kit,2026-03-01,4,6,9,2026-04-02,wing\nL,Late kit,2026-04-02,4,6,9,,wing\n",
}
# What only a record must not know: on the day itself it may have been planned.
PLANNED = {
    "away_csv": AWAY + ",2026-04-10,2026-09-10,ill\n",
    "build_toml": TOML + '[[builder]]\nid = "B"\njoins = 2026-04-05\nweekly_hours = 30\n',
    "forecasts_csv": TOLD_LATER,
}


def said(folder, command, day=DAY, *more):
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        app([command, str(folder), "--as-of", day, "--json", *more], standalone_mode=False)
    return printed.getvalue()


COMMANDS = {
    "finish": ("--no-keep", "--runs", "40"), "overruns": (), "orders": ("--runs", "40"),
    "tonight": ("--hours", "3", "--runs", "40"), "record": ("--runs", "40"),
}  # fmt: skip


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    place = tmp_path_factory.mktemp("as_of")
    return {
        "then": write_build(place / "then", **FILES, away_csv=AWAY),
        "later": write_build(place / "later", **(FILES | LATER), away_csv=AWAY),
        "planned": write_build(place / "planned", **(FILES | LATER | PLANNED)),
    }


@pytest.mark.parametrize("command", COMMANDS)
def test_what_was_written_down_later_changes_no_answer(folders, command):
    then, later = (said(folders[f], command, DAY, *COMMANDS[command]) for f in ("then", "later"))
    assert later == then


def test_a_record_does_not_know_later_plans_and_later_announcements_either(folders):
    answers = [
        json.loads(said(folders[f], "record", "2026-03-31", *COMMANDS["record"])) for f in ("then", "planned")
    ]
    sentences = [answer.pop("sentences") for answer in answers]
    assert answers[0] == answers[1]
    # That something was left out is all that is said of it.
    more = [s for s in sentences[1] if s not in sentences[0]]
    assert len(sentences[1]) == len(sentences[0]) + len(more)
    assert "made without B" in more[0]
    assert "1 row of away.csv is left out" in more[1]


def test_the_later_rows_do_matter_later(folders):
    answers = {
        f: said(folders[f], "finish", "2026-04-30", *COMMANDS["finish"]) for f in ("then", "later", "planned")
    }
    assert len(set(answers.values())) == 3
    told = [
        said(folders[f], "record", "2026-04-30", *COMMANDS["record"]).count('"announced": "2026')
        for f in ("then", "planned")
    ]
    assert told == [0, 1]


def test_a_forecast_as_of_the_past_is_not_written_down_as_announced(folders):
    said(folders["then"], "finish", "2026-03-31", "--runs", "40")
    assert not (folders["then"] / "forecasts.csv").exists()
