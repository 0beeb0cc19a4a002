"""The answers as sections: finish dates, hours left, what runs over."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from forecast.present.finish import (
    finish_lines,
    format_date,
    format_hours,
    format_short_date,
    hours_range,
    range_sentence,
)
from forecast.present.report_page import charts
from forecast.present.report_page.parts import Figure, Section, Table, table
from forecast.present.report_page.pictures import picture
from forecast.quantiles import sample_quantile
from forecast.questions.burn_down import BurnDown
from forecast.questions.overruns import Overruns
from forecast.simulate.outlook import Outlook
from forecast.wording import format_percent_range

_SHOWN = {"p05": 0.05, "p10": 0.10, "p50": 0.50, "p80": 0.80, "p90": 0.90, "p95": 0.95}
_ROWS_OF_BURN_DOWN = 9
_BASIS = {"own": "own log", "pooled": "leans on other types", "prior": "prior alone"}


def target_name(stage: str | None) -> str:
    """A stage as it begins a sentence, or the whole build."""
    return "Whole build" if stage is None else capital(stage)


def capital(text: str) -> str:
    """A text with a capital.

    >>> capital("wings")
    'Wings'
    """
    return text[:1].upper() + text[1:]


def finish_section(outlook: Outlook) -> Section:
    """When each stage and the whole build finish."""
    return Section(
        id="finish",
        title="When is it finished?",
        answer=tuple(finish_lines(outlook)),
        sentences=(
            "Even odds: as likely before that day as after it. 80 % sure: the day to plan by. Nine tenths of "
            "the hours are often done long before the last task is.",
        ),
        figures=_finish_figure(outlook),
        tables=(_finish_table(outlook),),
    )


def _finish_figure(outlook: Outlook) -> tuple[Figure, ...]:
    targets: list[str | None] = [*outlook.open_stages, None] if outlook.open_stages else []
    return targets_figure(
        [(target_name(t), outlook, t) for t in targets],
        name="finish-picture",
        title="Finish dates of the open stages and of the whole build",
        description=" ".join(finish_lines(outlook)),
    )


def targets_figure(
    rows: Sequence[tuple[str, Outlook, str | None]], *, name: str, title: str, description: str
) -> tuple[Figure, ...]:
    """The ranges of some finish dates below each other; nothing where no date is known.

    Parameters
    ----------
    rows : what is finished, in words; the forecast; the stage in it (None: the whole build)
    name, title, description : of the picture
    """
    dates = [{q: o.date_at(level, t) for q, level in _SHOWN.items()} for _, o, t in rows]
    known = [d for row in dates for d in row.values() if d is not None]
    if not known:
        return ()
    frame = pd.DataFrame(dates)
    frame = frame.assign(**{q: pd.to_datetime(frame[q]).astype("datetime64[us]") for q in _SHOWN})
    frame = frame.assign(
        target=[words for words, _, _ in rows],
        label=["" if row["p80"] is None else format_short_date(row["p80"]) for row in dates],
    )
    as_of = rows[0][1].as_of
    last = max((row["p90"] for row in dates if row["p90"] is not None), default=max(known))
    until = last + timedelta(days=max(20, (last - as_of).days // 10))
    svg = picture(charts.finish_ranges(frame, as_of, until), name=name, title=title, description=description)
    caption = (
        "Broad bar: 8 in 10 runs; thin line: 9 in 10. Circle: even odds. Diamond with its date: 80 % sure. "
        "A triangle at the right edge: it goes on."
    )
    return (Figure(svg=svg, caption=caption),)


def _finish_table(outlook: Outlook) -> Table:
    columns = ["Stage", "Person-hours left", "Even odds", "80 % sure", "9 in 10 hours done"]
    rows = [_finish_row(outlook, stage) for stage in (*outlook.stages, None)]
    return table("Finish dates; hours left and dates as 8 in 10 runs have them", columns, rows)


def _finish_row(outlook: Outlook, stage: str | None) -> tuple[str, ...]:
    done = outlook.finished_on(stage)
    if done is not None:
        return target_name(stage), "none", format_short_date(done), "finished", ""
    left = hours_range(outlook.person_hours_left(stage), 0.10, 0.90)
    dates = (
        outlook.date_at(0.50, stage),
        outlook.date_at(0.80, stage),
        outlook.date_at(0.50, stage, first_90=True),
    )
    return target_name(stage), left, *map(format_short_date, dates)


def left_section(outlook: Outlook, left: BurnDown) -> Section:
    """Hours left over time, and where they come from."""
    spent = float(outlook.fitted.progress.sessions["person_hours"].sum())
    hours = outlook.person_hours_left(None)
    more = f"{hours_range(hours, 0.10, 0.90)} more are likely to be needed (8 in 10)"
    rest = more if outlook.open_stages else "none are left"
    answer = f"{format_hours(spent)} person-hours are in the log; {rest}."
    return Section(
        id="left",
        title="How many hours are left?",
        answer=(answer,),
        sentences=tuple(filter(None, (_came_in(left) if len(left.scope) else "", range_sentence(outlook)))),
        figures=_left_figure(outlook, left),
        tables=(_left_table(left), _parts_table(outlook)) if outlook.open_stages else (),
    )


def _came_in(left: BurnDown) -> str:
    tasks, hours = int(left.scope["tasks"].sum()), float(left.scope["hours"].sum())
    were = "task that takes" if tasks == 1 else "tasks that take"
    return f"Since the beginning {tasks} {were} about {format_hours(hours)} person-hours came into the plan."


def _left_figure(outlook: Outlook, left: BurnDown) -> tuple[Figure, ...]:
    if not outlook.open_stages:
        return ()
    hours = outlook.person_hours_left(None)
    even, sure = format_short_date(outlook.date_at(0.5, None)), format_short_date(outlook.date_at(0.8, None))
    svg = picture(
        charts.hours_left(left.logged, left.forecast),
        name="left-picture",
        title="Person-hours left, as logged and as forecast",
        description=(
            f"From about {format_hours(sample_quantile(hours, 0.5))} person-hours left on "
            f"{format_short_date(outlook.as_of)} down to nothing: even odds by {even}, 80 % sure by {sure}."
        ),
    )
    caption = (
        "Orange: the log. Blue line: even odds. Bands from dark to light: 5 in 10, 8 in 10 and 95 in 100 "
        "runs."
    )
    return (Figure(svg=svg, caption=caption),)


def _left_table(left: BurnDown) -> Table:
    ahead = left.forecast
    picked = np.unique(np.linspace(0, len(ahead) - 1, _ROWS_OF_BURN_DOWN).round().astype(int))
    rows = [
        (
            format_short_date(ahead["day"].iloc[i].date()),
            format_hours(ahead["p50"].iloc[i]),
            f"{format_hours(ahead['p10'].iloc[i])} to {format_hours(ahead['p90'].iloc[i])}",
        )
        for i in picked
    ]
    return table("Person-hours left", ["On", "Even odds", "8 in 10 runs"], rows)


def _parts_table(outlook: Outlook) -> Table:
    words = {
        "planned": "Tasks of the plan, done once",
        "rework": "Doing things again",
        "outside": "Work outside the plan",
        "growth": "Tasks that will still come into the plan",
    }
    rows = [
        (words.get(name, capital(name)), format_hours(sample_quantile(h, 0.5)), hours_range(h, 0.10, 0.90))
        for name, h in outlook.hours_parts.items()
    ]
    return table("What the hours left are made of", ["Part", "Even odds", "8 in 10 runs"], rows)


def over_section(over: Overruns) -> Section:
    """Which types of work run over their estimate."""
    planned = over.types.loc[over.types["ratio_p50"].notna()]
    return Section(
        id="over",
        title="What runs over its estimate?",
        answer=(over.finding,),
        sentences=(
            *over.reasons,
            "The range is what this kind of work tends to take, rework included, over what was planned for "
            "it; 1 is the plan. Few finished tasks give a wide range. Left at a doubling: hours a piece when "
            "twice as many are done, over those before.",
        ),
        figures=_over_figure(over, planned),
        tables=(_over_table(over.types),),
    )


def _over_figure(over: Overruns, planned: pd.DataFrame) -> tuple[Figure, ...]:
    if planned.empty:
        return ()
    svg = picture(
        charts.ratios(planned.assign(name=planned["type"].map(capital))),
        name="over-picture",
        title="Hours of each type of work over its planned hours",
        description=over.finding,
    )
    return (Figure(svg=svg, caption="Line: 8 in 10. Diamond: even odds. The upright line is the plan."),)


def _over_table(types: pd.DataFrame) -> Table:
    columns = ["Type", "Times the plan", "Over it", "Left at a doubling", "Rework", "Finished", "Rests on"]
    rows = [_over_row(row) for row in types.to_dict("records")]
    return table("Types of work beside their plan; most hours at stake first", columns, rows, words=1)


def _over_row(row: dict[Hashable, Any]) -> tuple[str, ...]:
    planned = not np.isnan(row["ratio_p50"])
    return (
        capital(row["type"]),
        f"{row['ratio_p10']:.2f} to {row['ratio_p90']:.2f}" if planned else "no plan",
        say_odds(row["probability_over"]) if planned else "",
        f"{row['learning_rate_p10']:.2f} to {row['learning_rate_p90']:.2f}",
        format_percent_range(row["rework_share_p10"], row["rework_share_p90"]),
        str(row["finished"]),
        _BASIS[row["basis"]],
    )


def say_odds(chance: float) -> str:
    """A chance as so many in ten.

    >>> [say_odds(c) for c in (0.01, 0.44, 0.97)]
    ['hardly', '4 in 10', 'nearly sure']
    """
    if chance < 0.05:
        return "hardly"
    return "nearly sure" if chance > 0.95 else f"{round(10 * chance)} in 10"


def head_sentence(outlook: Outlook) -> str:
    """What the page rests on, in one line."""
    basis, progress = outlook.basis, outlook.fitted.progress
    return (
        f"As of {format_date(outlook.as_of)}: {basis['finished_tasks']} of {len(progress.tasks)} tasks are "
        f"finished, {basis['sessions']} sessions in {basis['weeks']} weeks are in the log."
    )
