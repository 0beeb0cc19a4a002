"""Sections for the builder's records: hours in the log, assumptions, cautions."""

from __future__ import annotations

import pandas as pd

from forecast.files.reference_tables import reference_table
from forecast.present.charts.hours import hours_by_month
from forecast.present.charts.theme import PAPER
from forecast.present.figures import Figure
from forecast.present.finish import CAUTION
from forecast.present.report_page.elements import PageTable, Section
from forecast.questions.hours_summary import BREAKDOWNS, hours_by
from forecast.questions.hours_summary import CAUTION as HOURS_CAUTION
from forecast.simulate.outlook import Outlook
from forecast.wording import capitalise, format_date

_BASIS = {
    "own": "Estimated from your own finished tasks of the type",
    "pooled": "Estimated from other types and priors too, because few tasks of the type are finished",
    "prior": "Estimated from the plan and published rates alone, because no task of the type is finished",
}


def hours_section(record: pd.DataFrame) -> Section:
    """The builder's own record of hours, headed by what it is not.

    Parameters
    ----------
    record : as `hours_record` makes it
    """
    months = hours_by(record, "month")
    return Section(
        id="hours",
        title="Hours in the log",
        answer=(HOURS_CAUTION,),
        sentences=(
            "By person: clock hours at the bench. The other tables add up the hours of everybody present.",
        ),
        figures=(_month_figure(months),) if len(months) else (),
        tables=tuple(PageTable(caption=f"Hours by {by}", rows=_hours_rows(record, by)) for by in BREAKDOWNS),
    )


def _hours_rows(record: pd.DataFrame, by: str) -> pd.DataFrame:
    hours = hours_by(record, by)
    names = hours[by] if by in ("person", "month") else hours[by].map(capitalise)
    return pd.DataFrame(
        {
            capitalise(by): names,
            "Days": [f"{days:,}" for days in hours["days"]],
            "Hours": [f"{total:,.1f}" for total in hours["hours"]],
            "Rework": [f"{again:,.1f}" for again in hours["rework_hours"]],
        }
    )


def _month_figure(months: pd.DataFrame) -> Figure:
    first = pd.to_datetime(months["month"] + "-01").astype("datetime64[us]")
    frame = months.assign(first=first, next=first + pd.offsets.MonthBegin(1))
    names, most = list(months["month"]), int(months["hours"].to_numpy().argmax())
    return Figure(
        name="hours-by-month",
        finding="Person-hours of each month",
        chart=hours_by_month(frame[["first", "next", "hours"]], PAPER),
        description=(
            f"{len(names)} months with sessions from {names[0]} to {names[-1]}; most in {names[most]}, "
            f"{months['hours'].iloc[most]:.0f} hours."
        ),
        table=months,
        legend="Person-hours of each month; months without a session have no bar.",
    )


def basis_section(outlook: Outlook) -> Section:
    """What the answers assume, and on what each assumption rests."""
    model, settings = outlook.fitted.effort, outlook.settings
    shared = _shared_tasks(outlook)
    rests = (
        f"{shared} finished tasks that were shared"
        if shared
        else "an assumption: your log has no shared task yet"
    )
    return Section(
        id="basis",
        title="What this rests on",
        sentences=(
            f"{settings.runs:,} runs, seed {settings.seed}, as of {format_date(outlook.as_of)}: the same log "
            "and plan give the same page. Every run draws the hours of each open task and the days at the "
            "bench from what the log shows, and simulates the plan: order of tasks, holds, hands, "
            f"deliveries, limits. A run that takes more than {settings.horizon_years} years is past the "
            "horizon.",
            *_basis_sentences(outlook),
            f"Two people sharing a task that one could do need {model.shared_work_penalty_:.2f} times the "
            f"person-hours of one alone. This rests on {rests}. We know of no published figure for two "
            "people on a kit.",
            *outlook.notes,
        ),
    )


def _basis_sentences(outlook: Outlook) -> list[str]:
    """Which types of work rest on what, the thinnest last."""
    types = outlook.fitted.effort.types_
    named = {basis: list(types.loc[types["basis"] == basis, "type"]) for basis in _BASIS}
    return [f"{_BASIS[basis]}: {', '.join(names)}." for basis, names in named.items() if names]


def _shared_tasks(outlook: Outlook) -> int:
    tasks = outlook.fitted.progress.tasks
    return int((tasks["done"] & (tasks["crew"] != "two") & (tasks["shared_fraction"] > 0)).sum())


def cautions_section(country: str | None) -> Section:
    """What the page must not be taken for; rules of a country only where build.toml names it."""
    found = reference_table("cautions")
    found = found.loc[found["country"].isin(["", country or ""])]
    return Section(
        id="cautions",
        title="What this is not",
        answer=(CAUTION,),
        sentences=tuple(found["text"]),
    )
