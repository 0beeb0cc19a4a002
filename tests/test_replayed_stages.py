"""A past forecast has a date for every open stage and for the build, and marks the stage that comes next."""

from forecast.questions.track_record.replay import BUILD, replay_day
from tests.small_builds import AS_OF, QUICK, fitted_build, plan_of


def test_the_first_open_stage_is_the_next_one_and_finished_ones_are_left_out():
    stages = ["tail"] * 2 + ["hull"] * 3 + ["wing"] * 2
    fitted = fitted_build(plan_of(*({"stage": s} for s in stages)), done=2)
    replay = replay_day(fitted.build, AS_OF, QUICK)
    assert replay.finished_tasks == 2
    assert [(f.target, f.next_stage) for f in replay.finishes] == [
        ("hull", True), ("wing", False), (BUILD, False),
    ]  # fmt: skip


def test_a_build_that_is_finished_has_nothing_to_forecast():
    fitted = fitted_build(plan_of({}, {}), done=2)
    assert replay_day(fitted.build, AS_OF, QUICK).finishes == ()
