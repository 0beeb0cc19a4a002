"""The models as estimators: settings, refusals before fit, and the effort model on any table of tasks."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import NotFittedError

from forecast.errors import UsageError
from forecast.files.logbook import Builder
from forecast.learn.bench_time import BenchTime
from forecast.learn.bench_time.priors import BenchPriors
from forecast.learn.effort import EffortModel, EffortPriors, TaskEffort
from tests.effort_cases import finished, noise, plan_of, progress_of

SETTINGS = {
    EffortModel: {"draws": 50, "warm_up": 20, "priors": EffortPriors(typical_hours=3.0), "half_days": 35.0},
    TaskEffort: {"draws": 50, "warm_up": 20, "priors": EffortPriors(), "half_days": None, "seed": 4},
    BenchTime: {"longest_week_hours": 30.0, "priors": BenchPriors(weekly_log_hours=2.0)},
}
ESTIMATORS = pytest.mark.parametrize("estimator", SETTINGS)
LEARNED = {EffortModel: "posterior_", TaskEffort: "model_", BenchTime: "learned_"}


@ESTIMATORS
def test_settings_are_stored_untouched_and_keyword_only(estimator):
    settings = SETTINGS[estimator]
    made = estimator(**settings)
    assert made.get_params() == settings
    assert all(made.get_params()[name] is value for name, value in settings.items())
    with pytest.raises(TypeError):
        estimator(1)


@ESTIMATORS
def test_the_default_priors_stay_none_until_fit(estimator):
    assert estimator().get_params()["priors"] is None


@ESTIMATORS
def test_a_clone_has_the_settings_and_nothing_learned(estimator):
    copy = clone(estimator(**SETTINGS[estimator]))
    assert copy.get_params() == SETTINGS[estimator]
    assert not hasattr(copy, LEARNED[estimator])


@ESTIMATORS
def test_settings_can_be_changed_and_unknown_ones_are_refused(estimator):
    made = estimator()
    assert made.set_params(**SETTINGS[estimator]) is made
    assert made.get_params() == SETTINGS[estimator]
    with pytest.raises(ValueError, match=f"The settings of {estimator.__name__} are .* Got depth"):
        made.set_params(depth=3)


@ESTIMATORS
def test_use_before_fit_is_refused_in_one_sentence(estimator):
    with pytest.raises(NotFittedError, match=f"^{estimator.__name__} has no .*_ yet: call fit first.$"):
        getattr(estimator(), LEARNED[estimator])


def test_drawing_before_fit_is_refused():
    rng = np.random.default_rng(0)
    for draw in (
        lambda: EffortModel().sample_remaining(5, rng),
        lambda: EffortModel().shared_work_penalty_,
        lambda: TaskEffort().sample(5, rng),
        lambda: TaskEffort().predict_quantiles(),
        lambda: BenchTime().sample_hours(date(2026, 1, 1), 7, 5, rng),
    ):
        with pytest.raises(NotFittedError, match="call fit first"):
            draw()


def test_an_attribute_that_never_exists_is_no_matter_of_fitting():
    with pytest.raises(AttributeError, match="EffortModel has no attribute coefficients") as refused:
        EffortModel().coefficients  # noqa: B018
    assert not isinstance(refused.value, NotFittedError)


def test_fit_returns_the_estimator():
    progress, rng = progress_of(plan_of(3), []), np.random.default_rng(0)
    effort, bench, tasks = EffortModel(draws=20), BenchTime(), TaskEffort(draws=20)
    assert effort.fit(progress, rng) is effort
    assert bench.fit(progress, [Builder(id="A")]) is bench
    assert tasks.fit(pd.DataFrame({"type": ["rib"], "done": [False]})) is tasks


def test_estimators_print_what_differs_from_the_defaults():
    assert repr(EffortModel()) == "EffortModel()"
    assert repr(TaskEffort(draws=50, seed=4)) == "TaskEffort(draws=50, seed=4)"
    assert repr(BenchTime(priors=BenchPriors())) == "BenchTime(priors=BenchPriors(...))"


HOURS = 4 * noise(30, 0.3)
TABLE = pd.DataFrame(
    {
        "task": [f"T{i:03d}" for i in range(40)],
        "type": "drill",
        "planned_hours": 4.0,
        "hours": [*HOURS, 1.5, *[None] * 9],
        "done": [True] * 30 + [False] * 10,
        "date": [*pd.date_range("2026-01-01", periods=31), *[None] * 9],
    }
)


def test_a_table_gets_the_same_draws_as_the_same_build():
    day = [str(d.date()) for d in TABLE["date"].dropna()]
    rows = [row | {"date": d} for row, d in zip(finished(HOURS), day, strict=False)]
    rows.append({"date": day[30], "hours": 1.5, "task": "T030"})
    effort = TaskEffort(draws=100).fit(TABLE)
    model = EffortModel(draws=100).fit(
        progress_of(plan_of(40), rows), np.random.default_rng(np.random.SeedSequence(0, spawn_key=(0,)))
    )
    ours = effort.sample(200, np.random.default_rng(1))
    np.testing.assert_array_equal(ours, model.sample_remaining(200, np.random.default_rng(1)).hours)


def test_quantiles_have_a_row_per_open_task_and_a_column_per_level():
    effort = TaskEffort(draws=100).fit(TABLE)
    table = effort.predict_quantiles([0.05, 0.5, 0.95])
    assert list(table.columns) == [0.05, 0.5, 0.95]
    assert list(table.index) == list(TABLE["task"][30:])
    assert (table.diff(axis=1).iloc[:, 1:] > 0).all(axis=None)
    pd.testing.assert_frame_equal(
        table, TaskEffort(draws=100).fit(TABLE).predict_quantiles([0.05, 0.5, 0.95])
    )


def test_the_frame_has_every_task_and_nothing_left_of_finished_ones():
    frame = TaskEffort(draws=100).fit(TABLE).to_frame()
    assert list(frame["task"]) == list(TABLE["task"])
    assert (frame.loc[frame["done"], ["p10", "p50", "p90"]] == 0).all(axis=None)
    assert (frame.loc[~frame["done"], "p50"] > 0).all()
    np.testing.assert_allclose(frame["hours"], TABLE["hours"].fillna(0.0))


def test_names_dates_plans_and_pieces_may_be_left_out():
    bare = TABLE[["type", "hours", "done"]]
    left = TaskEffort(draws=100).fit(bare).predict_quantiles()
    assert list(left.index) == [str(i) for i in range(30, 40)]
    assert left[0.5].between(2.0, 6.0).all()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"type": None}, "A table of tasks needs a type in every row."),
        ({"done": None}, "A table of tasks needs a done in every row."),
        ({"task": "T"}, "The ids in the column task must differ from each other."),
        ({"planned_hours": 0.0}, "planned_hours must be above 0 or blank. Got 0."),
        ({"quantity": -2.0}, "quantity must be above 0 or blank. Got -2."),
        ({"hours": np.inf}, "hours must be 0 or more or blank. Got inf."),
        ({"hours": "many"}, "hours must hold numbers only."),
        ({"date": [None] * 40}, "Every task with hours needs a date, or none does."),
    ],
)
def test_a_bad_table_is_refused_in_one_sentence(change, sentence):
    with pytest.raises(UsageError) as refused:
        TaskEffort().fit(TABLE.assign(**change))
    assert str(refused.value) == sentence


def test_a_table_without_its_columns_is_refused():
    with pytest.raises(UsageError, match="needs a done in every row"):
        TaskEffort().fit(TABLE.drop(columns="done"))


def test_the_table_is_left_as_it_was():
    before = TABLE.copy()
    TaskEffort(draws=20).fit(TABLE).to_frame()
    pd.testing.assert_frame_equal(TABLE, before)
