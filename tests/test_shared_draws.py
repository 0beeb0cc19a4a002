"""What a second builder changes, answered from one set of draws."""

from datetime import timedelta

import numpy as np
import pytest

from forecast.files.folder import read_build
from forecast.questions.crew import compare_crews
from forecast.questions.crew.shared_draws import CrewOutcome, draw_shared
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from tests.dashboard_build import AS_OF, write_kit

SETTINGS = Settings(runs=600)
TOMORROW = AS_OF + timedelta(days=1)


@pytest.fixture(scope="module", params=["two builders", "one builder"])
def fitted(request, tmp_path_factory):
    folder = write_kit(tmp_path_factory.mktemp("kit"))
    if request.param == "one builder":
        (folder / "build.toml").write_text('name = "Stint"\n[[builder]]\nid = "A"\n')
        log = folder / "log.csv"
        log.write_text(log.read_text().replace("A+B", "A+1"))
    return fit_build(read_build(folder), AS_OF, SETTINGS)


@pytest.fixture(scope="module")
def draws(fitted):
    return draw_shared(fitted, SETTINGS)


def test_the_plans_of_crew_come_out_run_by_run(fitted, draws):
    answer = compare_crews(fitted, SETTINGS)
    same_days = draws.with_help(draws.usual_hours, from_date=TOMORROW)
    helper = draws.with_help(draws.usual_hours, from_date=TOMORROW, only_two=True)
    for plan, hands in zip(answer.plans, (draws.alone(), same_days, helper), strict=True):
        within = plan.outlook.build_finish_days <= draws.days
        assert within.mean() > 0.9
        assert np.array_equal(hands.build_finish_days[within], plan.outlook.build_finish_days[within])
        assert np.array_equal(hands.person_hours[within], plan.person_hours[within])


def test_more_hours_of_help_are_not_later(draws):
    few = draws.with_help(0.25 * draws.usual_hours, from_date=TOMORROW).build_finish_days
    many = draws.with_help(2 * draws.usual_hours, from_date=TOMORROW).build_finish_days
    assert np.median(many) <= np.median(few)


def test_help_that_comes_after_the_end_changes_nothing_before_it(draws):
    late = AS_OF + timedelta(days=draws.days + 30)
    assert (draws.with_help(draws.usual_hours, from_date=late).other_hours == 0).all()


def test_help_from_a_later_day_is_not_earlier_in_the_middle(draws):
    now = draws.with_help(draws.usual_hours, from_date=TOMORROW)
    later = draws.with_help(draws.usual_hours, from_date=AS_OF + timedelta(days=60))
    assert now.date_at(0.5) <= later.date_at(0.5)


def test_the_hours_of_the_others_are_part_of_all_hours(draws):
    hands = draws.with_help(draws.usual_hours, from_date=TOMORROW)
    assert (hands.other_hours <= hands.person_hours + 1e-9).all()
    assert hands.hours_at(0.5, others=True) <= hands.hours_at(0.5)


def test_the_same_question_has_the_same_answer(draws):
    a = draws.with_help(3.0, from_date=TOMORROW, only_two=True)
    b = draws.with_help(3.0, from_date=TOMORROW, only_two=True)
    assert np.array_equal(a.build_finish_days, b.build_finish_days)


def test_a_gain_is_a_difference_within_the_runs(draws):
    alone, two = draws.alone(), draws.with_help(draws.usual_hours, from_date=TOMORROW)
    either = np.isfinite(alone.build_finish_days) | np.isfinite(two.build_finish_days)
    known = np.sort(alone.build_finish_days[either] - two.build_finish_days[either])
    assert two.sooner_than(alone, 0.5) == known[int(np.ceil(0.5 * len(known))) - 1]
    assert two.sooner_than(two, 0.9) == 0


def test_of_the_first_runs_the_answer_is_the_same(fitted):
    draws = draw_shared(fitted, Settings(runs=1_200))
    some = draws.first(1_100)
    assert (draws.runs, some.runs, draws.first(10).runs) == (1_200, 1_000, 500)
    whole = draws.with_help(3.0, from_date=TOMORROW)
    part = some.with_help(3.0, from_date=TOMORROW)
    for name in ("finish_days", "build_finish_days", "person_hours", "other_hours"):
        assert np.array_equal(getattr(part, name), getattr(whole, name)[:1_000])
    assert part.runs == 1_000


def test_a_simulation_may_be_given_up_before_any_group(draws):
    class Enough(Exception):
        pass

    parts = []

    def give_up():
        parts.append(len(parts))
        if len(parts) == 3:
            raise Enough

    with pytest.raises(Enough):
        draws.alone(between=give_up)
    assert 3 <= len(parts) <= len(draws.groups)


def test_days_per_hour_are_taken_run_by_run():
    def outcome(days, theirs):
        days = np.array(days)
        return CrewOutcome(
            as_of=AS_OF,
            stages=(),
            finish_days=np.empty((len(days), 0)),
            build_finish_days=days,
            person_hours=np.array(theirs),
            other_hours=np.array(theirs),
        )

    helped = outcome([90.0, 80.0, 70.0, np.inf], [20.0, 10.0, 0.0, 5.0])
    alone = outcome([100.0, 100.0, 70.0, np.inf], [0.0, 0.0, 0.0, 0.0])
    quantiles = [helped.sooner_per_hour(alone, q) for q in (0.0, 0.5, 1.0)]
    assert quantiles == [0.0, 0.5, 2.0]
