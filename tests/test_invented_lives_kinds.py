"""Each kind of invented household does what its name says."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import date

import numpy as np

from benchmarks.invented.lives import (
    LivedBuild,
    cuts,
    figures,
    invent,
    plan_as_of,
)
from tests.test_invented_lives import clock_hours, people, table


def several(kind: str, count: int = 8) -> list[LivedBuild]:
    return [invent(kind, seed) for seed in range(60, 60 + count)]


def yearly(build: LivedBuild) -> np.ndarray:
    weeks = figures.weekly_hours(build)
    return weeks[: 52 * (len(weeks) // 52)].reshape(-1, 52).sum(axis=1)


def test_fading_households_work_less_in_later_years() -> None:
    years = [yearly(build) for build in several("fade", 12)]
    ratios = [y[-1] / y[0] for y in years if len(y) >= 3]
    assert np.median(ratios) < 0.7


def test_households_that_speed_up_work_more_in_later_years() -> None:
    years = [yearly(build) for build in several("speeding_up", 12)]
    ratios = [y[-1] / y[0] for y in years if len(y) >= 2]
    assert np.median(ratios) > 1.2


def test_a_long_gap_is_eight_months_and_more() -> None:
    for build in several("long_gap"):
        days = [piece.date for piece in build.truth.worked]
        assert max((b - a).days for a, b in zip(days, days[1:], strict=False)) >= 240


def growth_by_half(build: LivedBuild) -> tuple[float, float]:
    """Added over first planned hours of the early and of the late half of the stages."""
    rows = table(build.files["plan.csv"])
    stages = list(dict.fromkeys(row["stage"] for row in rows))
    half = len(stages) // 2
    found = []
    for names in (stages[:half], stages[half:]):
        hours = [(bool(r["added"]), float(r["planned_hours"] or 0)) for r in rows if r["stage"] in names]
        found.append(sum(h for new, h in hours if new) / sum(h for new, h in hours if not new))
    return found[0], found[1]


def test_growth_rises_by_stage_in_late_growth() -> None:
    halves = np.array([growth_by_half(build) for build in several("late_growth")])
    assert np.median(halves[:, 1]) > 2 * np.median(halves[:, 0])
    assert np.median(halves[:, 1]) > 0.2


def test_unmarked_growth_leaves_added_blank_and_keeps_the_earlier_plans() -> None:
    build = several("unmarked_growth", 1)[0]
    rows = table(build.files["plan.csv"])
    assert not any(row["added"] for row in rows)
    sizes = [len(table(text)) for _, text in build.truth.plan_versions]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[-1] == len(rows)
    assert plan_as_of(build, build.truth.start) == build.truth.plan_versions[0][1]


def test_unmarked_plans_hold_every_task_by_the_day_it_is_worked_at() -> None:
    build = several("unmarked_growth", 1)[0]
    for day in cuts(build, (0.25, 0.75)):
        known = {row["task"] for row in table(plan_as_of(build, day))}
        assert {piece.task for piece in build.truth.worked if piece.task and piece.date <= day} <= known


def test_an_inspection_reopens_a_batch_of_finished_tasks() -> None:
    for build in several("rework_storms", 4):
        done: set[str] = set()
        reopened: Counter[int] = Counter()
        for piece in build.truth.worked:
            if piece.rework and piece.task in done:
                reopened[(piece.date - build.truth.start).days // 91] += 1
                done.discard(piece.task)
            if piece.done:
                done.add(piece.task)
        assert max(reopened.values()) >= 3


def test_coarse_plans_have_few_large_rows() -> None:
    for build in several("coarse"):
        rows = table(build.files["plan.csv"])
        stages = {row["stage"] for row in rows}
        assert len(rows) <= 5 * len(stages)
        assert sum(float(row["planned_hours"]) for row in rows) >= 380


def test_tidy_keepers_have_many_tasks_at_exactly_the_planned_hours() -> None:
    shares = []
    for build in several("tidy"):
        planned = {row["task"]: row["planned_hours"] for row in table(build.files["plan.csv"])}
        written: dict[str, float] = defaultdict(float)
        for row in table(build.files["log.csv"]):
            if row["task"] and not row["rework"]:
                written[row["task"]] += clock_hours(row["hours"]) * people(row["builders"])
        shares.append(np.mean([abs(written[t] - float(p)) < 0.05 for t, p in planned.items() if p]))
    assert 0.3 <= np.median(shares) <= 0.65


def test_sloppy_keepers_join_days_and_tick_off_late() -> None:
    for build in several("sloppy", 4):
        rows = table(build.files["log.csv"])
        assert np.mean([bool(row["until"]) for row in rows]) > 0.03
        ticks = [p for p in build.truth.worked if p.done and p.hours == 0.25]
        assert len(ticks) > 5


def test_helpers_without_a_name_are_in_the_log() -> None:
    for build in several("helpers", 4):
        rows = table(build.files["log.csv"])
        assert any(row["builders"].split("+")[-1].isdigit() for row in rows)
        both = {r["date"] for r in rows if "A" in r["builders"] and "B" in r["builders"]}
        days = {r["date"] for r in rows}
        assert len(both) > 0.3 * len(days)


def test_partial_logs_leave_out_a_fifth_to_a_half() -> None:
    missing = []
    for build in several("partial_log", 12):
        worked = [piece for piece in build.truth.worked if piece.task]
        missing.append(np.mean([not piece.task_named for piece in worked]))
    assert 0.2 <= np.median(missing) <= 0.5
    assert any(not piece.logged for build in several("partial_log", 4) for piece in build.truth.worked)


def test_the_partner_continues_alone_after_the_hand_over() -> None:
    for build in several("handed_over", 4):
        last_of_a = max(p.date for p in build.truth.worked if "A" in p.builders)
        assert last_of_a < cuts(build, (0.95,))[0]


def test_dormant_households_leave_stages_for_months() -> None:
    idle = []
    for build in several("dormant"):
        days: dict[str, list[date]] = defaultdict(list)
        for piece in build.truth.worked:
            if piece.task:
                days[piece.stage].append(piece.date)
        idle += [
            max((b - a).days for a, b in zip(d, d[1:], strict=False)) for d in days.values() if len(d) > 1
        ]
    assert np.median(idle) > 180


def test_mixed_households_have_two_mechanisms_and_more() -> None:
    assert all(2 <= len(build.truth.mechanisms) <= 4 for build in several("mixed"))
