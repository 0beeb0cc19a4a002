"""The record in plain words."""

from __future__ import annotations

import numpy as np

from forecast.questions.track_record.replay import TASKS, WINDOW
from forecast.questions.track_record.scored import ScoredForecasts
from forecast.questions.track_record.verdicts import Judged, MedianError, SureRecord
from forecast.wording import format_percent

TOO_EARLY = (
    "Too early for a record: it needs six finished tasks or eight weeks of log by the end of a past month."
)
NOT_CORRECTED = (
    "The announced dates are not moved or widened by this record: on invented builds such a correction "
    "improved them by less than 1 %."
)
DEPENDENT = (
    "Successive forecasts of one build look at the same future and are right or wrong together: {count} of "
    "them are less evidence than {count} builds, and the band above is too narrow for that reason. No "
    "p-value is given, because it would assume otherwise."
)


def record_sentences(record: ScoredForecasts) -> list[str]:
    """How well the finish dates and the hours were forecast, in sentences."""
    if record.finishes.empty:
        return [TOO_EARLY]
    judged = record.judged()
    lines = [_dates_sentence(judged.held, judged.middle, "forecast")]
    if judged.held.known:
        lines.append(_band_sentence(judged))
    lines += _score_sentence(record)
    lines += [s for target in (WINDOW, TASKS) for s in _hours_sentence(record, target)]
    return [*lines, *record.notes, NOT_CORRECTED, DEPENDENT.format(count=len(record.finishes))]


def announced_sentences(record: ScoredForecasts) -> list[str]:
    """How well the announced dates held, in sentences; none when nothing was announced."""
    announced = record.announced
    if announced.rows.empty:
        return []
    judged = announced.judged
    lines = [f"What you were told: {_lower_first(_dates_sentence(judged.held, judged.middle, 'date'))}"]
    if gone := announced.no_longer_planned:
        lines.append(f"Dates were announced for {', '.join(gone)}, which the plan no longer has.")
    return lines


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def _dates_sentence(held: SureRecord, middle: MedianError, what: str) -> str:
    """The record of the dates in short.

    >>> held, middle = SureRecord(held=11, known=14, open=2), MedianError(error=-12, or_lower=False)
    >>> _dates_sentence(held, middle, "forecast")
    'Of 14 forecasts whose outcome is known, the 80 % dates held in 11; the median even-odds date was 12 \
days too early. 2 more cannot be judged yet.'
    """
    if not held.known:
        return f"{held.open} {what}{_s(held.open)}: none can be judged yet."
    one = held.known == 1
    sentence = (
        f"Of {held.known} {what}{_s(held.known)} whose outcome is known, the 80 % date{_s(held.known)} held "
        f"in {held.held}; the {'' if one else 'median '}even-odds date was {early_or_late(middle)}."
    )
    return sentence + (f" {held.open} more cannot be judged yet." if held.open else "")


def _s(count: int) -> str:
    return "" if count == 1 else "s"


def early_or_late(middle: MedianError) -> str:
    """How early or late the even-odds dates were.

    >>> early_or_late(MedianError(error=-12, or_lower=True))
    'at least 12 days too early'
    """
    if np.isnan(middle.error):
        return "not judged"
    if middle.error == np.inf:
        return "past the horizon"
    days = round(abs(middle.error))
    if days == 0:
        return "on the day or too early" if middle.or_lower else "on the day"
    counted = f"{days:,} day{'s' if days != 1 else ''}"
    if middle.error > 0:
        return f"at most {counted} too late" if middle.or_lower else f"{counted} too late"
    return f"at least {counted} too early" if middle.or_lower else f"{counted} too early"


def _band_sentence(judged: Judged) -> str:
    range_80 = judged.coverage(0.80)
    undecided = judged.undecided(0.80)
    sentence = (
        f"The middle 80 % of the runs contained the date in {range_80.inside} of {range_80.trials} forecasts "
        f"(if these were independent, the true share would lie between {format_percent(range_80.low)} and "
        f"{format_percent(range_80.high)})"
    )
    return sentence + (f"; {undecided} are undecided." if undecided else ".")


def _score_sentence(record: ScoredForecasts) -> list[str]:
    ours = record.crps_days()
    if np.isnan(ours):
        return []
    pace, schedule = record.crps_days("average_pace"), record.crps_days("earned_schedule")
    sentence = (
        f"Score in days, where small is good and wide ranges cost (CRPS): {ours:,.0f}; average pace "
        f"{pace:,.0f}; earned schedule {schedule:,.0f}."
    )
    is_open = record.finishes["actual"].isna().any()
    return [sentence + (" Unfinished stages count up to today only." if is_open else "")]


def _hours_sentence(record: ScoredForecasts, target: str) -> list[str]:
    judged = record.judged_hours(target)
    counted = judged.coverage(0.80)
    if not counted.trials:
        return []
    ours, naive = record.crps_hours(target), record.crps_hours(target, naive=True)
    rival = "the average pace" if target == WINDOW else "planned hours x ratio"
    sentence = (
        f"Person-hours of the {target}: the middle 80 % contained them in {counted.inside} of "
        f"{counted.trials} forecasts"
    )
    if not np.isnan(ours):
        sentence += f"; CRPS {ours:,.1f} hours, {rival} {naive:,.1f}"
    undecided = judged.undecided(0.80)
    return [sentence + (f"; {undecided} cannot be judged yet." if undecided else ".")]
