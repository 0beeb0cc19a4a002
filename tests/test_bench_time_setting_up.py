"""What a session loses to setting up, where counted pieces tell."""

from datetime import timedelta

import numpy as np
import pytest

from forecast.learn.bench_time.setting_up import fit_setting_up
from tests.conftest import sessions_frame
from tests.test_bench_time import MONDAY, fitted


def counted(lost_hours, seed=0, sessions=120, noise=0.2):
    """Eight sessions a task; each makes pieces in the hours left after `lost_hours`."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(sessions):
        hours = max(round(rng.gamma(4.2, 2.5 / 4.2) * 4) / 4, 0.75)
        useful = hours - lost_hours + noise * np.sqrt(hours) * rng.standard_normal()
        pieces = max(round(20 * np.exp(i // 8 * 0.1) * useful), 1)
        rows.append({"date": MONDAY + timedelta(days=2 * i), "hours": hours, "task": f"T{i // 8}",
                     "quantity": pieces})  # fmt: skip
    return rows


@pytest.mark.parametrize("lost_hours", [0.3, 0.6])
def test_the_hours_lost_are_found(lost_hours):
    means = [fit_setting_up(sessions_frame(counted(lost_hours, seed))).hours for seed in range(8)]
    assert np.mean(means) == pytest.approx(lost_hours, abs=0.08)


def test_little_is_found_where_nothing_is_lost():
    assert np.mean([fit_setting_up(sessions_frame(counted(0.0, seed))).hours for seed in range(8)]) < 0.12


def test_few_counted_sessions_tell_nothing():
    assert fit_setting_up(sessions_frame(counted(0.5, sessions=12))) is None


def test_pieces_that_follow_chance_tell_nothing():
    assert fit_setting_up(sessions_frame(counted(0.3, sessions=40, noise=1.5))) is None


def test_a_log_without_pieces_tells_nothing():
    rows = [{k: v for k, v in r.items() if k != "quantity"} for r in counted(0.5)]
    assert fit_setting_up(sessions_frame(rows)) is None


def test_days_with_several_rows_are_not_used():
    rows = counted(0.5)
    assert fit_setting_up(sessions_frame(rows + rows)) is None


def test_it_is_said_where_it_is_found():
    rows = [r | {"task": "T"} if r["task"] == "T0" else r | {"task": "W"} for r in counted(0.6)]
    model = fitted(rows, MONDAY + timedelta(days=300))
    assert model.setting_up_ is not None
    assert any("make no pieces" in note for note in model.notes_)
