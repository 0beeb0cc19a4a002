"""An outlook as builders and notebooks use it: names, days, frames, and plain errors for wrong use."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from forecast.errors import UsageError
from forecast.quantiles import QUANTILES, quantile_key
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import fit_build
from forecast.simulate.settings import Settings
from tests.small_builds import AS_OF, QUICK, fitted_build, plan_of

DONE = [{}] * 8
STAGES = ("hull", "<b>deck</b>")


@pytest.fixture(scope="module")
def outlook():
    """Everything in the hull done, four tasks of the deck open."""
    return simulate_build(fitted_build(plan_of(*DONE, *[{"stage": STAGES[1]}] * 4)), QUICK)


@pytest.mark.parametrize(
    "ask",
    [
        lambda o: o.days("keel"),
        lambda o: o.date_at(0.5, "keel"),
        lambda o: o.chance_by(AS_OF, "keel"),
        lambda o: o.past_horizon("keel"),
        lambda o: o.person_hours_left("keel"),
        lambda o: o.finished_on("keel"),
    ],
)
def test_an_unknown_stage_is_one_plain_error_that_lists_the_stages(outlook, ask):
    with pytest.raises(UsageError) as caught:
        ask(outlook)
    assert str(caught.value) == "stage must be one of hull, <b>deck</b>. Got 'keel' instead."


def test_a_stage_may_be_named_with_a_capital_letter(outlook):
    assert outlook.finished_on("Hull") == outlook.finished_on("hull") == AS_OF
    np.testing.assert_array_equal(outlook.days("Hull"), outlook.days("hull"))


@pytest.mark.parametrize("level", [-0.1, 1.01, float("nan")])
def test_a_level_is_a_probability(outlook, level):
    with pytest.raises(UsageError, match="level must be a probability from 0 to 1"):
        outlook.date_at(level)


def test_days_may_be_iso_text(outlook):
    day = AS_OF + timedelta(days=20)
    assert 0 < outlook.chance_by(day.isoformat()) == outlook.chance_by(day) < 1
    with pytest.raises(UsageError, match="day must be a day such as 2026-03-01. Got 'soon' instead"):
        outlook.chance_by("soon")


def test_a_finished_stage_is_certain_from_its_day_on(outlook):
    assert outlook.chance_by(AS_OF, "hull") == 1
    assert outlook.chance_by(AS_OF - timedelta(days=1), "hull") == 0
    done = simulate_build(fitted_build(plan_of(*DONE, {"stage": "deck"}), done=8), QUICK)
    assert done.chance_by("2027-01-01", "hull") == 1


def test_the_frame_has_the_figures_of_the_outlook(outlook):
    frame = outlook.to_frame().set_index("stage")
    assert list(frame.index) == [*STAGES, "build"]
    for stage, name in ((STAGES[1], STAGES[1]), (None, "build")):
        row = frame.loc[name]
        for q in QUANTILES:
            assert row[f"finish_{quantile_key(q)}"].date() == outlook.date_at(q, stage)
        assert row["first_90_p50"].date() == outlook.date_at(0.5, stage, first_90=True)
        assert row["hours_left_p50"] == np.quantile(
            outlook.person_hours_left(stage), 0.5, method="inverted_cdf"
        )
        assert row["probability_past_horizon"] == outlook.past_horizon(stage)
        assert pd.isna(row["finished"])
    assert frame.loc["hull", "finished"].date() == AS_OF


def test_a_date_past_the_horizon_is_missing_in_the_frame():
    stuck = fitted_build(plan_of(*DONE, {"planned_hours": 9e5}))
    frame = simulate_build(stuck, Settings(runs=20, horizon_years=1)).to_frame()
    assert frame["finish_p50"].isna().all()
    assert frame["finish_p50"].dtype == "datetime64[us]"
    assert frame["probability_past_horizon"].tolist() == [1.0, 1.0]


def test_the_draws_are_the_arrays_with_labels(outlook):
    draws = outlook.draws()
    assert draws.index.name == "run"
    assert list(draws.columns) == [*STAGES, "build"]
    np.testing.assert_array_equal(draws["build"], outlook.build_finish_days)
    np.testing.assert_array_equal(draws[STAGES[1]], outlook.finish_days[:, 1])


def test_an_outlook_prints_in_one_line(outlook):
    assert repr(outlook) == (
        f"<Outlook small: as of 2026-06-28, 300 runs, even odds {outlook.date_at(0.5)}, "
        f"80 % sure {outlook.date_at(0.8)}>"
    )


def test_the_table_for_notebooks_is_escaped(outlook):
    table = outlook._repr_html_()
    assert "&lt;b&gt;deck&lt;/b&gt;" in table
    assert "<b>deck" not in table
    assert str(outlook.date_at(0.8)) in table


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"runs": 0}, "runs must be a whole number of 1 or more. Got 0 instead."),
        ({"runs": 10.5}, "runs must be a whole number of 1 or more. Got 10.5 instead."),
        ({"runs": True}, "runs must be a whole number of 1 or more. Got True instead."),
        ({"seed": -1}, "seed must be a whole number of 0 or more. Got -1 instead."),
        ({"seed": "0"}, "seed must be a whole number of 0 or more. Got '0' instead."),
        ({"horizon_years": 0}, "horizon_years must be a whole number of 1 or more. Got 0 instead."),
    ],
)
def test_settings_out_of_range_are_one_plain_error(wrong, sentence):
    with pytest.raises(UsageError) as caught:
        Settings(**wrong)
    assert str(caught.value) == sentence


def test_the_numbers_of_numpy_are_whole_numbers():
    assert Settings(runs=np.int64(5)).runs == 5


def test_a_build_is_fitted_as_of_a_date_or_its_text(outlook):
    fitted = fit_build(outlook.fitted.build, "2026-06-28", QUICK)
    assert fitted.as_of == date(2026, 6, 28)
    assert repr(fitted) == "<Fitted small: as of 2026-06-28, 8 of 12 tasks finished, 8 sessions>"
    assert fitted.to_frame()["task"].tolist() == [f"T{i}" for i in range(12)]
    np.testing.assert_array_equal(simulate_build(fitted, QUICK).finish_days, outlook.finish_days)
    with pytest.raises(UsageError, match="as_of must be a day such as 2026-03-01. Got '28 June' instead"):
        fit_build(outlook.fitted.build, "28 June", QUICK)


def test_a_day_with_a_time_counts_as_the_day(outlook):
    stamp = pd.Timestamp("2026-06-28 18:00")
    assert fit_build(outlook.fitted.build, stamp, QUICK).progress.as_of == date(2026, 6, 28)
