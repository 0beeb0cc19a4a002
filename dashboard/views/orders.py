"""Orders: by when each kit or part must be ordered."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show
from dashboard.frame import current_request, show_answer, wait_for
from dashboard.work.forecasts import orders_for
from forecast.present.charts.dates import order_dates
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import Figure, as_days
from forecast.present.orders import delivery_titles, late_sentence, orders_due, orders_rows
from forecast.questions.orders import Order, Orders
from forecast.wording import format_date, format_percent, format_span

_LEVELS = {"p10": 0.10, "p50": 0.50, "p90": 0.90}


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    work = orders_for(request)
    if not work.done():
        show_answer(["By when must it be ordered?"])
        wait_for(work.done, "Simulating the build with and without each delivery...")
        return
    orders, titles = work.result(), delivery_titles(request.build)
    show_answer(order_lines(orders, titles))
    show(lambda: orders_figure(orders, titles), "orders", request.key)
    st.caption("Lead times are those of deliveries.csv; ask the maker before you rely on them.")


def order_lines(orders: Orders, titles: dict[str, str]) -> list[str]:
    """What to order first, and what happens then.

    Parameters
    ----------
    orders : the answer
    titles : delivery id -> title
    """
    due = orders_due(orders)
    if not due:
        return ["Nothing is left to order."]
    first, name = due[0], titles[due[0].delivery]
    if first.overdue:
        return [f"Order now: {name}.", _lateness_sentence(first)]
    reason = [late_sentence(first)] if first.late_on_purpose else []
    return [f"Order {name} by {format_date(first.order_by)}.", _lateness_sentence(first), *reason]


def _lateness_sentence(order: Order) -> str:
    begin = "Ordered today, it still" if order.overdue else "Ordered then, it"
    late = f"{begin} arrives late in {format_percent(order.probability_late)} of the runs"
    idle = order.expected_idle_days  # below half a day it would read as "1 day"
    return (
        f"{late} and leaves {format_span(idle)} without any work on average." if idle >= 0.5 else f"{late}."
    )


def orders_figure(orders: Orders, titles: dict[str, str]) -> Figure:
    """When each delivery is needed, and when to order it.

    Parameters
    ----------
    orders : the answer
    titles : delivery id -> title
    """
    rows = [
        {"title": titles[order.delivery], "order_by": order.order_by}
        | {q: order.needed_on(level) for q, level in _LEVELS.items()}
        for order in orders.orders
    ]
    return Figure(
        name="orders",
        finding=f"{len(orders_due(orders))} of {len(rows)} still to be ordered",
        chart=order_dates(as_days(pd.DataFrame(rows), ["order_by", *_LEVELS]), SCREEN),
        description="One row per delivery: the day to order it, and the range of days on which it is needed.",
        table=orders_rows(orders, titles),
        legend="Triangle with its date: order by. Bar: first needed, 8 in 10 runs, with a tick at even odds.",
    )


if __name__ == "__main__":
    show_page()
