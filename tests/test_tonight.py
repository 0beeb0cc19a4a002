"""Tonight: chances, what speaks for a task, and an evening in which nobody is in two places at once."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented.workshop import make_build
from benchmarks.skill.tonight import chances
from forecast.cli.tonight_report import parse_hours_option, parse_people
from forecast.errors import UsageError
from forecast.files.logbook import Away
from forecast.present.tonight import more_lines, ready_table, tonight_lines, waiting_sentences
from forecast.questions.tonight import Ready, Tonight, draw_hours_left, tonight, usual_hours
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from forecast.wording import format_clock, format_odds
from tests.conftest import sessions_frame
from tests.test_readiness import task
from tests.written_build import build_of

ROOT = Path(__file__).resolve().parents[1]
AS_OF = date(2026, 3, 10)
SETTINGS = Settings(runs=400)
PLAN = (
    "task,stage,title,type,quantity,planned_hours,after,crew,hold_days,repeat_of\n"
    "D1,tail,Drill left ribs,drill,6,3,,one,,\n"
    "D2,tail,Drill right ribs,drill,6,3,,one,,D1\n"
    "P1,tail,Prime ribs,prime,1,2,D1 D2,either,2,\n"
    "R1,tail,Rivet ribs,rivet,120,8,P1,two,,\n"
    "C1,wing,Cut spar caps,cut,2,2,,either,,\n"
    "L1,wing,Lift the spar,fit,1,1,C1,two,,\n"
    "J1,wing,Set up the jig,fit,1,2,,two,,\n"
)
LOG = "date,hours,builders,task,done\n2026-03-02,2,A,D1,\n2026-03-04,1.5,A,D1,yes\n2026-03-09,1,A,D2,\n"


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench") / "mine"
    return fit_build(build_of(folder, plan_csv=PLAN, log_csv=LOG), AS_OF, SETTINGS)


def answer(fitted, *people, hours=3.0) -> Tonight:
    return tonight(fitted, hours=hours, people=people, settings=SETTINGS)


def ready(crew="either", left=(1.0, 2.0, 3.0, 7.0), *, hands=1, hours=3.0, penalty=1.2) -> Ready:
    return Ready(
        task=task("A1", crew=crew), hands=hands, session_hours=hours, hours_left=np.array(left),
        shared_penalty=penalty, why_ready="", frees=(), criticality=0.0,
    )  # fmt: skip


# Chances, by pencil ------------------------------------------------------------------------------


def test_the_chance_is_the_share_of_draws_that_fit_into_the_session():
    assert ready().probability_done == 0.75


def test_two_on_a_two_person_task_do_two_person_hours_an_hour():
    assert ready("two", (5.0, 6.0, 6.1, 8.0), hands=2).probability_done == 0.5


def test_two_who_share_need_more_person_hours():
    assert ready("either", (4.9, 5.1, 5.9, 8.0), hands=2).probability_done == 0.25
    assert ready("either", (5.0,), hands=2).expected_hours["p50"] == pytest.approx(6.0)


def test_one_never_takes_two(fitted):
    found = {r.task.task: r for r in answer(fitted, "A", "B").tasks}
    assert {r.hands for r in found.values() if r.task.crew == "one"} == {1}
    assert {r.hands for r in found.values() if r.task.crew == "two"} == {2}


def test_a_longer_evening_never_makes_it_less_likely(fitted):
    short, long = (answer(fitted, "A", hours=h) for h in (1.0, 4.0))
    chance = {r.task.task: r.probability_done for r in long.tasks}
    assert all(chance[r.task.task] >= r.probability_done for r in short.tasks)


def test_what_was_spent_is_not_spent_again(fitted):
    left = draw_hours_left(fitted, 400, np.random.default_rng(1))
    place = fitted.network.tasks.index("D2")
    total = fitted.effort.sample_first_time_hours(400, np.random.default_rng(1))[:, place]
    assert np.allclose(left[:, place], total - 1.0)


def test_the_shared_work_that_the_log_has_is_taken_out_for_one_alone(tmp_path):
    log = LOG + "2026-03-05,2,A+B,C1,\n"
    often = fit_build(build_of(tmp_path / "often", plan_csv=PLAN, log_csv=log), AS_OF, SETTINGS)
    place, model = often.network.tasks.index("C1"), often.effort
    assert model.design_.usual_share > 0
    left = draw_hours_left(often, 400, np.random.default_rng(1))[:, place]
    total = model.sample_first_time_hours(400, np.random.default_rng(1))[:, place]
    assert np.all(left < np.maximum(total - 4.0, 1e-9))


def test_of_a_task_open_again_the_rework_is_left(tmp_path):
    log = LOG + "2026-03-06,0.5,A,D1,\n"
    again = fit_build(build_of(tmp_path / "again", plan_csv=PLAN, log_csv=log), AS_OF, SETTINGS)
    left = draw_hours_left(again, 400, np.random.default_rng(1))[:, again.network.tasks.index("D1")]
    assert 0 < np.median(left) < 4.0


def test_nobody_can_ask_for_an_evening_without_hours_or_people(fitted):
    with pytest.raises(UsageError, match="hours must be above 0"):
        answer(fitted, "A", hours=0.0)
    with pytest.raises(UsageError, match="somebody"):
        answer(fitted)


# What speaks for a task --------------------------------------------------------------------------


def test_what_needs_two_comes_first_while_two_are_here(fitted):
    assert answer(fitted, "A", "B").tasks[0].task.task == "J1"
    assert "needs two, and two are here" in answer(fitted, "A", "B").tasks[0].reasons


def test_alone_what_needs_two_is_not_offered_and_its_preparation_comes_first(fitted):
    alone = answer(fitted, "A")
    assert {r.task.task for r in alone.tasks} == {"D2", "C1"}
    cut = next(r for r in alone.tasks if r.task.task == "C1")
    assert "makes Lift the spar (L1) ready for the next evening with two" in cut.reasons


def test_work_that_is_fresh_says_so(tmp_path):
    plan = PLAN + "D3,tail,Drill the fin,drill,6,3,,one,,\n"
    other = fit_build(build_of(tmp_path / "fresh", plan_csv=plan, log_csv=LOG), AS_OF, SETTINGS)
    found = {r.task.task: r.reasons for r in answer(other, "A").tasks}
    assert "drill is fresh in your hands, last done on 9 March 2026" in found["D3"]


def test_a_hold_speaks_for_starting_it_tonight(tmp_path):
    log = LOG + "2026-03-10,1,A,D2,yes\n"
    other = fit_build(build_of(tmp_path / "hold", plan_csv=PLAN, log_csv=log), AS_OF, SETTINGS)
    prime = next(r for r in answer(other, "A").tasks if r.task.task == "P1")
    assert "its hold of 2 days then runs while nobody is here" in prime.reasons


def test_the_chain_that_sets_the_date_is_the_long_one(fitted):
    """D2 leads to primer, hold and eight hours of riveting, C1 to an hour of lifting."""
    found = {r.task.task: r.criticality for r in answer(fitted, "A", "B").tasks}
    assert found["D2"] > found["C1"]


# The evening -------------------------------------------------------------------------------------


@pytest.mark.parametrize("people", [("A",), ("A", "B"), ("A", "B", "a helper")])
@pytest.mark.parametrize("hours", [0.25, 1.0, 3.0, 8.0])
def test_nobody_is_in_two_places_at_once_or_stays_longer_than_the_session(fitted, people, hours):
    spans = {p: [] for p in people}
    for part in answer(fitted, *people, hours=hours).suggestion:
        assert len(part.people) <= (1 if part.ready.task.crew == "one" else 2)
        assert len(part.people) == 2 or part.ready.task.crew != "two"
        for person in part.people:
            spans[person].append((part.begin, part.begin + part.hours))
    for own in spans.values():
        assert own == sorted(own)
        assert all(a[1] <= b[0] + 1e-9 for a, b in zip(own, own[1:], strict=False))
        assert not own or own[-1][1] <= hours + 1e-9


def test_a_task_is_suggested_once(fitted):
    named = [p.ready.task.task for p in answer(fitted, "A", "B", hours=8).suggestion]
    assert len(named) == len(set(named))


def test_who_has_nothing_else_to_do_shares(tmp_path):
    plan = "task,stage,title,type,planned_hours,crew\nC1,wing,Cut,cut,4,either\n"
    log = "date,hours,builders,task\n2026-03-02,1,A,C1\n"
    other = fit_build(build_of(tmp_path / "one", plan_csv=plan, log_csv=log), AS_OF, SETTINGS)
    assert [p.people for p in answer(other, "A", "B").suggestion] == [("A", "B")]


def test_nothing_is_asked_of_a_build_that_is_finished(tmp_path):
    plan = "task,stage,title,type\nC1,wing,Cut,cut\n"
    log = "date,hours,builders,task,done\n2026-03-02,1,A,C1,yes\n"
    other = fit_build(build_of(tmp_path / "over", plan_csv=plan, log_csv=log), AS_OF, SETTINGS)
    found = answer(other, "A")
    assert found.to_dict() == {"tasks": []}
    assert tonight_lines(found) == ["Tonight, 3 h, A: no task of the plan is ready."]


def test_away_days_are_said(fitted):
    away = Away(builder=None, start=AS_OF, end=date(2026, 3, 12), reason="")
    there = replace(fitted, build=replace(fitted.build, away=(away,)))
    assert "According to away.csv everybody is away until Thursday 12 March." in answer(there, "A").notes


def test_the_same_seed_gives_the_same_answer(fitted):
    assert answer(fitted, "A").to_dict() == answer(fitted, "A").to_dict()


# Usual hours -------------------------------------------------------------------------------------


def test_the_usual_session_is_the_median_day_at_the_bench():
    rows = [{"date": f"2026-03-{d:02d}", "hours": h} for d, h in ((1, 1.0), (2, 2.5), (3, 6.0))]
    assert usual_hours(sessions_frame(rows)) == 2.5


def test_two_rows_of_one_evening_are_one_session():
    rows = [{"date": "2026-03-01", "hours": 1.0}, {"date": "2026-03-01", "hours": 2.0}]
    assert usual_hours(sessions_frame(rows)) == 3.0


def test_rows_that_stand_for_several_days_are_no_session():
    assert usual_hours(sessions_frame([{"date": "2026-03-01", "until": "2026-03-05", "hours": 40.0}])) is None


# In words ----------------------------------------------------------------------------------------


def test_the_lines_say_who_does_what_and_why(fitted):
    lines = tonight_lines(answer(fitted, "A", "B"))
    assert lines[0] == "Tonight, 3 h, A and B:"
    assert lines[1].startswith("  A and B together: Set up the jig (J1), about ")
    assert lines[2] == "    Ready: two are here."


def test_the_table_has_a_row_for_each_ready_task(fitted):
    assert ready_table(answer(fitted, "A")).row_count == 2


def test_what_waits_for_the_same_thing_is_said_once(fitted):
    said = waiting_sentences(answer(fitted, "A"))
    assert said == [
        "Set up the jig (J1) waits for a second pair of hands.",
        "Prime ribs (P1) waits for Drill right ribs (D2) to be finished.",
    ]


def test_what_is_left_out_is_counted(fitted):
    found = answer(fitted, "A")
    many = replace(found, tasks=found.tasks * 10)
    assert more_lines(many)[0] == "8 more are ready; --json lists all of them."


def test_clock_hours_and_odds_are_rounded_as_people_say_them():
    assert [format_clock(h) for h in (0.1, 0.9, 1.6, 2.0)] == ["15 min", "1 h", "1 h 30", "2 h"]
    assert [format_odds(c) for c in (0.0, 0.049, 0.05, 0.951)] == [
        "hardly any chance", "hardly any chance", "1 in 10", "nearly certain"
    ]  # fmt: skip


# The command -------------------------------------------------------------------------------------


def benchdays(*words):
    return subprocess.run(
        [sys.executable, "-m", "forecast.cli", "tonight", *map(str, words)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=240,
    )  # fmt: skip


def test_the_command_answers_in_the_json_of_the_contract():
    said = benchdays(
        "sample_logs/turnstone", "--as-of", "2026-03-31", "--hours", "3", "--builders", "A+B", "--json"
    )
    found = json.loads(said.stdout)
    assert set(found) == {"tasks"}
    assert found["tasks"]
    for one in found["tasks"]:
        assert set(one) == {"task", "title", "expected_hours", "probability_done", "why_ready", "frees"}
        assert list(one["expected_hours"]) == ["p05", "p10", "p25", "p50", "p75", "p80", "p90", "p95"]
        assert 0 <= one["probability_done"] <= 1


def test_a_wrong_word_is_one_sentence_and_exit_2():
    said = benchdays("sample_logs/turnstone", "--hours", "25")
    assert said.returncode == 2
    assert said.stderr == "--hours: '25' must be hours as 2.5 or 2:30, above 0 and at most 24.\n"


@pytest.mark.parametrize("text", ["0", "-1", "24.5", "two", "2:75", "nan"])
def test_hours_that_are_none_are_refused(text):
    with pytest.raises(UsageError, match="must be hours as 2.5 or 2:30, above 0 and at most 24"):
        parse_hours_option(text)


def test_hours_are_read_as_in_the_log():
    assert [parse_hours_option(t) for t in ("2:30", "3", "")] == [2.5, 3.0, None]


@pytest.mark.parametrize("text", ["C", "A+A", "A+", "2"])
def test_people_whom_the_build_does_not_know_are_refused(fitted, text):
    with pytest.raises(UsageError, match=r"must be builders of build.toml \(A, B\) joined by \+"):
        parse_people(fitted.build, text)


def test_people_are_read_as_in_the_log(fitted):
    assert parse_people(fitted.build, "") == ("A",)
    assert parse_people(fitted.build, "B+A") == ("A", "B")
    assert parse_people(fitted.build, "A+1") == ("A", "a helper")
    assert parse_people(fitted.build, "A+2") == ("A", "helper 1", "helper 2")


# Are the chances right? --------------------------------------------------------------------------


def test_of_tasks_given_70_to_90_in_100_so_many_are_finished():
    """A small corner of benchmarks/skill/tonight.py; the band is four standard errors of the count."""
    made = [(make_build(seed=s, tasks=70), s) for s in (41, 42, 43, 44, 45)]
    found = pd.concat([chances(m, m.cut(at), s) for m, s in made for at in (0.3, 0.7)])
    likely = found.loc[found["chance"].between(0.7, 0.9)]
    assert len(likely) >= 15
    given, finished = likely["chance"].mean(), likely["done"].mean()
    assert abs(finished - given) < 4 * np.sqrt(given * (1 - given) / len(likely))
