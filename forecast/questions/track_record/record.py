"""The record: forecasts from past days, scored by what happened, and compared with naive methods."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.learn.progress import read_progress
from forecast.quantiles import QUANTILES, day_of, to_date
from forecast.questions.scores import crps_censored
from forecast.questions.track_record.announced import AnnouncedRecord, read_announced
from forecast.questions.track_record.answer import record_answer
from forecast.questions.track_record.outcomes import Outcomes, days_between
from forecast.questions.track_record.past_days import left_out_notes, past_days
from forecast.questions.track_record.replay import (
    RUNS,
    TASKS,
    FinishForecast,
    HoursForecast,
    Replay,
    replay_days,
)
from forecast.questions.track_record.scored import KEYS, WAYS, ScoredForecasts
from forecast.questions.track_record.sentences import announced_sentences, record_sentences
from forecast.simulate.settings import Settings

if TYPE_CHECKING:
    from forecast.files.folder import Build


@dataclass(frozen=True, kw_only=True)
class TrackRecord(ScoredForecasts):
    """How well past forecasts of one build did, as an answer."""

    def __repr__(self) -> str:
        held = self.judged().held
        return f"<TrackRecord: as of {self.as_of}, 80 % sure held in {held.held} of {held.known} forecasts>"

    def to_frame(self) -> pd.DataFrame:
        """One row per past day and target: the attribute `finishes`."""
        return self.finishes

    @property
    def sentences(self) -> tuple[str, ...]:
        """The record in plain words, the announced dates last."""
        return (*record_sentences(self), *announced_sentences(self))

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON; null where nothing is known."""
        return record_answer(self)


def track_record(
    build: Build,
    as_of: date | str,
    settings: Settings | None = None,
    *,
    days: Sequence[date] | None = None,
    workers: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> TrackRecord:
    """Back-test: forecast from past days by what was known on them, and compare with what happened.

    Parameters
    ----------
    build : the folder
    as_of : the last day that counts; a date or its ISO text
    settings : runs (500 when not given), seed and horizon of each past forecast
    days : the past days, each before `as_of`; None = `past_days`
    workers : worker processes; the answer does not depend on their number
    on_progress : called with (past days done, past days in all)

    Raises
    ------
    InputError when forecasts.csv cannot be read.
    UsageError for an `as_of` that is no day, or past days that are not before it.
    """
    settings, as_of = settings or Settings(runs=RUNS), to_date(as_of, "as_of")
    outcomes = Outcomes(progress=read_progress(build.plan, build.sessions, as_of))
    announced = read_announced(build.folder, outcomes)
    chosen = past_days(outcomes.progress) if days is None else tuple(days)
    if late := [d for d in chosen if d >= as_of]:
        raise UsageError(f"Past days must lie before {as_of}. Got {late[0]} instead.")
    replays = replay_days(build, chosen, as_of, settings, workers=workers, on_progress=on_progress)
    return score_replays(replays, outcomes, settings, announced, notes=left_out_notes(build, chosen))


def score_replays(
    replays: Iterable[Replay],
    outcomes: Outcomes,
    settings: Settings,
    announced: AnnouncedRecord,
    *,
    notes: tuple[str, ...] = (),
) -> TrackRecord:
    """Score past forecasts by what happened.

    Finish dates are scored in whole days by the CRPS. While the build is not finished only the part of the
    CRPS up to the last day that counts is known (`crps_censored`): such a score can only grow, and is as fair
    to a late forecast as to an early one.

    Parameters
    ----------
    replays : the forecasts of each past day
    outcomes : what happened
    settings : of the forecasts
    announced : the announced dates compared with what happened
    notes : sentences about what was left out
    """
    replays = tuple(replays)
    finishes = [_finish_row(r, f, outcomes, settings) for r in replays for f in r.finishes]
    hours = [_hours_row(r, h, outcomes) for r in replays for h in r.hours]
    return TrackRecord(
        as_of=outcomes.as_of,
        settings=settings,
        finishes=_finish_frame(finishes),
        hours=_hours_frame(hours),
        announced=announced,
        notes=notes,
    )


def _finish_row(replay: Replay, forecast: FinishForecast, outcomes: Outcomes, settings: Settings) -> dict:
    day = replay.as_of
    actual = outcomes.finished_on(forecast.target)
    happened = days_between(day, actual)
    known = float((outcomes.as_of - day).days)
    scored_until = float(settings.horizon_days) if outcomes.build_finished else known
    quantiles = np.quantile(forecast.days, QUANTILES, method="inverted_cdf")
    row: dict[str, Any] = {
        "as_of": day,
        "target": forecast.target,
        "next_stage": forecast.next_stage,
        "finished_tasks": replay.finished_tasks,
        **{k: day_of(day, q) for k, q in zip(KEYS, quantiles, strict=True)},
        **{f"days_{k}": float(q) for k, q in zip(KEYS, quantiles, strict=True)},
        "actual": actual,
        "actual_days": happened,
        "known_days": known,
        "crps_days": float(crps_censored(forecast.days, happened, scored_until)),
    }
    for way in WAYS:
        days = float(getattr(forecast, f"{way}_days"))
        within = days <= settings.horizon_days
        row[way] = day_of(day, days) if within else None
        row[f"{way}_days"] = days
        row[f"{way}_crps_days"] = (
            np.nan if np.isnan(days) else float(crps_censored([days], happened, scored_until))
        )
    return row


def _hours_row(replay: Replay, forecast: HoursForecast, outcomes: Outcomes) -> dict[str, Any]:
    if forecast.target == TASKS:
        actual, settled = outcomes.task_hours_after(replay.as_of, forecast.tasks)
    else:
        actual, settled = outcomes.hours_within(replay.as_of, forecast.days), True
    happened = actual if settled else np.inf
    # Settled hours are scored whole: a bound that no forecast exceeds.
    until = np.finfo(float).max if settled else actual
    naive = forecast.naive_hours
    return {
        "as_of": replay.as_of,
        "target": forecast.target,
        "days": forecast.days,
        "tasks": len(forecast.tasks),
        **dict(zip(KEYS, np.quantile(forecast.hours, QUANTILES, method="inverted_cdf"), strict=True)),
        "actual": actual,
        "settled": settled,
        "crps_hours": float(crps_censored(forecast.hours, happened, until)),
        "naive_hours": naive,
        "naive_crps_hours": np.nan if np.isnan(naive) else float(crps_censored([naive], happened, until)),
    }


def _finish_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    numbers = [f"days_{k}" for k in KEYS] + ["actual_days", "known_days", "crps_days"]
    numbers += [f"{way}_{what}" for way in WAYS for what in ("days", "crps_days")]
    kinds = {"target": "str", "next_stage": "bool", "finished_tasks": "int64"}
    kinds |= dict.fromkeys(["as_of", *KEYS, "actual", *WAYS], "datetime64[us]")
    return _typed(rows, kinds | dict.fromkeys(numbers, "float64"))


def _hours_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    kinds = {"as_of": "datetime64[us]", "target": "str", "days": "int64", "tasks": "int64", "settled": "bool"}
    numbers = [*KEYS, "actual", "crps_hours", "naive_hours", "naive_crps_hours"]
    return _typed(rows, kinds | dict.fromkeys(numbers, "float64"))


def _typed(rows: list[dict[str, Any]], kinds: dict[str, str]) -> pd.DataFrame:
    columns = list(rows[0]) if rows else list(kinds)
    frame = pd.DataFrame({c: pd.Series([r[c] for r in rows], dtype=object) for c in columns})
    days = [c for c, kind in kinds.items() if kind.startswith("datetime")]
    frame[days] = frame[days].apply(pd.to_datetime)
    return frame.astype(kinds)
