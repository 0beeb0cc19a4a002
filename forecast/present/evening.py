"""An evening in words: what to take up, what else is ready, and what the rest waits for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from forecast.quantiles import sample_quantile
from forecast.questions.phrases import join_words
from forecast.questions.readiness import title_of
from forecast.questions.tonight import Ready, Stretch, Tonight

if TYPE_CHECKING:
    from rich.table import Table

MOST_SHOWN = 12


def format_clock(hours: float) -> str:
    """Clock hours to a quarter, as people say them.

    >>> [format_clock(h) for h in (0.05, 0.66, 2.34, 3.0)]
    ['15 min', '45 min', '2 h 15', '3 h']
    """
    quarters = max(round(4 * hours), 1)
    whole, rest = divmod(quarters, 4)
    if whole == 0:
        return f"{15 * rest} min"
    return f"{whole} h" if rest == 0 else f"{whole} h {15 * rest}"


def say_odds(chance: float) -> str:
    """A chance of finishing as people say it.

    >>> [say_odds(c) for c in (0.02, 0.31, 0.5, 0.97)]
    ['hardly any chance', '3 in 10', '5 in 10', 'nearly certain']
    """
    if chance < 0.05:
        return "hardly any chance"
    return "nearly certain" if chance > 0.95 else f"{min(max(round(10 * chance), 1), 9)} in 10"


def evening_lines(answer: Tonight) -> list[str]:
    """What to take up tonight: who does what, what speaks for it, and why it is ready."""
    who = " and ".join(answer.people)
    if not answer.tasks:
        return [f"Tonight, {format_clock(answer.hours)}, {who}: no task of the plan is ready."]
    lines = [f"Tonight, {format_clock(answer.hours)}, {who}:"]
    for part in answer.suggestion:
        lines.append(f"  {stretch_sentence(part)}")
        lines.append(f"    Ready: {part.ready.why_ready}.")
    return lines


def stretch_sentence(part: Stretch) -> str:
    """One stretch of the evening in words."""
    who = f"{' and '.join(part.people)} together" if len(part.people) > 1 else part.people[0]
    when = "" if part.begin == 0 else "then "
    odds = say_odds(part.probability_done)
    said = f"{when}{who}: {title_of(part.ready.task)}, about {format_clock(part.hours)}; {odds} to finish it."
    return f"{said} {why_sentence(part.ready)}".rstrip()


def why_sentence(ready: Ready) -> str:
    """What speaks for a task tonight."""
    said = "; ".join(ready.reasons)
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def ready_table(answer: Tonight) -> Table:
    """The tasks that are ready, what serves the date best first."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Ready", overflow="fold")
    for title in ("Person-hours", "To finish", "Frees"):
        table.add_column(title, justify="right", no_wrap=True)
    for ready in answer.tasks[:MOST_SHOWN]:
        table.add_row(*ready_row(ready))
    return table


def ready_row(ready: Ready) -> tuple[str, str, str, str]:
    """Title, person-hours left (8 in 10), the chance of finishing tonight, how many tasks that frees."""
    needed = ready.person_hours(ready.hands)
    low, high = (sample_quantile(needed, q) for q in (0.10, 0.90))
    odds = say_odds(ready.probability_done)
    return title_of(ready.task), f"{low:.1f} to {high:.1f}", odds, str(len(ready.frees) or "")


def more_lines(answer: Tonight) -> list[str]:
    """What the table leaves out, what is nearly ready, and what a reader must know."""
    lines = []
    left_out = len(answer.tasks) - MOST_SHOWN
    if left_out > 0:
        lines.append(f"{left_out} more {'are' if left_out > 1 else 'is'} ready; --json lists all of them.")
    waits = waiting_sentences(answer)
    lines += ["Nearly ready:", *(f"  {w}" for w in waits[:MOST_SHOWN])] if waits else []
    if len(waits) > MOST_SHOWN:
        lines.append(f"  and {len(waits) - MOST_SHOWN} more.")
    return [*lines, *answer.notes]


def waiting_sentences(answer: Tonight) -> list[str]:
    """What is nearly ready and what it waits for, one sentence a wait; what waits for tasks comes last."""
    waiting: dict[tuple[bool, str], list[str]] = {}
    for task, wait in answer.waiting:
        waiting.setdefault((bool(wait.task), wait.words), []).append(title_of(task))
    found = sorted(waiting.items(), key=lambda item: item[0][0])
    return [
        f"{join_words(titles)} {'waits' if len(titles) == 1 else 'wait'} for {words}."
        for (_, words), titles in found
    ]
