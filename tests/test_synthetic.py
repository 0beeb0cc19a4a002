"""Invented builds: the truth is what was simulated, and the rules of the plan are obeyed."""

import re
from dataclasses import replace
from datetime import date, timedelta
from math import log
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import kstest

import benchmarks.invented.workshop
from benchmarks.invented.workshop import (
    EFFORT_KINDS,
    HABIT_KINDS,
    Scenario,
    make_build,
    play_scenario,
    write_build,
)
from benchmarks.invented.workshop.scenario import true_tasks
from benchmarks.invented.workshop.totals import Totals, TrueTask, draw_residuals
from benchmarks.invented.workshop.truth import BeyondTruth, EffortTruth, HabitTruth, OrderTruth, ReportTruth
from forecast.files.folder import read_build
from forecast.files.logbook import Away, Builder
from forecast.files.plan import Delivery, Limit, Plan, Task, Use
from forecast.learn.learning_curve import lot_hours

EVERY_DAY = HabitTruth(
    day_chance=(1.0,) * 7, session_hours=3.0, session_shape=400.0, stop_chance=0.0, level_sd=0.0,
    helper_chance=0.0, call_chance=0.0, both_chance=1.0,
)  # fmt: skip
MONDAY = date(2026, 1, 5)


def scenario(*tasks: Task, **changes) -> Scenario:
    plan = Plan(tasks=tasks)
    plain = Scenario(
        name="toy", country=None, builders=(Builder(id="A"),), limits=(), plan=plan, deliveries=(), away=(),
        start=MONDAY, tasks=true_tasks(plan), pair_effect={},
        effort=EffortTruth(residual_sd={"general": 0.0}),
        beyond=BeyondTruth(), reports=ReportTruth(), habit=EVERY_DAY,
        order=OrderTruth(run_ahead=0.0, wander=0.0),
    )  # fmt: skip
    return replace(plain, **changes)


def task(name: str, hours: float, **more) -> Task:
    return Task(**{"task": name, "stage": "tail", "title": name, "planned_hours": hours, **more})


@pytest.fixture(scope="module")
def builds():
    """A few builds of every kind, half of them of two people."""
    return [
        make_build(effort=e, habit=h, seed=i, tasks=70, builders=1 + i % 2)
        for i, (e, h) in enumerate((e, h) for e in EFFORT_KINDS for h in HABIT_KINDS)
    ]


def first_done(build) -> pd.Series:
    rows = build.sessions.loc[build.sessions["done"]]
    return rows.groupby("task")["until"].min()


def first_worked(build) -> pd.Series:
    rows = build.sessions.loc[build.sessions["task"] != ""]
    return rows.groupby("task")["date"].min()


def test_without_residuals_a_task_takes_what_is_planned():
    made = play_scenario(scenario(task("A", 4.0)), seed=1)
    assert made.truth.total_hours == {"A": 4.0}


def test_two_tasks_in_series_take_their_hours_at_the_daily_pace():
    made = play_scenario(scenario(task("A", 3.0), task("B", 6.0, after=("A",))), seed=1)
    per_day = made.build.sessions.groupby("date")["hours"].sum()
    assert made.truth.build_finish == MONDAY + timedelta(days=len(per_day) - 1)
    assert per_day.sum() == 9.0


def test_a_successor_waits_for_the_hold():
    """Nearly every day has a session: the first one after three whole days starts the successor."""
    waits = []
    for seed in range(8):
        toy = scenario(task("A", 1.0, hold_days=3.0), task("B", 1.0, after=("A",)))
        build = play_scenario(toy, seed=seed).build
        waits.append(first_worked(build)["B"] - first_done(build)["A"])
    assert min(waits) == timedelta(days=4)


def test_a_repeat_takes_less_by_the_repeat_effect():
    effort = EffortTruth(residual_sd={"general": 0.0}, repeat=log(0.5))
    made = play_scenario(scenario(task("A", 8.0), task("B", 8.0, repeat_of="A"), effort=effort), seed=1)
    assert made.truth.total_hours == {"A": 8.0, "B": 4.0}


def test_a_task_for_two_waits_for_two():
    b = Builder(id="B", joins=MONDAY + timedelta(days=10))
    made = play_scenario(scenario(task("A", 2.0, crew="two"), builders=(Builder(id="A"), b)), seed=1)
    assert made.build.sessions["date"].min().date() >= b.joins
    assert made.build.sessions["builders"].tolist() == ["A+B"]


def test_somebody_alone_with_only_two_person_work_calls_in_help():
    calls = replace(EVERY_DAY, call_chance=1.0, helper_hours=3.0)
    made = play_scenario(scenario(task("A", 2.0, crew="two"), habit=calls), seed=1)
    assert made.build.sessions["helpers"].tolist() == [1]


def test_sharing_a_task_multiplies_its_hours_by_the_penalty():
    effort = EffortTruth(residual_sd={"general": 0.0}, shared_penalty=1.5)
    both = (Builder(id="A"), Builder(id="B"))
    made = play_scenario(scenario(task("A", 20.0), builders=both, effort=effort), seed=1)
    shared = made.build.sessions.loc[made.build.sessions["people"] == 2, "person_hours"].sum()
    alone = made.build.sessions["person_hours"].sum() - shared
    assert shared > 15.0
    assert shared / 1.5 + alone == pytest.approx(20.0, abs=0.5)


def test_nobody_works_while_everybody_is_away():
    away = Away(builder=None, start=MONDAY + timedelta(days=1), end=MONDAY + timedelta(days=7))
    made = play_scenario(scenario(task("A", 9.0), away=(away,)), seed=1)
    days = made.build.sessions["date"].dt.date
    assert days.iloc[0] == MONDAY
    assert days.iloc[1] == MONDAY + timedelta(days=8)


def test_work_that_needs_a_delivery_waits_for_it():
    kit = Delivery(
        delivery="kit", title="", ordered=None, lead_weeks_low=2.0, lead_weeks_likely=2.0, lead_weeks_high=2.0
    )
    made = play_scenario(scenario(task("A", 1.0, delivery="kit"), deliveries=(kit,)), seed=1)
    (came,) = made.build.deliveries
    assert came.ordered == MONDAY
    assert came.arrived == MONDAY + timedelta(weeks=2) == made.truth.build_finish


def test_tasks_that_use_up_the_same_limit_do_not_overlap():
    uses = (Use(limit="pins", amount=60.0),)
    both = (Builder(id="A"), Builder(id="B"))
    tasks = [task(name, 2.0, crew="one", uses=uses) for name in "ABC"]
    pins = (Limit(id="pins", amount=100.0),)
    made = play_scenario(scenario(*tasks, builders=both, limits=pins), seed=1)
    assert (made.build.sessions.groupby("date")["builders"].nunique() == 1).all()


def test_a_lot_costs_the_sum_of_its_pieces():
    """The total of a lot by unit theory, against `lot_hours`, which is checked against printed tables."""
    slope = log(0.8) / log(2)
    lots = [TrueTask(task=n, type="t", base_hours=10.0, quantity=10) for n in "ABC"]
    totals = Totals(EffortTruth(learning_slope={"t": slope}, residual_sd={"t": 0.0}), lots, {})
    totals.redraw(np.random.default_rng(0))
    hours = np.array([totals.begin(i) for i in range(3)])
    unit = lot_hours(1.0, np.array([1, 11, 21]), np.array([10, 20, 30]), slope, theory="unit")
    assert hours == pytest.approx(unit / unit.sum() * 30.0)


def test_pieces_counted_part_way_are_those_whose_cost_is_spent():
    slope = log(0.5) / log(2)  # piece costs 1, 1/2, 1/3, 1/4
    totals = Totals(
        EffortTruth(learning_slope={"t": slope}),
        [TrueTask(task="A", type="t", base_hours=4.0, quantity=4)],
        {},
    )
    totals.redraw(np.random.default_rng(0))
    totals.begin(0)
    shares = np.array([0.40, 0.48, 0.70, 0.72, 0.87, 0.88]) * 1.0
    assert [totals.pieces_done(0, s) for s in shares] == [0, 1, 1, 2, 2, 3]


def test_residuals_have_a_standard_deviation_of_1():
    residuals = draw_residuals(EffortTruth(), 40_000, np.random.default_rng(3))
    assert residuals.std() == pytest.approx(1.0, abs=0.02)


def test_no_task_is_started_before_its_predecessors(builds):
    for made in builds:
        begun, done = first_worked(made.build), first_done(made.build)
        # A row of several days shows neither when its task was started nor when it was finished.
        lumped = set(made.build.sessions.query("date != until")["task"])
        pairs = [(a, t.task) for t in made.build.plan.tasks for a in t.after if not {a, t.task} & lumped]
        for before, then in pairs:
            hold = made.build.plan.by_id[before].hold_days
            assert begun[then] >= done[before] + pd.Timedelta(days=hold + 1 if hold else 0)
        assert len(pairs) > 20


def test_two_person_tasks_have_two_and_one_person_tasks_one(builds):
    for made in builds:
        rows = made.build.sessions.query("task != '' and not rework")
        crew = rows["task"].map({t.task: t.crew for t in made.build.plan.tasks})
        assert (rows.loc[crew == "two", "people"] == 2).all()
        assert (rows.loc[crew == "one", "people"] == 1).all()


def test_nobody_is_in_the_log_before_they_join(builds):
    for made in builds:
        for b in made.build.builders:
            rows = made.build.sessions.loc[made.build.sessions["builders"].str.contains(b.id)]
            assert b.joins is None or rows["date"].min().date() >= b.joins


def test_tasks_wait_for_the_delivery_that_they_name(builds):
    waited = 0
    for made in builds:
        arrived = {d.delivery: d.arrived for d in made.build.deliveries}
        begun = first_worked(made.build)
        for t in made.build.plan.tasks:
            if t.delivery is not None:
                assert begun[t.task].date() >= arrived[t.delivery]
                waited += 1
    assert waited > 50


def test_the_truth_is_what_the_log_adds_up_to(builds):
    for made in builds:
        rows = made.build.sessions
        spent = rows.loc[~rows["rework"]].groupby("task")["person_hours"].sum()
        for name, hours in made.truth.total_hours.items():
            assert spent[name] == pytest.approx(hours)
        outside = rows.loc[rows["task"] == "", "person_hours"].sum()
        assert outside == pytest.approx(made.truth.outside_hours)
        assert made.truth.weekly_hours.sum() == pytest.approx(rows["person_hours"].sum())


def test_the_truth_knows_the_day_on_which_each_stage_was_finished(builds):
    for made in builds:
        rows = made.build.sessions.query("done")
        last = rows.groupby("stage")["until"].max().dt.date
        assert made.truth.stage_finish == {s: last[s] for s in made.build.plan.stages}


def test_every_task_is_done_in_the_end(builds):
    for made in builds:
        planned = made.build.sessions.query("task != ''")
        ends = planned.sort_values(["until", "done"]).groupby("task")["done"].last()
        assert ends.all()
        assert len(ends) == len(made.build.plan.tasks)


def test_reported_percents_of_a_task_never_fall(builds):
    reports = 0
    for made in builds:
        for _, rows in made.build.sessions.query("percent == percent").groupby("task"):
            assert rows.sort_values("until")["percent"].is_monotonic_increasing
            reports += len(rows)
    assert reports > 100


def test_counted_pieces_add_up_to_the_pieces_of_the_task(builds):
    for made in builds:
        counted = made.build.sessions.groupby("task")["quantity"].sum()
        for t in made.build.plan.tasks:
            assert counted[t.task] in (0.0, t.quantity)


@pytest.mark.parametrize("number", [0, 4, 10])
def test_a_written_folder_reads_back_as_the_build_in_memory(builds, number, tmp_path):
    made = builds[number]
    write_build(made, tmp_path)
    read = read_build(tmp_path)
    pd.testing.assert_frame_equal(read.sessions, made.build.sessions)
    for part in ("name", "country", "builders", "limits", "plan", "deliveries", "away"):
        assert getattr(read, part) == getattr(made.build, part), part


@pytest.mark.parametrize("fraction", [0.1, 0.25, 0.5, 0.75])
def test_the_cut_is_the_day_on_which_the_fraction_is_in_the_log(builds, fraction):
    for made in builds:
        day = made.cut(fraction)
        rows = made.build.sessions
        share = rows.loc[rows["until"].dt.date <= day, "person_hours"].sum() / rows["person_hours"].sum()
        before = rows.loc[rows["until"].dt.date < day, "person_hours"].sum() / rows["person_hours"].sum()
        assert before < fraction <= share + 1e-9


def test_what_is_known_on_a_day_holds_nothing_later(builds):
    for made in builds:
        day = made.cut(0.5)
        known = made.as_known_on(day)
        assert known.sessions["until"].max().date() <= day
        assert all(t.added is None or t.added <= day for t in known.plan.tasks)
        assert all(d is None or d <= day for x in known.deliveries for d in (x.ordered, x.arrived))


def test_a_simulation_that_stops_early_agrees_with_the_whole_one(builds):
    made = builds[5]
    day = made.cut(0.6)
    state = made.state_on(day)
    played = sum(r.quarters * len(r.people) for r in state.workshop.rows) / 4
    whole = play_scenario(made.scenario, made.seed).build.sessions
    assert played == whole.loc[whole["date"].dt.date <= day, "person_hours"].sum()


def test_the_same_seed_gives_the_same_build_and_another_does_not():
    one, same, other = (make_build(seed=s, tasks=30) for s in (4, 4, 5))
    pd.testing.assert_frame_equal(one.build.sessions, same.build.sessions)
    assert len(one.build.sessions) != len(other.build.sessions)


def test_continuing_with_the_same_generator_gives_the_same_days():
    made = make_build(seed=4, tasks=30)
    first, second = (made.play_on(made.cut(0.5), 5, np.random.default_rng(2)) for _ in range(2))
    assert first.stage_days.tolist() == second.stage_days.tolist()


def test_the_hours_of_a_window_and_of_tasks_are_parts_of_all_hours_to_come():
    made = make_build(seed=4, tasks=30)
    day = made.cut(0.5)
    everything = [t.task for t in made.as_known_on(day).plan.tasks]

    def played(**parts):
        return made.play_on(day, 5, np.random.default_rng(2), **parts)

    short, whole = played(window_days=91, tasks=everything[:3]), played(window_days=9999, tasks=everything)
    assert (short.window_hours < short.person_hours).any()
    assert short.task_hours.max() < short.person_hours.min()
    np.testing.assert_array_equal(whole.window_hours, short.person_hours)
    assert (whole.task_hours <= short.person_hours).all()
    assert whole.task_hours.min() > 0.5 * short.person_hours.min()


def test_futures_differ_but_a_finished_stage_stays_finished():
    made = make_build(seed=4, tasks=60)
    first = made.build.plan.stages[0]
    day = made.truth.stage_finish[first] + timedelta(days=60)
    on = made.play_on(day, 8, np.random.default_rng(2))
    assert len(set(on.build_days.tolist())) > 1
    assert made.truth.build_finish > day
    assert on.stage_days[:, 0].max() == 0.0


def test_without_the_second_builder_the_rest_takes_longer():
    made = make_build(seed=7, tasks=60, builders=2)
    day = made.cut(0.6)
    both, alone = (
        made.play_on(day, 12, np.random.default_rng(3), without=who).build_days for who in ((), ("B",))
    )
    assert np.median(alone - both) > 0


@pytest.mark.parametrize("effort", ["as assumed", "heavy tails"])
def test_the_oracle_is_calibrated(effort):
    """The actual finish ranks uniformly among its draws (Kolmogorov-Smirnov at 1 in 1,000)."""
    places = []
    dice = np.random.default_rng(11)
    for seed in range(60):
        made = make_build(effort=effort, habit=HABIT_KINDS[seed % 3], seed=seed, tasks=40)
        day = made.cut(dice.uniform(0.15, 0.75))
        drawn = made.play_on(day, 19, dice.spawn(1)[0]).build_days
        actual = (made.truth.build_finish - day).days
        places.append((np.sum(drawn < actual) + dice.random() * (1 + np.sum(drawn == actual))) / 20)
    assert kstest(places, "uniform").pvalue > 0.001


def test_the_simulation_shares_no_code_with_what_it_checks():
    parts = sorted(Path(benchmarks.invented.workshop.__file__).parent.glob("*.py"))
    assert len(parts) > 10
    for part in parts:
        text = part.read_text(encoding="utf-8")
        assert not re.search(r"forecast\.(?!files\.)", text), part.name
