"""Sections on a second pair of hands, on orders, and on how earlier forecasts did."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from forecast.files.plan import Delivery
from forecast.present.finish import format_date, format_short_date, hours_range
from forecast.present.report_page import charts
from forecast.present.report_page.parts import Figure, Section, Table, table
from forecast.present.report_page.pictures import picture
from forecast.present.report_page.sections import say_odds, targets_figure
from forecast.quantiles import day_of, sample_quantile
from forecast.questions.announced_dates import BUILD
from forecast.questions.crew import CrewAnswer, CrewPlan
from forecast.questions.orders import Order, Orders
from forecast.simulate.outlook import Outlook

if TYPE_CHECKING:
    from forecast.questions.track_record import TrackRecord

_MOST_ROWS = 10


def crew_section(crew: CrewAnswer) -> Section:
    """Alone, by two, or with a helper for what needs two."""
    first, *others = crew.findings
    return Section(
        id="crew",
        title="Would a second pair of hands help?",
        answer=(first,),
        sentences=(
            *others,
            "All ways are played on the same draws, so that every gain is one of the hands and not of luck.",
        ),
        figures=_crew_figure(crew),
        tables=(_crew_table(crew),),
    )


def _plan_name(crew: CrewAnswer, plan: CrewPlan) -> str:
    names = {"solo": "Alone", "two": f"With {crew.crew.name}", "helper": "Helper for two-person work"}
    return names[plan.plan]


def _crew_figure(crew: CrewAnswer) -> tuple[Figure, ...]:
    rows = [(_plan_name(crew, p), p.outlook, None) for p in crew.plans]
    return targets_figure(
        rows,
        name="crew-picture",
        title="Finish of the whole build alone, by two, and with a helper",
        description=crew.findings[0],
    )


def _crew_table(crew: CrewAnswer) -> Table:
    rows = [
        (
            _plan_name(crew, p),
            format_short_date(p.outlook.date_at(0.50, None)),
            format_short_date(p.outlook.date_at(0.80, None)),
            _hours_cell(p.person_hours),
            _gain_cell(crew.gain_days.get(p.plan)),
        )
        for p in crew.plans
    ]
    columns = ["Way", "Even odds", "80 % sure", "Person-hours", "Days sooner"]
    return table("Three ways to go on; hours and days as 8 in 10 runs have them", columns, rows)


def _hours_cell(hours: np.ndarray) -> str:
    return hours_range(hours, 0.10, 0.90) if np.isfinite(sample_quantile(hours, 0.90)) else "past horizon"


def _gain_cell(gain: np.ndarray | None) -> str:
    """The range of a gain in days; nothing for the way that the others are compared with."""
    if gain is None or np.isnan(gain).all():
        return ""
    known = gain[~np.isnan(gain)]
    low, high = (sample_quantile(known, q) for q in (0.10, 0.90))
    return f"{low:.0f} to {high:.0f}" if np.isfinite(high) else f"{low:.0f} or more"


def orders_section(outlook: Outlook, orders: Orders) -> Section | None:
    """By when to order what; nothing where nothing is to come."""
    if not orders.orders:
        return None
    known = {d.delivery: d for d in outlook.fitted.build.deliveries}
    due = sorted((o for o in orders.orders if o.order_by is not None), key=lambda o: o.order_by_days or 0)
    return Section(
        id="orders",
        title="What to order by when?",
        answer=tuple(_order_sentence(o, known[o.delivery]) for o in due) or ("Everything is on order.",),
        sentences=(
            "Weighed: what it costs a week to stand without work, and to store a kit that comes early. "
            "Without costs in deliveries.csv: in time with a chance of 80 %.",
        ),
        tables=(_orders_table(orders, known),),
    )


def _order_sentence(order: Order, delivery: Delivery) -> str:
    if order.overdue:
        return f"Order now: {delivery.title}."
    return f"Order by {format_date(order.order_by)}: {delivery.title}."


def _orders_table(orders: Orders, known: dict[str, Delivery]) -> Table:
    columns = ["Delivery", "Needed, even odds", "Order by", "Comes too late", "Days waited for it", "Rule"]
    rows = [_order_row(o, known[o.delivery].title) for o in orders.orders]
    return table("Kits and parts that are still to come", columns, rows, words=1)


def _order_row(order: Order, title: str) -> tuple[str, ...]:
    needed = day_of(order.as_of, np.floor(sample_quantile(order.need.needed_days, 0.5)) + 1.0)
    by = "on order" if order.ordered is not None else format_short_date(order.order_by)
    if order.ordered is None and order.order_by is None:
        by = "not needed"
    late, wait = say_odds(order.probability_late), order.expected_wait_days
    waited = f"{wait:.0f}" if np.isfinite(wait) else ""
    rule = "" if order.rule == "ordered" else order.rule
    return title, format_short_date(needed), by, late, waited, rule


def record_section(record: TrackRecord) -> Section:
    """What was forecast on past days, beside what happened."""
    from forecast.questions.track_record import announced_sentences, record_sentences

    first, *others = record_sentences(record)
    rows = record.finishes.loc[record.finishes["target"] == BUILD]
    return Section(
        id="record",
        title="Did earlier forecasts hold?",
        answer=(first,),
        sentences=(*others, *announced_sentences(record)),
        figures=_record_figure(rows, first),
        tables=(_record_table(rows),) if len(rows) else (),
    )


def _record_figure(rows: pd.DataFrame, said: str) -> tuple[Figure, ...]:
    """Past forecasts of the whole build; nothing while there are none with a date."""
    shown = rows.loc[rows["p50"].notna()].reset_index(drop=True)
    if len(shown) < 2:
        return ()
    actual = shown["actual"].iloc[-1]
    svg = picture(
        charts.past_forecasts(shown, None if pd.isna(actual) else actual.date()),
        name="record-picture",
        title="Finish of the whole build as it would have been forecast on past days",
        description=said,
    )
    end = " A triangle at the top: it goes on." if shown["p90"].isna().any() else ""
    end += "" if pd.isna(actual) else " Level line: the day on which it was finished."
    caption = (
        f"Each past day has its range (8 in 10), its even odds (circle) and its 80 % day (diamond).{end}"
    )
    return (Figure(svg=svg, caption=caption),)


def _record_table(rows: pd.DataFrame) -> Table:
    picked = np.unique(np.linspace(0, len(rows) - 1, _MOST_ROWS).round().astype(int))
    cells = [_record_row(rows.iloc[i]) for i in picked]
    columns = ["Forecast on", "Even odds", "80 % sure", "Finished on"]
    return table("The whole build as forecast on past days", columns, cells)


def _record_row(row: pd.Series) -> tuple[str, ...]:
    def day(name: str, otherwise: str) -> str:
        return otherwise if pd.isna(row[name]) else format_short_date(row[name].date())

    return (
        day("as_of", ""),
        day("p50", "past horizon"),
        day("p80", "past horizon"),
        day("actual", "not yet"),
    )
