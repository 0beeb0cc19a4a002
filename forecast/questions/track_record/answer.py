"""The record as JSON."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from forecast.quantiles import QUANTILE_KEYS, rounded
from forecast.questions.track_record.replay import TASKS, WINDOW
from forecast.questions.track_record.scored import LEVELS, ScoredForecasts
from forecast.questions.track_record.sentences import announced_sentences, record_sentences
from forecast.questions.track_record.verdicts import Judged


def record_answer(record: ScoredForecasts) -> dict[str, Any]:
    """Days and person-hours to one decimal, shares to four; null where nothing is known."""
    judged = record.judged()
    return {
        "as_of": record.as_of.isoformat(),
        "runs": record.settings.runs,
        "seed": record.settings.seed,
        "forecasts": [_finish(row) for row in record.finishes.to_dict("records")],
        "coverage": {_name(level): rounded(judged.coverage(level).share, 4) for level in LEVELS},
        "coverage_bands": {_name(level): _band(judged, level) for level in LEVELS},
        "crps_days": rounded(record.crps_days(), 1),
        "burn_rate_crps_days": rounded(record.crps_days("average_pace"), 1),
        "earned_schedule_crps_days": rounded(record.crps_days("earned_schedule"), 1),
        "hours": [_hours(row) for row in record.hours.to_dict("records")],
        "hours_coverage": {
            target: {_name(level): _band(record.judged_hours(target), level) for level in LEVELS}
            for target in (WINDOW, TASKS)
        },
        "announced": [_announced(row) for row in record.announced.rows.to_dict("records")],
        "sentences": [*record_sentences(record), *announced_sentences(record)],
    }


def _finish(row: dict[Any, Any]) -> dict[str, Any]:
    burn_rate = row["average_pace_days"] - row["actual_days"]
    return {
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "finish": {k: _day(row[k]) for k in QUANTILE_KEYS},
        "actual": _day(row["actual"]),
        "crps_days": rounded(row["crps_days"], 1),
        "burn_rate_error_days": rounded(burn_rate, 0),
    }


def _hours(row: dict[Any, Any]) -> dict[str, Any]:
    return {
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "days": row["days"] or None,
        "tasks": row["tasks"] or None,
        "person_hours": {k: rounded(row[k], 1) for k in QUANTILE_KEYS},
        "actual": rounded(row["actual"], 1),
        "settled": row["settled"],
        "crps_hours": rounded(row["crps_hours"], 2),
        "naive_error_hours": rounded(row["naive_hours"] - row["actual"], 1) if row["settled"] else None,
    }


def _announced(row: dict[Any, Any]) -> dict[str, Any]:
    return {
        "announced": _day(row["announced"]),
        "as_of": _day(row["as_of"]),
        "target": row["target"],
        "finish": {k: _day(row[k]) for k in QUANTILE_KEYS},
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


def _day(stamp: pd.Timestamp) -> str | None:
    if pd.isna(stamp):
        return None
    day: date = stamp.date()
    return day.isoformat()
