"""The answers in words and tables: what a tired person reads first, then the figures behind it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from forecast.quantiles import sample_quantile
from forecast.simulate.outlook import Outlook
from forecast.wording import format_percent

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.questions.overruns import Overruns

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
CAUTION = (
    "A forecast from your own log, not a promise. It records time; it does not certify anything. "
    "Your kit maker's plans and your aviation authority's rules govern."
)


def format_date(day: date | None, *, said: date | None = None) -> str:
    """A date as people say it; without the year when that of `said` was just mentioned.

    >>> format_date(date(2027, 3, 14)), format_date(date(2027, 2, 2), said=date(2027, 3, 14))
    ('14 March 2027', '2 February')
    >>> format_date(None)
    'past the horizon'
    """
    if day is None:
        return "past the horizon"
    year = "" if said is not None and said.year == day.year else f" {day.year}"
    return f"{day.day} {_MONTHS[day.month - 1]}{year}"


def format_short_date(day: date | None) -> str:
    """A date for a narrow table column.

    >>> format_short_date(date(2027, 3, 14))
    '14 Mar 2027'
    """
    return "past horizon" if day is None else f"{day.day} {_MONTHS[day.month - 1][:3]} {day.year}"


def format_hours(hours: float) -> str:
    """Hours rounded as people say them: to ten above two hundred, to one below.

    >>> format_hours(1234.6), format_hours(87.3)
    ('1,230', '87')
    """
    return f"{round(hours, -1):,.0f}" if hours >= 200 else f"{hours:.0f}"


def finish_sentence(outlook: Outlook, stage: str | None) -> str:
    """The answer in one line, for a stage or (None) for the whole build."""
    name = _name(stage)
    done = outlook.finished_on(stage)
    if done is not None:
        return f"{name}: finished on {format_date(done)}."
    sure, even = outlook.date_at(0.80, stage), outlook.date_at(0.50, stage)
    if even is None:
        share, years = format_percent(outlook.past_horizon(stage)), outlook.settings.horizon_years
        return f"{name}: not within {years} years at this pace in {share} of runs, so no date is given."
    if sure is None:
        share, years = format_percent(outlook.past_horizon(stage)), outlook.settings.horizon_years
        return f"{name}: even odds by {format_date(even)}; past {years} years in {share} of runs."
    return f"{name}: 80 % sure by {format_date(sure)}; even odds by {format_date(even, said=sure)}."


def finish_lines(outlook: Outlook) -> list[str]:
    """The lines above the table: the next stage, then the whole build."""
    lines = [finish_sentence(outlook, stage) for stage in outlook.open_stages[:1]]
    return [*lines, finish_sentence(outlook, None)]


def finish_table(outlook: Outlook) -> Table:
    """Every stage and the whole build with hours left and dates."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Stage", overflow="fold")
    table.add_column("Hours left", justify="right", no_wrap=True)
    for title in ("Even odds", "80 % sure", "9/10 of hours"):
        table.add_column(title, justify="right", no_wrap=True)
    for stage in (*outlook.stages, None):
        table.add_row(*_finish_row(outlook, stage), style="bold" if stage is None else "")
    return table


def _finish_row(outlook: Outlook, stage: str | None) -> tuple[str, ...]:
    done = outlook.finished_on(stage)
    if done is not None:
        return _name(stage), "finished", format_short_date(done), "", ""
    hours = outlook.person_hours_left(stage)
    low, high = sample_quantile(hours, 0.10), sample_quantile(hours, 0.90)
    return (
        _name(stage),
        f"{format_hours(low)} to {format_hours(high)}",
        format_short_date(outlook.date_at(0.50, stage)),
        format_short_date(outlook.date_at(0.80, stage)),
        format_short_date(outlook.date_at(0.50, stage, first_90=True)),
    )


def _name(stage: str | None) -> str:
    return "Whole build" if stage is None else stage[:1].upper() + stage[1:]


def basis_sentence(outlook: Outlook) -> str:
    """What the forecast rests on, in one line."""
    progress = outlook.fitted.progress
    basis = outlook.basis
    rest = f"{basis['finished_tasks']} finished of {len(progress.tasks)} tasks, {basis['sessions']} sessions"
    return (
        f"From {rest} over {basis['weeks']} weeks; {outlook.settings.runs:,} runs, "
        f"seed {outlook.settings.seed}, as of {format_date(outlook.as_of)}."
    )


def hours_range(values: np.ndarray, low: float, high: float) -> str:
    """Two quantiles of some hours, in words."""
    return f"{format_hours(sample_quantile(values, low))} to {format_hours(sample_quantile(values, high))}"


def range_sentence(outlook: Outlook) -> str:
    """Which part of the range of the hours left comes from which; nothing once all is done."""
    from forecast.learn.effort.remaining import range_shares

    words = {
        "planned": "the planned tasks",
        "rework": "doing things again",
        "outside": "work outside the plan",
        "growth": "tasks that will still come into it",
    }
    shares = {words[name]: max(share, 0.0) for name, share in range_shares(outlook.hours_parts).items()}
    if not sum(shares.values()):
        return ""
    said = ", ".join(
        f"{name} {format_percent(share / sum(shares.values()))}" for name, share in shares.items()
    )
    return f"What makes the range of the hours left wide: {said}."


def overruns_table(answer: Overruns) -> Table:
    """Each type with its ratio as a range, never bare, and what it rests on."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column("Type", overflow="fold", min_width=8)
    for title in ("At stake", "Of plan", "Over", "Doubling", "Now, end", "Rework"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Rests on", no_wrap=True)
    for _, row in answer.types.iterrows():
        planned = not np.isnan(row["ratio_p50"])
        table.add_row(
            row["type"],
            f"{row['hours_at_stake']:+.0f} h",
            f"{row['ratio_p10']:.1f}-{row['ratio_p90']:.1f}" if planned else "no plan",
            _percent(row["probability_over"]) if planned else "",
            f"{100 * row['learning_rate_p10']:.0f}-{format_percent(row['learning_rate_p90'])}",
            f"{100 * row['learned_so_far']:.0f}, "
            f"{format_percent(row['learned_so_far'] * row['learning_to_come'])}",
            f"{100 * row['rework_share_p10']:.0f}-{format_percent(row['rework_share_p90'])}",
            f"{row['basis']}, {row['finished']}",
        )
    return table


def _percent(probability: float) -> str:
    """A probability in a narrow column, never quite certain."""
    if probability > 0.99:
        return ">99 %"
    return "<1 %" if probability < 0.01 else format_percent(probability)


def overruns_lines() -> list[str]:
    """How to read the table."""
    return [
        "Ranges hold 80 %. At stake: hours that the open tasks are expected to take beyond their plan.",
        "Of plan: hours taken over hours planned; over: the chance that this is above 1.",
        "Doubling: hours per piece, unit theory, each time the pieces done double; 100 % = no learning.",
        "Now, end: hours of the next piece, and of the last one, as a share of the first's (even odds).",
        "Rests on: the type's own finished tasks, pooled with others, or a prior; and how many.",
    ]
