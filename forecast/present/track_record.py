"""Past forecasts beside what happened, as a table."""

from __future__ import annotations

from math import isnan

import pandas as pd

from forecast.questions.track_record import TrackRecord, early_or_late


def record_rows(record: TrackRecord) -> pd.DataFrame:
    """One row per target, every cell a text: how its dates did, and its scores beside the naive methods'."""
    return pd.DataFrame([_record_row(record, target) for target in record.targets])


def _record_row(record: TrackRecord, target: str) -> dict[str, str]:
    judged = record.judged(target)
    held = judged.held
    return {
        "Finish of": target,
        "Forecasts": f"{held.known + held.open}",
        "80 % held": f"{held.held} of {held.known}" if held.known else "open",
        "Even odds": early_or_late(judged.middle) if held.known else "",
        "CRPS": _format_score(record.crps_days("", target)),
        "Average pace": _format_score(record.crps_days("average_pace", target)),
        "Earned schedule": _format_score(record.crps_days("earned_schedule", target)),
    }


def _format_score(days: float) -> str:
    return "" if isnan(days) else f"{days:,.0f}"
