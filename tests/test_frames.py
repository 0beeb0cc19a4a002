"""The result of every question prints in one line and gives a frame with the figures of its answer."""

import pandas as pd
import pytest

from forecast.errors import UsageError
from forecast.files.plan import Delivery
from forecast.questions.bench_hours import bench_hours
from forecast.questions.burn_down import burn_down
from forecast.questions.crew import compare_crews
from forecast.questions.date_change import DateChange
from forecast.questions.drivers import date_drivers
from forecast.questions.orders import Orders, orders_of
from forecast.questions.overruns import overruns
from forecast.questions.practice import practice
from forecast.questions.tonight import tonight
from forecast.questions.track_record import track_record
from forecast.simulate.finish import simulate_build
from forecast.simulate.settings import Settings
from tests.record_build import LAST, record_build
from tests.small_builds import fitted_build, plan_of

ENGINE = Delivery(
    delivery="engine", title="Engine", ordered=None, lead_weeks_low=4, lead_weeks_likely=4, lead_weeks_high=4
)
FEW = Settings(runs=100, horizon_years=5)


@pytest.fixture(scope="module")
def fitted():
    rows = [*[{}] * 10, {"crew": "two"}, {"delivery": "engine"}]
    return fitted_build(plan_of(*[{}] * 8, *rows), deliveries=[ENGINE])


@pytest.fixture(scope="module")
def outlook(fitted):
    return simulate_build(fitted, FEW)


def _shown(result, start: str) -> pd.DataFrame:
    """The frame of a result whose one line begins so."""
    line = repr(result)
    assert line.startswith(start)
    assert "\n" not in line
    assert len(line) < 300
    frame = result.to_frame()
    assert isinstance(frame, pd.DataFrame)
    return frame


def test_the_crew(fitted):
    answer = compare_crews(fitted, FEW)
    frame = _shown(answer, "<CrewAnswer small: as of 2026-06-28, even odds solo 2026-").set_index("plan")
    assert list(frame.index) == ["solo", "two", "helper"]
    for plan in answer.plans:
        assert frame.loc[plan.plan, "finish_p80"].date() == plan.outlook.date_at(0.8)
    assert frame.loc["two", "gain_days_p50"] == pytest.approx(
        answer.to_dict()["gain_days"]["two"]["p50"], abs=0.06
    )
    assert pd.isna(frame.loc["solo", "gain_days_p50"])
    with pytest.raises(UsageError, match="plan must be one of solo, two, helper. Got 'three' instead"):
        answer.plan("three")


def test_the_drivers(fitted):
    found = date_drivers(fitted, FEW)
    frame = _shown(found, f"<DateDrivers: {found.tasks.runs} finished runs, most crucial ")
    assert tuple(frame["name"]) == fitted.network.tasks
    assert [round(c, 4) for c in frame["criticality"]] == [
        row["criticality"] for row in found.to_dict()["tasks"]["rows"]
    ]


def test_the_orders(fitted):
    answer = orders_of(fitted, FEW)
    row = _shown(answer, "<Orders: engine 2026-").iloc[0]
    assert row["delivery"] == "engine"
    assert row["order_by"].date() == answer.orders[0].order_by
    assert row["needed_p50"].date().isoformat() == answer.to_dict()["orders"][0]["needed"]["p50"]
    none = _shown(Orders(orders=()), "<Orders: none>")
    assert none.empty
    assert list(none.columns) == list(answer.to_frame().columns)


def test_the_overruns(fitted):
    found = overruns(fitted.progress, fitted.effort)
    assert _shown(found, "<Overruns: as of 2026-06-28, 1 types. ")["type"].tolist() == ["fit"]


def test_the_evening(fitted):
    answer = tonight(fitted, hours=3.0, people=["A"], settings=FEW)
    frame = _shown(answer, "<Tonight 2026-06-28: 3 hours, 10 tasks ready: ")
    assert frame["task"].tolist() == [ready.task.task for ready in answer.tasks]
    assert frame["probability_done"].tolist() == [ready.probability_done for ready in answer.tasks]


def test_the_burn_down(outlook):
    found = burn_down(outlook, "Hull")
    frame = _shown(found, "<BurnDown hull: ")
    assert len(frame) == len(found.logged) + len(found.forecast)
    assert frame["p50"].iloc[0] == found.logged["hours_left"].iloc[0]
    with pytest.raises(UsageError, match="stage must be one of hull"):
        burn_down(outlook, "keel")


def test_the_hours_at_the_bench(fitted):
    found = bench_hours(fitted, FEW)
    assert len(_shown(found, "<BenchHours: as of 2026-06-28, ")) == 26


def test_the_change_of_the_date(outlook):
    change = DateChange(
        before=outlook, now=outlook, days={"worked": 3.0, "order": -1.0}, hours_expected=1.0,
        hours_worked=0.0, hours_over=0.0, hours_grown=0.0,
    )  # fmt: skip
    frame = _shown(change, "<DateChange 2026-06-28 to 2026-06-28: +2 days>")
    assert frame.to_dict("list") == {"cause": ["worked", "order"], "days_later": [3.0, -1.0]}


def test_the_track_record():
    record = track_record(record_build(), LAST.isoformat(), Settings(runs=50))
    frame = _shown(record, f"<TrackRecord: as of {LAST}, 80 % sure held in ")
    assert len(frame) == len(record.finishes) > 0


def test_a_type_of_work_that_the_plan_does_not_have(fitted):
    with pytest.raises(UsageError, match="kind must be one of fit. Got 'weld' instead"):
        practice(fitted.progress, fitted.effort, "weld")
