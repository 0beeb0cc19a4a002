"""Earned schedule by the published formulae: ES = C + (EV - PV_C) / (PV_C+1 - PV_C), SPI(t), IEAC(t).

Lipke, "Schedule is Different", The Measurable News, March 2003; Lipke & Henderson 2006. No number table
of theirs could be had: the planned values are invented, and each row was worked out from the formulae.
"""

import numpy as np
import pytest

from forecast.questions.track_record.earned_schedule import earned_schedule
from tests.published import published_table

PLANNED = [0, 100, 250, 450, 700, 900, 1000]
ROWS = published_table("earned_schedule").to_dict("records")


def _stand(row):
    return earned_schedule(PLANNED, earned=row["earned_value"], actual_time=row["actual_time"])


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"AT {r['actual_time']}")
def test_the_earned_schedule_of_each_row(row):
    assert _stand(row).periods == pytest.approx(row["earned_schedule"], abs=1e-9)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"AT {r['actual_time']}")
def test_variance_index_and_estimate_of_each_row(row):
    stand = _stand(row)
    got = [stand.schedule_variance, stand.performance_index, stand.estimate_at_completion]
    named = ["schedule_variance", "performance_index", "estimate_at_completion"]
    np.testing.assert_allclose(got, [row[n] for n in named], atol=1e-9)


def test_the_index_of_time_stays_below_one_on_a_late_project_where_the_classic_one_returns_to_one():
    last = ROWS[-1]
    classic = last["earned_value"] / PLANNED[min(last["actual_time"], len(PLANNED) - 1)]
    assert classic == last["classic_index"] == 1.0
    assert _stand(last).performance_index == pytest.approx(6 / 7)
