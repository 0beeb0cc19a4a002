"""Finish dates in sentences and as a table."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.quantiles import sample_quantile
from forecast.simulate.outlook import Outlook
from forecast.wording import format_date, format_hours, format_percent, format_short_date, target_name

CAUTION = (
    "A forecast from your own log, not a promise. It certifies nothing: your kit maker's plans and your "
    "aviation authority's rules govern."
)
_PARTS = {
    "planned": "planned tasks",
    "rework": "rework",
    "outside": "work outside the plan",
    "growth": "tasks still to be added",
}


def finish_sentence(outlook: Outlook, stage: str | None) -> str:
    """When a stage finishes, in one line.

    Parameters
    ----------
    outlook : the forecast
    stage : name of the stage; None = the whole build
    """
    name = target_name(stage)
    done = outlook.finished_on(stage)
    if done is not None:
        return f"{name}: finished on {format_date(done)}."
    sure, even = outlook.date_at(0.80, stage), outlook.date_at(0.50, stage)
    share, years = format_percent(outlook.past_horizon(stage)), outlook.settings.horizon_years
    if even is None:
        return f"{name}: not within {years} years at this pace in {share} of runs, so no date is given."
    if sure is None:
        return f"{name}: even odds by {format_date(even)}; later than {years} years in {share} of runs."
    return f"{name}: 80 % sure by {format_date(sure)}; even odds by {format_date(even, mentioned=sure)}."


def finish_lines(outlook: Outlook) -> list[str]:
    """The answer: the first open stage, then the whole build."""
    lines = [finish_sentence(outlook, stage) for stage in outlook.open_stages[:1]]
    return [*lines, finish_sentence(outlook, None)]


def finish_rows(outlook: Outlook) -> pd.DataFrame:
    """One row per stage and a last one for the whole build, every cell a text.

    Dates are those of the even odds and of the 80 % chance, and the day on which 90 % of the hours are
    done at even odds; hours are the central 80 % of the runs.
    """
    rows = [_finish_row(outlook, stage) for stage in (*outlook.stages, None)]
    columns = ["Stage", "Person-hours left", "Even odds", "80 % sure", "90 % of hours"]
    return pd.DataFrame(rows, columns=columns)


def _finish_row(outlook: Outlook, stage: str | None) -> tuple[str, ...]:
    done = outlook.finished_on(stage)
    if done is not None:
        return target_name(stage), "0", format_short_date(done), "finished", ""
    return (
        target_name(stage),
        format_middle_80(outlook.person_hours_left(stage)),
        format_short_date(outlook.date_at(0.50, stage)),
        format_short_date(outlook.date_at(0.80, stage)),
        format_short_date(outlook.date_at(0.50, stage, first_90=True)),
    )


def basis_sentence(outlook: Outlook) -> str:
    """How much log the forecast rests on, and its settings."""
    basis, settings = outlook.basis, outlook.settings
    return (
        f"Based on {basis['finished_tasks']} of {len(outlook.fitted.progress.tasks)} tasks finished, "
        f"{basis['sessions']} sessions over {basis['weeks']} weeks; {settings.runs:,} runs, "
        f"seed {settings.seed}, as of {format_date(outlook.as_of)}."
    )


def spread_sentence(outlook: Outlook) -> str:
    """Where the spread of the hours left comes from; empty once all is done."""
    from forecast.learn.effort.remaining import range_shares

    shares = {_PARTS[part]: max(share, 0.0) for part, share in range_shares(outlook.hours_parts).items()}
    total = sum(shares.values())
    if not total:
        return ""
    parts = ", ".join(f"{part} {format_percent(share / total)}" for part, share in shares.items())
    return f"Where the spread of the hours left comes from: {parts}."


def format_middle_80(hours: np.ndarray) -> str:
    """The central 80 % of some hours, from the 10 % to the 90 % quantile.

    Examples
    --------
    >>> format_middle_80(np.arange(1.0, 101.0))
    '10 to 90'
    """
    low, high = (sample_quantile(hours, level) for level in (0.10, 0.90))
    return f"{format_hours(low)} to {format_hours(high)}"
