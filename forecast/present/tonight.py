"""Tonight's session in words: what to work on, what else is ready, and what the rest waits for."""

from __future__ import annotations

import pandas as pd

from forecast.quantiles import sample_quantile
from forecast.questions.readiness import title_of
from forecast.questions.tonight import Ready, Stretch, Tonight
from forecast.wording import capitalise, format_clock, format_odds, join_words

MOST_ROWS = 12  # with the lines around it the table fits a terminal of 24 rows
_MOST_NAMED = 2  # titles of waiting tasks per sentence: the rest are counted


def tonight_lines(answer: Tonight) -> list[str]:
    """What to work on: who does what, why it comes first, and why it is ready."""
    heading = f"Tonight, {format_clock(answer.hours)}, {' and '.join(answer.people)}:"
    if not answer.tasks:
        return [f"{heading} no task of the plan is ready."]
    lines = [heading]
    for stretch in answer.suggestion:
        lines.append(f"  {stretch_sentence(stretch)}")
        lines.append(f"    Ready: {stretch.ready.why_ready}.")
    return lines


def stretch_sentence(stretch: Stretch) -> str:
    """One stretch of the session: who, what, how long, and the chance of finishing it."""
    who = " and ".join(stretch.people) + (" together" if len(stretch.people) > 1 else "")
    when = "" if stretch.begin == 0 else "then "
    task, odds = title_of(stretch.ready.task), format_odds(stretch.probability_done)
    sentence = f"{when}{who}: {task}, about {format_clock(stretch.hours)}; {odds} to finish it."
    return f"{sentence} {_reasons_sentence(stretch.ready)}".rstrip()


def _reasons_sentence(ready: Ready) -> str:
    return f"{capitalise('; '.join(ready.reasons))}." if ready.reasons else ""


def ready_rows(answer: Tonight) -> pd.DataFrame:
    """One row per ready task, the one that serves the date best first, at most `MOST_ROWS`.

    Every cell is a text; person-hours left are the central 80 % of the runs.
    """
    columns = ["Ready", "Person-hours", "To finish", "Frees"]
    return pd.DataFrame([_ready_row(ready) for ready in answer.tasks[:MOST_ROWS]], columns=columns)


def _ready_row(ready: Ready) -> tuple[str, ...]:
    hours = ready.person_hours(ready.hands)
    low, high = (sample_quantile(hours, level) for level in (0.10, 0.90))
    odds = format_odds(ready.probability_done)
    return title_of(ready.task), f"{low:.1f} to {high:.1f}", odds, str(len(ready.frees) or "")


def more_lines(answer: Tonight) -> list[str]:
    """What the table leaves out, what is nearly ready, and what the answer rests on."""
    lines = []
    left_out = len(answer.tasks) - MOST_ROWS
    if left_out > 0:
        lines.append(f"{left_out} more {'are' if left_out > 1 else 'is'} ready; --json lists all of them.")
    waits = waiting_sentences(answer)
    lines += ["Nearly ready:", *(f"  {wait}" for wait in waits[:MOST_ROWS])] if waits else []
    if len(waits) > MOST_ROWS:
        lines.append(f"  and {len(waits) - MOST_ROWS} more.")
    return [*lines, *answer.notes]


def waiting_sentences(answer: Tonight) -> list[str]:
    """What is nearly ready, one sentence per thing it waits for; waits for other tasks come last."""
    waiting: dict[tuple[bool, str], list[str]] = {}
    for task, wait in answer.waiting:
        waiting.setdefault((bool(wait.task), wait.words), []).append(title_of(task))
    found = sorted(waiting.items(), key=lambda item: item[0][0])
    return [
        f"{join_words(titles, most=_MOST_NAMED)} {'waits' if len(titles) == 1 else 'wait'} for {words}."
        for (_, words), titles in found
    ]
