"""Chances and dates of an outlook whose runs are written by hand."""

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

AS_OF = date(2026, 6, 28)
# Days after the end of `as_of`: 0.4 and 1.0 both end on the next day, 1.2 on the one after it.
HULL = np.array([0.4, 1.0, 1.2, 2.0, np.inf])
WING = np.array([3.0, 3.0, 7.5, 8.0, np.inf])


def outlook(*, started=None, sessions=(), done=(False, False)) -> Outlook:
    tasks = pd.DataFrame({
        "stage": ["hull", "wing"], "done": done,
        "finished": pd.to_datetime(["2026-06-20", "2026-06-25"]),
    })  # fmt: skip
    progress = SimpleNamespace(
        tasks=tasks, open_tasks=tasks.loc[~tasks["done"]], started=started, sessions=sessions,
        finished_tasks=sum(done),
    )  # fmt: skip
    days = np.column_stack([HULL, WING])
    return Outlook(
        fitted=SimpleNamespace(as_of=AS_OF, progress=progress), settings=Settings(runs=5),
        stages=("hull", "wing"), finish_days=days, first_90_days=days / 2, build_finish_days=days.max(axis=1),
        build_first_90_days=days.max(axis=1) / 2, hours_left=np.outer(np.arange(5.0), [1.0, 10.0]),
        burn_grid_days=np.zeros(1), burn_hours_done=np.zeros((5, 2, 1)), hours_parts={},
    )  # fmt: skip


def after(days: int) -> date:
    return AS_OF + timedelta(days=days)


@pytest.mark.parametrize(("days", "chance"), [(0, 0.0), (1, 0.4), (2, 0.8), (3, 0.8), (10_000, 0.8)])
def test_the_chance_by_a_day_counts_the_runs_that_finish_on_it(days, chance):
    assert outlook().chance_by(after(days), "hull") == chance


def test_the_chance_for_the_whole_build_is_that_of_its_last_stage():
    assert [outlook().chance_by(after(d)) for d in (2, 3, 7, 8)] == [0.0, 0.4, 0.4, 0.8]


def test_a_run_that_never_finishes_lies_past_the_horizon():
    assert outlook().past_horizon("hull") == outlook().past_horizon(None) == 0.2


@pytest.mark.parametrize("level", [0.05, 0.2, 0.4, 0.41, 0.6, 0.8])
@pytest.mark.parametrize("stage", ["hull", "wing", None])
def test_the_day_at_a_level_is_the_first_by_which_the_chance_reaches_it(level, stage):
    found = outlook()
    day = found.date_at(level, stage)
    assert found.chance_by(day, stage) >= level > found.chance_by(day - timedelta(days=1), stage)


def test_there_is_no_day_at_a_level_that_too_few_runs_reach():
    assert outlook().date_at(0.81, "hull") is None


def test_the_day_of_a_finished_stage_is_the_one_on_which_it_was_finished():
    found = outlook(done=(True, False))
    assert found.date_at(0.95, "hull") == found.finished_on("hull") == date(2026, 6, 20)
    assert found.finished_on("wing") is found.finished_on(None) is None
    assert found.open_stages == ("wing",)
    assert outlook(done=(True, True)).finished_on(None) == date(2026, 6, 25)


def test_days_and_hours_are_those_of_the_stage_that_is_asked_for():
    found = outlook()
    assert found.days("wing").tolist() == WING.tolist()
    assert found.days("wing", first_90=True).tolist() == (WING / 2).tolist()
    assert found.days(None, first_90=True).tolist() == (WING / 2).tolist()
    assert found.person_hours_left("wing").tolist() == [0, 10, 20, 30, 40]
    assert found.person_hours_left(None).tolist() == [0, 11, 22, 33, 44]


@pytest.mark.parametrize(("days_ago", "weeks"), [(0, 1), (6, 1), (7, 2), (13, 2)])
def test_a_week_that_has_begun_counts_as_a_week_of_log(days_ago, weeks):
    assert outlook(started=after(-days_ago)).basis["weeks"] == weeks


def test_without_a_log_there_is_no_week_of_it():
    assert outlook().basis == {"finished_tasks": 0, "sessions": 0, "weeks": 0}
