"""The record as the contract's JSON."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecast.quantiles import QUANTILES, quantile_key
from forecast.questions.track_record.replay import TASKS, WINDOW
from forecast.questions.track_record.scored import ScoredForecasts
from forecast.questions.track_record.sentences import announced_sentences, record_sentences
from forecast.questions.track_record.verdicts import Judged

_KEYS = [quantile_key(q) for q in QUANTILES]
_LEVELS = (0.50, 0.80, 0.90)


def record_answer(record: ScoredForecasts) -> dict[str, Any]:
    """Days and person-hours to one decimal, shares to four; null where there is nothing to say."""
    judged = record.judged()
    return {
        "as_of": record.as_of.isoformat(),
        "runs": record.settings.runs,
        "seed": record.settings.seed,
        "forecasts": [_finish(row) for row in record.finishes.to_dict("records")],
        "coverage": {_name(level): _number(judged.coverage(level).share, 4) for level in _LEVELS},
        "coverage_bands": {_name(level): _band(judged, level) for level in _LEVELS},
        "crps_days": _number(record.crps_days(), 1),
        "burn_rate_crps_days": _number(record.crps_days("average_pace"), 1),
        "earned_schedule_crps_days": _number(record.crps_days("earned_schedule"), 1),
        "hours": [_hours(row) for row in record.hours.to_dict("records")],
        "hours_coverage": {
            target: {_name(level): _band(record.judged_hours(target), level) for level in _LEVELS}
            for target in (WINDOW, TASKS)
        },
        "announced": [_told(row) for row in record.told.rows.to_dict("records")],
        "sentences": [*record_sentences(record), *announced_sentences(record)],
    }


def _finish(row: dict[Any, Any]) -> dict[str, Any]:
    burn_rate = row["average_pace_days"] - row["actual_days"]
    return {
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "finish": {k: _day(row[k]) for k in _KEYS},
        "actual": _day(row["actual"]),
        "crps_days": _number(row["crps_days"], 1),
        "burn_rate_error_days": _number(burn_rate, 0),
    }


def _hours(row: dict[Any, Any]) -> dict[str, Any]:
    return {
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "days": row["days"] or None,
        "tasks": row["tasks"] or None,
        "person_hours": {k: _number(row[k], 1) for k in _KEYS},
        "actual": _number(row["actual"], 1),
        "settled": row["settled"],
        "crps_hours": _number(row["crps_hours"], 2),
        "naive_error_hours": _number(row["naive_hours"] - row["actual"], 1) if row["settled"] else None,
    }


def _told(row: dict[Any, Any]) -> dict[str, Any]:
    return {
        "announced": _day(row["announced"]),
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "finish": {k: _day(row[k]) for k in _KEYS},
        "actual": _day(row["actual"]),
    }


def _band(judged: Judged, level: float) -> dict[str, Any]:
    counted = judged.coverage(level)
    return {
        "inside": counted.inside,
        "judged": counted.trials,
        "undecided": judged.undecided(level),
        "low": round(counted.low, 4),
        "high": round(counted.high, 4),
    }


def _name(level: float) -> str:
    return str(round(100 * level))


def _number(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None


def _day(stamp: pd.Timestamp) -> str | None:
    if pd.isna(stamp):
        return None
    day: date = stamp.date()
    return day.isoformat()
