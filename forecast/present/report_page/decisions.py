"""Sections on a second pair of hands, on orders, and on past forecasts."""

from __future__ import annotations

from forecast.present.charts.dates import finish_ranges
from forecast.present.charts.theme import PAPER
from forecast.present.crew import crew_rows, plan_name
from forecast.present.figures import RANGES_LEGEND, Figure, past_figure, ranges_frame, right_edge
from forecast.present.orders import delivery_titles, orders_due, orders_rows
from forecast.present.report_page.elements import PageTable, Section
from forecast.questions.announced_dates import BUILD
from forecast.questions.crew import CrewAnswer
from forecast.questions.orders import Order, Orders
from forecast.questions.track_record import TrackRecord, announced_sentences, record_sentences
from forecast.simulate.outlook import Outlook
from forecast.wording import format_date


def crew_section(crew: CrewAnswer) -> Section:
    """Alone, by two, or with a helper for two-person work."""
    first, *others = crew.findings
    return Section(
        id="crew",
        title="Would a second pair of hands help?",
        answer=(first,),
        sentences=(
            *others,
            "All plans share the same random draws, so a gain is due to the extra hands and not to chance.",
        ),
        figures=_crew_figures(crew),
        tables=(PageTable(caption="Three plans; ranges are central 80 % ranges", rows=crew_rows(crew)),),
    )


def _crew_figures(crew: CrewAnswer) -> tuple[Figure, ...]:
    """The finish under each plan; none where no plan has a date."""
    frame = ranges_frame([(plan_name(crew, plan), plan.outlook, None) for plan in crew.plans])
    if frame["p05"].isna().all():
        return ()
    outlook = crew.plans[0].outlook
    figure = Figure(
        name="crew",
        finding="Finish of the whole build alone, by two, and with a helper",
        chart=finish_ranges(frame, outlook.as_of, right_edge(frame, outlook), PAPER),
        description=crew.findings[0],
        table=crew_rows(crew),
        legend=RANGES_LEGEND,
    )
    return (figure,)


def orders_section(outlook: Outlook, orders: Orders) -> Section | None:
    """By when to order what; None where nothing is to come."""
    if not orders.orders:
        return None
    titles = delivery_titles(outlook.fitted.build)
    due = tuple(_order_sentence(order, titles[order.delivery]) for order in orders_due(orders))
    return Section(
        id="orders",
        title="What to order by when?",
        answer=due or ("Everything is on order.",),
        sentences=(
            "The order date weighs the cost per week of standing without work against that of storing an "
            "early kit. Without costs in deliveries.csv, the delivery is in time with a chance of 80 %.",
        ),
        tables=(
            PageTable(
                caption="Kits and parts still to come", rows=orders_rows(orders, titles), text=("Rule",)
            ),
        ),
    )


def _order_sentence(order: Order, title: str) -> str:
    return f"Order now: {title}." if order.overdue else f"Order by {format_date(order.order_by)}: {title}."


def record_section(record: TrackRecord) -> Section:
    """Past forecasts compared with what happened."""
    first, *others = record_sentences(record)
    rows = record.finishes.loc[record.finishes["target"] == BUILD]
    figure = past_figure(record, BUILD, PAPER) if len(rows) else None
    # A single past forecast has no history to draw, and without dates the chart would be empty.
    drawn = figure is not None and rows["p50"].notna().sum() >= 2
    return Section(
        id="record",
        title="Did earlier forecasts hold?",
        answer=(first,),
        sentences=(*others, *announced_sentences(record)),
        figures=(figure,) if figure is not None and drawn else (),
        tables=(
            ()
            if figure is None
            else (PageTable(caption="Past forecasts of the whole build", rows=figure.table),)
        ),
    )
