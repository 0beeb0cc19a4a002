"""The study of forecasts that learn from their record: its steps by hand, and the decision that follows."""

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchmarks.skill import record_learning
from benchmarks.skill.record_learning import Correction, Lesson, corrected, lesson_on
from forecast.questions.track_record.replay import FinishForecast, Replay
from forecast.questions.track_record.sentences import NOT_CORRECTED
from tests.quoted import cells

PAGE = Path(__file__).resolve().parents[1] / "benchmarks" / "skill" / "record_learning.md"
OFF = np.inf
NONE = Correction(shift=OFF, scale=OFF, pace=OFF)
DRAWS = np.array([50.0, 100.0, 200.0])
THEN, DAY = date(2026, 1, 1), date(2026, 7, 1)


def lesson(errors=(), squares=(), weights=()):
    nothing = np.array([])
    return Lesson(
        errors=np.array(errors), squares=np.array(squares), weights=np.array(weights),
        pace_errors=nothing, pace_weights=nothing,
    )  # fmt: skip


def test_without_a_correction_a_forecast_stays_as_it_was():
    learned = lesson([0.7], [4.0], [1.0])
    np.testing.assert_allclose(corrected(DRAWS, learned, NONE), DRAWS)


def test_one_stage_that_took_double_moves_the_days_halfway_when_one_stage_of_no_error_is_added():
    learned = lesson([np.log(2)], [np.nan], [1.0])
    moved = corrected(DRAWS, learned, Correction(shift=1.0, scale=OFF, pace=OFF))
    np.testing.assert_allclose(moved, DRAWS * np.sqrt(2))


def test_errors_twice_as_wide_as_forecast_stretch_the_range_about_its_median():
    learned = lesson([0.0], [4.0], [1.0])
    wide = corrected(DRAWS, learned, Correction(shift=OFF, scale=1.0, pace=OFF))
    assert wide[1] == pytest.approx(100.0)
    assert np.log(wide[2] / wide[1]) == pytest.approx(np.log(2) * np.sqrt(1 + 3 / 2))


@pytest.mark.parametrize(
    ("finished", "error"),
    [
        (DAY - timedelta(days=1), np.log(180 / 100)),  # known on the day
        (DAY, np.log(181 / 100)),
        (DAY + timedelta(days=400), np.log(181 / 100)),  # unknown: at least so late
        (None, np.log(181 / 100)),
    ],
)
def test_a_lesson_uses_nothing_later_than_its_day(finished, error):
    forecast = FinishForecast(
        target="tail", next_stage=True, days=DRAWS, average_pace_days=1.0, earned_schedule_days=1.0
    )
    before = [Replay(as_of=THEN, finished_tasks=3, finishes=(forecast,), hours=())]
    outcomes = SimpleNamespace(finished_on=lambda target: finished)
    learned = lesson_on(DAY, before, outcomes)
    assert learned.errors == pytest.approx([error])
    assert np.isnan(learned.squares[0]) == (finished is None or finished > DAY)


def test_corrections_are_off_as_long_as_the_study_shows_no_gain_worth_having():
    """To be on by default, a correction must lower the CRPS of stage and build by 2 % or more."""
    best = []
    for part in PAGE.read_text(encoding="utf-8").split("\n## ")[1:]:
        rows = [cells(line) for line in part.splitlines() if line.startswith("| ")][1:]
        ratios = [float(row[2].partition(" +- ")[0]) for row in rows if row[0] != "none"]
        assert len(ratios) == 4
        best.append(min(ratios))
    assert len(best) == 2
    assert max(best) > 0.98, "a correction helps: it should be on"
    assert "not moved or widened" in NOT_CORRECTED


def test_a_build_too_short_to_learn_from_has_a_row_of_its_own(monkeypatch):
    monkeypatch.setattr(record_learning, "quarters", lambda build: [])
    (row,) = record_learning.build_cases("as assumed", "weekend", number=0, seed=3, runs=20)
    assert (row["build"], row["target"]) == (3, record_learning.TOO_SHORT)
