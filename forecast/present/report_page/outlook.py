"""Sections on finish dates, hours left and overruns."""

from __future__ import annotations

import pandas as pd

from forecast.present.charts.theme import PAPER
from forecast.present.figures import burn_down_figure, finish_figure, ratios_figure
from forecast.present.finish import finish_lines, finish_rows, format_middle_80, spread_sentence
from forecast.present.overruns import overruns_rows
from forecast.present.report_page.elements import PageTable, Section
from forecast.quantiles import sample_quantile
from forecast.questions.burn_down import BurnDown
from forecast.questions.overruns import Overruns
from forecast.simulate.outlook import Outlook
from forecast.wording import capitalise, format_date, format_hours, plural

_PARTS = {
    "planned": "Planned tasks, done once",
    "rework": "Rework",
    "outside": "Work outside the plan",
    "growth": "Tasks still to be added to the plan",
}
_OVERRUN_COLUMNS = [
    "Type", "Times the plan", "Chance over", "Per doubling", "Rework", "Finished", "Rests on",
]  # fmt: skip


def head_sentence(outlook: Outlook) -> str:
    """How far the build is, in one line."""
    basis, tasks = outlook.basis, outlook.fitted.progress.tasks
    return (
        f"As of {format_date(outlook.as_of)}: {basis['finished_tasks']} of {len(tasks)} tasks finished, "
        f"{basis['sessions']} sessions in {basis['weeks']} weeks logged."
    )


def finish_section(outlook: Outlook) -> Section:
    """When each stage and the whole build finish."""
    dated = outlook.open_stages and any(outlook.date_at(0.05, s) for s in (*outlook.open_stages, None))
    return Section(
        id="finish",
        title="When is it finished?",
        answer=tuple(finish_lines(outlook)),
        sentences=(
            "The build is as likely to finish before the even-odds date as after it. Plan by the 80 % date. "
            "The last 10 % of the hours often drag on, so the day on which 90 % are done is given as well.",
        ),
        figures=(finish_figure(outlook, PAPER),) if dated else (),
        tables=(
            PageTable(
                caption="Finish dates; person-hours left as a central 80 % range", rows=finish_rows(outlook)
            ),
        ),
    )


def left_section(outlook: Outlook, left: BurnDown) -> Section:
    """Hours left over time, and what they consist of."""
    spent = float(outlook.fitted.progress.sessions["person_hours"].sum())
    hours = format_middle_80(outlook.person_hours_left(None))
    open_work = bool(outlook.open_stages)
    rest = f"another {hours} are likely to be needed (8 in 10)" if open_work else "none are left"
    added = (_added_sentence(left),) if len(left.scope) else ()
    spread = spread_sentence(outlook)
    return Section(
        id="left",
        title="How many hours are left?",
        answer=(f"{format_hours(spent)} person-hours are in the log; {rest}.",),
        sentences=(*added, *((spread,) if spread else ())),
        figures=(burn_down_figure(outlook, left, PAPER),) if open_work else (),
        tables=_left_tables(outlook, left) if open_work else (),
    )


def _added_sentence(left: BurnDown) -> str:
    tasks, hours = int(left.scope["tasks"].sum()), float(left.scope["hours"].sum())
    verb = "was" if tasks == 1 else "were"
    return f"{plural(tasks, 'task')} of about {format_hours(hours)} person-hours {verb} added to the plan."


def _left_tables(outlook: Outlook, left: BurnDown) -> tuple[PageTable, ...]:
    parts = [
        (
            _PARTS.get(name, capitalise(name)),
            format_hours(sample_quantile(hours, 0.5)),
            format_middle_80(hours),
        )
        for name, hours in outlook.hours_parts.items()
    ]
    columns = ["Part", "Even odds", "8 in 10 runs"]
    over_time = burn_down_figure(outlook, left, PAPER).table
    return (
        PageTable(caption="Person-hours left", rows=over_time),
        PageTable(caption="What the hours left consist of", rows=pd.DataFrame(parts, columns=columns)),
    )


def over_section(over: Overruns) -> Section:
    """Which types of work run over their estimate."""
    planned = over.types.loc[over.types["ratio_p50"].notna()]
    return Section(
        id="over",
        title="What runs over its estimate?",
        answer=(over.finding,),
        sentences=(
            *over.reasons,
            "Times the plan: what this type of work tends to take, rework included, over its planned hours; "
            "1 is the plan, and few finished tasks give a wide range. Per doubling: hours per piece when "
            "twice as many are done, relative to those before.",
        ),
        figures=(ratios_figure(planned, PAPER),) if len(planned) else (),
        tables=(
            PageTable(
                caption="Types of work beside their plan; most hours at stake first",
                rows=overruns_rows(over.types)[_OVERRUN_COLUMNS],
                text=("Rests on",),
            ),
        ),
    )
