"""When somebody is at the bench: the model as a whole."""

from datetime import date, timedelta

import numpy as np
import pytest

from forecast.files.logbook import Away, Builder
from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import BenchTime, Newcomer
from forecast.learn.progress import read_progress
from tests.conftest import sessions_frame

MONDAY = date(2024, 1, 1)
PLAN = Plan(tasks=(Task(task="T", stage="tail", title="T"), Task(task="W", stage="wing", title="W")))
A, B = Builder(id="A"), Builder(id="B")


def weekly_rows(weeks, weekdays, hours=3.0, builders="A", start=MONDAY):
    return [
        {"date": start + timedelta(days=7 * w + d), "hours": hours, "builders": builders, "task": "T"}
        for w in weeks
        for d in weekdays
    ]


def fitted(rows, as_of, builders=(A,), plan=PLAN, **settings):
    return BenchTime().fit(read_progress(plan, sessions_frame(rows), as_of), builders, **settings)


def draw(model, days=364, draws=400, seed=0, **settings):
    start = model.history_.as_of + timedelta(days=1)
    return model.sample_hours(start, days, draws, np.random.default_rng(seed), **settings)


SUNDAYS = weekly_rows(range(60), [6])
SUNDAY_60 = MONDAY + timedelta(days=7 * 60 - 1)


def test_a_steady_builder_goes_on_at_the_same_pace(unchanging):
    year = draw(fitted(SUNDAYS, SUNDAY_60)).hours.sum(axis=(1, 2))
    assert np.median(year) == pytest.approx(52 * 3, rel=0.1)


def test_the_pace_of_a_steady_builder_falls_as_that_of_other_builders_does():
    # The mean of 1 - exp(-week / 130) is .176 over the first year and .447 over the second: with a later
    # change of -.3 in the log, the pace is .95 and .87 of what it was.
    hours = draw(fitted(SUNDAYS, SUNDAY_60), days=2 * 364).hours.sum(axis=2)
    first, second = np.median(hours[:, :364].sum(axis=1)), np.median(hours[:, 364:].sum(axis=1))
    assert first == pytest.approx(0.95 * 141, rel=0.1)
    assert second < first


def test_who_only_ever_works_on_sundays_stays_so():
    hours = draw(fitted(SUNDAYS, SUNDAY_60)).hours[:, :, 0]
    assert hours[:, 6::7].sum() > 0.97 * hours.sum()


def test_a_longer_horizon_keeps_the_first_days():
    model = fitted(SUNDAYS, SUNDAY_60)
    short, long = draw(model, days=200), draw(model, days=900)
    assert short.hours.tobytes() == long.hours[:, :200].tobytes()
    assert short.stage_rank.tobytes() == long.stage_rank[:, :200].tobytes()


def test_the_same_seed_gives_the_same_bytes():
    first, second = (draw(fitted(SUNDAYS, SUNDAY_60)) for _ in range(2))
    assert first.hours.tobytes() == second.hours.tobytes()


def test_who_joins_changes_nothing_for_the_others():
    model = fitted(SUNDAYS, SUNDAY_60)
    alone, two = draw(model), draw(model, joining=[Newcomer(id="B", weekly_hours=5)])
    assert two.people == ("A", "B")
    assert alone.hours[:, :, 0].tobytes() == two.hours[:, :, 0].tobytes()


def test_nobody_comes_while_everybody_is_away():
    away = [Away(builder=None, start=SUNDAY_60, end=SUNDAY_60 + timedelta(days=366))]
    assert draw(fitted(SUNDAYS, SUNDAY_60, away=away)).hours[:, :366].sum() == 0


def test_nobody_comes_before_they_join():
    joins = SUNDAY_60 + timedelta(days=100)
    model = fitted(SUNDAYS, SUNDAY_60, builders=(A, Builder(id="B", joins=joins, weekly_hours=5)))
    hours = draw(model).hours[:, :, 1]
    assert hours[:, :99].sum() == 0
    assert hours[:, 99:].sum() > 0


def test_a_start_before_the_end_of_the_log_is_refused():
    model = fitted(SUNDAYS, SUNDAY_60)
    with pytest.raises(ValueError, match="must lie after"):
        model.sample_hours(SUNDAY_60, 7, 10, np.random.default_rng(0))


def test_an_empty_log_says_that_it_rests_on_other_builders():
    model = fitted([], SUNDAY_60)
    assert any("other builders" in note for note in model.notes_)
    assert draw(model).hours.sum() > 0


def test_somebody_without_sessions_is_said_to_rest_on_a_guess():
    model = fitted(SUNDAYS, SUNDAY_60, builders=(A, Builder(id="B", joins=SUNDAY_60, weekly_hours=5)))
    assert "B has no sessions yet: 4.9 hours per week as stated, range 2.1 to 11." in model.notes_
    assert model.basis_["B"] == "prior"
