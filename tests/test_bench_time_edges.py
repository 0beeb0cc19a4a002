"""When somebody is at the bench: logs at the edge of what a log can be."""

from datetime import date, timedelta

import numpy as np
import pytest

from forecast.files.logbook import Away, Builder
from forecast.learn.bench_time.history import read_history
from forecast.learn.bench_time.weekly import weekly_log
from tests.conftest import sessions_frame
from tests.test_bench_time import MONDAY, SUNDAY_60, SUNDAYS, A, draw, fitted, weekly_rows


def year_hours(model, **settings):
    return draw(model, **settings).hours.sum(axis=(1, 2))


def test_a_log_with_one_session_gives_a_wide_range_and_says_so():
    model = fitted(SUNDAYS[:1], MONDAY + timedelta(days=6))
    low, high = np.quantile(year_hours(model), [0.1, 0.9])
    assert high > 5 * low > 0
    assert model.notes_[0].startswith("The log has sessions in 1 week:")


def test_six_months_of_silence_make_a_silent_quarter_likely():
    model = fitted(SUNDAYS, SUNDAY_60 + timedelta(days=182))
    silent = draw(model, days=91).hours.sum(axis=(1, 2)) == 0
    assert 0.4 < silent.mean() < 0.95


def test_a_log_that_stopped_two_years_ago_may_never_go_on():
    model = fitted(SUNDAYS, SUNDAY_60 + timedelta(days=2 * 365))
    never = draw(model, days=15 * 365, draws=200).hours.sum(axis=(1, 2)) == 0
    assert 0.1 < never.mean() < 0.9
    assert any(note.startswith("Nothing was logged for 104 weeks") for note in model.notes_)


def test_the_longer_the_silence_the_smaller_the_chance_of_a_session_in_a_month():
    chance = [
        (draw(fitted(SUNDAYS, SUNDAY_60 + timedelta(days=7 * w)), days=28).hours.sum(axis=(1, 2)) > 0).mean()
        for w in (0, 2, 8, 30, 104)
    ]
    assert chance == sorted(chance, reverse=True)


def test_the_chance_stands_still_over_a_year_away():
    away = [Away(builder="A", start=SUNDAY_60 + timedelta(days=1), end=SUNDAY_60 + timedelta(days=364))]
    back = fitted(SUNDAYS, SUNDAY_60 + timedelta(days=364), away=away)
    assert back.learned_.silences.silent_weeks == 0
    first_month = draw(back, days=28).hours.sum(axis=(1, 2))
    assert (first_month > 0).mean() > 0.9


def test_who_is_back_from_a_year_away_goes_on_as_before(unchanging):
    away = [Away(builder=None, start=SUNDAY_60 + timedelta(days=1), end=SUNDAY_60 + timedelta(days=364))]
    hours = draw(fitted(SUNDAYS, SUNDAY_60, away=away), days=2 * 364).hours.sum(axis=2)
    assert hours[:, :364].sum() == 0
    assert np.median(hours[:, 364:].sum(axis=1)) == pytest.approx(52 * 3, rel=0.15)


def test_weeks_half_away_have_fewer_hours():
    weekends = weekly_rows(range(60), [5, 6])
    away = [
        Away(builder=None, start=SUNDAY_60 + timedelta(days=7 * w), end=SUNDAY_60 + timedelta(days=7 * w))
        for w in range(1, 53)
    ]
    only_saturdays = year_hours(fitted(weekends, SUNDAY_60, away=away))
    assert np.median(only_saturdays) == pytest.approx(52 * 3, rel=0.2)


@pytest.mark.parametrize("weekday", range(7))
def test_the_day_of_the_week_on_which_one_asks_does_not_move_the_sunday(weekday):
    model = fitted(SUNDAYS, SUNDAY_60 + timedelta(days=weekday))
    worked = (draw(model, days=14).hours[:, :, 0] > 0).mean(axis=0)
    assert np.argmax(worked[:7]) == 6 - weekday
    assert worked[6 - weekday] > 0.85


def test_a_week_with_its_session_done_expects_no_second_one_from_a_sunday_builder():
    saturdays = weekly_rows(range(60), [5])
    model = fitted(saturdays, SUNDAY_60 - timedelta(days=1))
    assert (draw(model, days=1).hours > 0).mean() < 0.1


def test_a_leap_day_is_a_day_like_others():
    every_day = weekly_rows(range(8), range(7), hours=1.0, start=date(2024, 1, 1))
    model = fitted(every_day, date(2024, 2, 25))
    hours = draw(model, days=14).hours
    assert hours.shape == (400, 14, 1)
    assert (hours[:, 3, 0] > 0).mean() > 0.7


def test_a_clock_change_takes_no_hour():
    # The same log a week apart: the clocks of Britain change on 29 March 2026, and not a week before.
    def expected(begins: date, as_of: date) -> np.ndarray:
        every_day = weekly_rows(range(20), range(7), hours=1.0, start=begins)
        model = fitted(every_day, as_of, country="GB")
        return draw(model, days=3, draws=2000).hours[:, :, 0].mean(axis=0)

    with_change = expected(date(2025, 11, 10), date(2026, 3, 28))
    assert with_change == pytest.approx(expected(date(2025, 11, 3), date(2026, 3, 21)), rel=0.05)
    assert with_change.min() > 0.8


def test_weeks_run_over_the_end_of_the_year():
    history = read_history(sessions_frame(SUNDAYS), [A], [], date(2026, 12, 31), None)
    assert history.origin + timedelta(days=7 * history.weeks - 7) == date(2026, 12, 28)


def test_a_row_over_several_days_is_spread_over_them():
    rows = [{"date": MONDAY, "until": MONDAY + timedelta(days=3), "hours": 40.0, "task": "T"}]
    history = read_history(sessions_frame(rows), [A], [], MONDAY + timedelta(days=6), None)
    assert history.hours[:5, 0].tolist() == [10, 10, 10, 10, 0]


def test_a_row_over_several_days_leaves_out_the_days_away():
    rows = [{"date": MONDAY, "until": MONDAY + timedelta(days=3), "hours": 30.0, "task": "T"}]
    away = [Away(builder="A", start=MONDAY, end=MONDAY)]
    history = read_history(sessions_frame(rows), [A], away, MONDAY + timedelta(days=6), None)
    assert history.hours[:5, 0].tolist() == [0, 10, 10, 10, 0]


def test_lumped_entries_do_not_become_a_habit_of_working_every_day():
    lumps = [
        {"date": MONDAY + timedelta(days=7 * w), "until": MONDAY + timedelta(days=7 * w + 6), "hours": 6.0}
        for w in range(0, 60, 2)
    ]
    habit = fitted(SUNDAYS[1::2] + lumps, SUNDAY_60).learned_.habit
    assert habit.chance[0] < 0.05


def test_public_holidays_count_as_sundays_in_the_log():
    rows = [{"date": date(2025, 5, 5), "hours": 3.0}, {"date": date(2025, 5, 11), "hours": 3.0}]
    history = read_history(sessions_frame(rows), [A], [], date(2025, 5, 11), "GB")
    assert history.kinds[[0, 6]].tolist() == [6, 6]


def test_a_sunday_builder_comes_on_a_public_holiday():
    model = fitted(SUNDAYS, date(2025, 2, 23), country="GB")
    holiday = (date(2025, 5, 5) - date(2025, 2, 24)).days
    worked = (draw(model, draws=2000).hours[:, :, 0] > 0).mean(axis=0)
    assert worked[holiday] > 10 * worked[holiday - 7]


def test_nobody_sits_longer_than_a_sane_day():
    monster = weekly_rows(range(60), [6], hours=11.0)
    assert draw(fitted(monster, SUNDAY_60)).hours.max() <= 12.0


def test_the_first_week_is_not_thinned_by_the_days_before_the_first_session():
    history = read_history(sessions_frame(SUNDAYS[:1]), [A], [], MONDAY + timedelta(days=6), None)
    model = fitted(SUNDAYS[:1], MONDAY + timedelta(days=6))
    assert weekly_log(history, model.learned_.habit).log_hours[0] == pytest.approx(np.log(3))


def test_rounding_to_whole_hours_hardly_moves_the_year():
    rng = np.random.default_rng(5)
    exact = [r | {"hours": float(h)} for r, h in zip(SUNDAYS, rng.gamma(4.2, 3 / 4.2, 60) + 0.5, strict=True)]
    heaped = [r | {"hours": max(round(r["hours"]), 0.5)} for r in exact]
    medians = [np.median(year_hours(fitted(rows, SUNDAY_60))) for rows in (exact, heaped)]
    assert medians[1] == pytest.approx(medians[0], rel=0.1)


def test_a_builder_who_joins_later_is_not_there_before():
    later = Builder(id="A", joins=SUNDAY_60 + timedelta(days=31))
    assert draw(fitted([], SUNDAY_60, builders=(later,))).hours[:, :30].sum() == 0


def test_a_builder_of_the_summers_is_expected_in_summer():
    summers = [w for w in range(208) if 16 <= w % 52 <= 40]
    model = fitted(weekly_rows(summers, [2, 5, 6]), MONDAY + timedelta(days=7 * 208 - 1))
    assert model.learned_.seasonal
    assert any("season" in note for note in model.notes_)
    per_week = draw(model, days=364).hours.reshape(400, 52, 7).sum(axis=(0, 2))
    assert per_week[18:38].mean() > 4 * np.r_[per_week[:10], per_week[46:]].mean()


def test_nothing_after_the_day_asked_about_is_looked_at():
    half = MONDAY + timedelta(days=7 * 30 - 1)
    whole, cut = fitted(SUNDAYS, half), fitted(SUNDAYS[:30], half)
    assert draw(whole).hours.tobytes() == draw(cut).hours.tobytes()


def test_the_order_of_the_rows_does_not_matter():
    rows = weekly_rows(range(40), [2, 5, 6])
    shuffled = [rows[i] for i in np.random.default_rng(1).permutation(len(rows))]
    first, second = (draw(fitted(r, SUNDAY_60)).hours.tobytes() for r in (rows, shuffled))
    assert first == second


def test_no_days_asked_for_give_none():
    assert draw(fitted(SUNDAYS, SUNDAY_60), days=0).hours.shape == (400, 0, 1)


def test_a_later_start_gives_the_same_days():
    model = fitted(SUNDAYS, SUNDAY_60)
    from_tomorrow = draw(model, days=60)
    later = model.sample_hours(SUNDAY_60 + timedelta(days=11), 50, 400, np.random.default_rng(0))
    assert later.hours.tobytes() == np.ascontiguousarray(from_tomorrow.hours[:, 10:]).tobytes()
