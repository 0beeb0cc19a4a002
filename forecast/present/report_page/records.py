"""What the page keeps for the record: hours by person, stage, type and month; assumptions; cautions."""

from __future__ import annotations

import pandas as pd

from forecast.files.reference_tables import reference_table
from forecast.present.finish import CAUTION, format_date
from forecast.present.report_page import charts
from forecast.present.report_page.parts import Figure, Section, Table, table
from forecast.present.report_page.pictures import picture
from forecast.present.report_page.sections import capital
from forecast.questions.hours_summary import CAUTION as HOURS_CAUTION
from forecast.questions.hours_summary import hours_by
from forecast.simulate.outlook import Outlook

_BASIS = {
    "own": "Hours from your own finished tasks of the type",
    "pooled": "Hours that lean on other types and on priors, with few or no finished tasks of their own",
    "prior": "Hours by the plan and published rates alone, nothing finished yet",
}


def hours_section(record: pd.DataFrame) -> Section:
    """The builder's own record of hours, headed by what it is not."""
    return Section(
        id="hours",
        title="Hours in the log",
        answer=(HOURS_CAUTION,),
        sentences=(
            "By person: clock hours at the bench. The other tables add the hours of everybody who was there.",
        ),
        figures=_month_figure(record),
        tables=tuple(_hours_table(record, by) for by in ("person", "stage", "type", "month")),
    )


def _hours_table(record: pd.DataFrame, breakdown: str) -> Table:
    rows = [
        (
            row[breakdown] if breakdown in ("person", "month") else capital(row[breakdown]),
            f"{row['days']:,}",
            f"{row['hours']:,.1f}",
            f"{row['rework_hours']:,.1f}",
        )
        for row in hours_by(record, breakdown).to_dict("records")
    ]
    columns = [capital(breakdown), "Days", "Hours", "of these done again"]
    return table(f"Hours by {breakdown}", columns, rows)


def _month_figure(record: pd.DataFrame) -> tuple[Figure, ...]:
    if record.empty:
        return ()
    months = hours_by(record, "month")
    first = pd.to_datetime(months["month"] + "-01").astype("datetime64[us]")
    frame = months.assign(first=first, next=first + pd.offsets.MonthBegin(1))
    names, most = list(months["month"]), int(months["hours"].to_numpy().argmax())
    svg = picture(
        charts.hours_by_month(frame[["first", "next", "hours"]]),
        name="hours-picture",
        title="Person-hours of each month",
        description=(
            f"{len(names)} months with sessions from {names[0]} to {names[-1]}; most in "
            f"{names[most]}, {months['hours'].iloc[most]:.0f} hours."
        ),
    )
    return (Figure(svg=svg, caption="Person-hours of each month; months without a session have no bar."),)


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
            "bench from what the log shows, and plays them through the plan: what comes first, holds, hands, "
            f"deliveries, limits. One that goes on for {settings.horizon_years} years is past the horizon.",
            *_types_sentences(outlook),
            f"Two on one task that one could do need {model.shared_work_penalty_:.2f} times the person-hours "
            f"of one alone. It rests on {rests}. No published figure for two people on a kit was found.",
            *outlook.notes,
        ),
    )


def _types_sentences(outlook: Outlook) -> list[str]:
    """Which types of work rest on what, the thinnest last."""
    types = outlook.fitted.effort.types_
    named = {basis: list(types.loc[types["basis"] == basis, "type"]) for basis in _BASIS}
    return [f"{_BASIS[basis]}: {', '.join(names)}." for basis, names in named.items() if names]


def _shared_tasks(outlook: Outlook) -> int:
    tasks = outlook.fitted.progress.tasks
    return int((tasks["done"] & (tasks["crew"] != "two") & (tasks["shared_fraction"] > 0)).sum())


def cautions_section(country: str | None) -> Section:
    """What the page must not be read as saying; rules of a country only where build.toml names it."""
    found = reference_table("cautions")
    found = found.loc[found["country"].isin(["", country or ""])]
    return Section(
        id="cautions",
        title="What this is not",
        answer=(CAUTION,),
        sentences=tuple(found["text"]),
    )
