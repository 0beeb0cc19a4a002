"""The record in plain words."""

from __future__ import annotations

import numpy as np

from forecast.questions.track_record.replay import TASKS, WINDOW
from forecast.questions.track_record.scored import ScoredForecasts
from forecast.questions.track_record.verdicts import Held, Judged, Middle
from forecast.wording import format_percent

TOO_EARLY = (
    "Too early for a record: it needs six finished tasks or eight weeks of log by the end of a month that "
    "has passed."
)
NOT_CORRECTED = (
    "The dates that are announced are not moved or widened by this record: tried on invented builds, that "
    "bettered them by less than one part in a hundred."
)
DEPENDENT = (
    "Forecasts of one build that follow each other look at the same future and are right or wrong "
    "together: {count} of them say less than {count} builds would, and the band above is too narrow for "
    "that. No p-value is given, because it would have to assume otherwise."
)


def record_sentences(record: ScoredForecasts) -> list[str]:
    """How the finish dates and the hours did, in sentences."""
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
    """How the dates did that the builder was told, in sentences; none when nothing was announced."""
    told = record.told
    if told.rows.empty:
        return []
    judged = told.judged
    lines = [f"What you were told: {_lower_first(_dates_sentence(judged.held, judged.middle, 'date'))}"]
    if gone := told.no_longer_planned:
        lines.append(f"Dates were told for {', '.join(gone)}, which the plan does not have any more.")
    return lines


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def _dates_sentence(held: Held, middle: Middle, what: str) -> str:
    """The sentence that a tired person reads.

    >>> _dates_sentence(Held(held=11, known=14, open=2), Middle(error=-12, or_lower=False), "forecast")
    'Of 14 forecasts whose outcome is known, the 80 % dates held in 11; the even-odds dates were 12 days \
too early in the middle. 2 more cannot be judged yet.'
    """
    if not held.known:
        return f"{held.open} {what}{_s(held.open)}: none can be judged yet."
    one = held.known == 1
    said = f"Of {held.known} {what}{_s(held.known)} whose outcome is known, "
    said += f"the 80 % date{'' if one else 's'} held in {held.held}; "
    error = early_or_late(middle)
    said += f"the even-odds date was {error}." if one else f"the even-odds dates were {error} in the middle."
    return said + (f" {held.open} more cannot be judged yet." if held.open else "")


def _s(count: int) -> str:
    return "" if count == 1 else "s"


def early_or_late(middle: Middle) -> str:
    """How early or late the even-odds dates were.

    >>> early_or_late(Middle(error=-12, or_lower=True)), early_or_late(Middle(error=1, or_lower=False))
    ('at least 12 days too early', '1 day too late')
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
    said = (
        f"The middle 80 % of the runs held the date {range_80.inside} times of {range_80.trials} "
        f"(if these were independent, the true share would lie between {format_percent(range_80.low)} and "
        f"{format_percent(range_80.high)})"
    )
    return said + (f"; {undecided} still run." if undecided else ".")


def _score_sentence(record: ScoredForecasts) -> list[str]:
    ours = record.crps_days()
    if np.isnan(ours):
        return []
    pace, schedule = record.crps_days("average_pace"), record.crps_days("earned_schedule")
    said = (
        f"Score in days, ranges counted and small is good (CRPS): {ours:,.0f}; average pace {pace:,.0f}; "
        f"earned schedule {schedule:,.0f}."
    )
    is_open = record.finishes["actual"].isna().any()
    return [said + (" What is not finished counts up to today only." if is_open else "")]


def _hours_sentence(record: ScoredForecasts, target: str) -> list[str]:
    judged = record.judged_hours(target)
    counted = judged.coverage(0.80)
    if not counted.trials:
        return []
    ours, naive = record.crps_hours(target), record.crps_hours(target, naive=True)
    rival = "the average pace" if target == WINDOW else "planned hours x ratio"
    said = f"Person-hours of the {target}: the middle 80 % held {counted.inside} times of {counted.trials}"
    if not np.isnan(ours):
        said += f"; CRPS {ours:,.1f} hours, {rival} {naive:,.1f}"
    undecided = judged.undecided(0.80)
    return [said + (f"; {undecided} cannot be judged yet." if undecided else ".")]
