"""Orders: by when each kit or part must be ordered."""

from __future__ import annotations

from math import isfinite

import numpy as np
import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show
from dashboard.charts.plans import order_dates
from dashboard.frame import answer, asked, wait_for
from dashboard.words import format_span
from dashboard.work.forecasts import orders_for
from forecast.present.choices import late_sentence
from forecast.present.finish import format_date, format_short_date
from forecast.quantiles import day_of, sample_quantile
from forecast.questions.orders import Order
from forecast.wording import format_percent

_NEEDED = {"p10": 0.10, "p50": 0.50, "p90": 0.90}


def show_page() -> None:
    """Draw the page."""
    now = asked()
    found = orders_for(now)
    if not found.done():
        answer(["By when must it be ordered?"])
        wait_for(found.done, "Playing the build with each kit there, and without it.")
        return
    orders = found.result().orders
    assert now.reading.build is not None
    titles = {d.delivery: d.title or d.delivery for d in now.reading.build.deliveries}
    answer(order_lines(orders, titles))
    show(drawn(lambda: orders_figure(orders, titles), "orders", now.key))
    st.caption("Lead times are those of deliveries.csv; ask the maker before you rely on them.")


def order_lines(orders: tuple[Order, ...], titles: dict[str, str]) -> list[str]:
    """What is to be ordered first."""
    open_orders = sorted(
        (o for o in orders if o.order_by_days is not None), key=lambda o: o.order_by_days or 0
    )
    if not open_orders:
        return ["Nothing is left to order."]
    first = open_orders[0]
    name = titles[first.delivery]
    if first.overdue:
        return [f"Order now: {name}.", _late_words(first)]
    why = [late_sentence(first)] if first.late_on_purpose else []
    return [f"Order {name} by {format_date(first.order_by)}.", _late_words(first), *why]


def _late_words(order: Order) -> str:
    idle = order.expected_idle_days
    begun = "Ordered today, it still" if order.overdue else "Ordered then, it"
    said = f"{begun} comes too late in {format_percent(order.probability_late)} of the runs"
    return (
        f"{said}, and the bench then stands idle: {format_span(idle)} in the mean of all runs."
        if idle >= 0.5
        else f"{said}."
    )


def orders_figure(orders: tuple[Order, ...], titles: dict[str, str]) -> Figure:
    """When each delivery is needed, and when to order it."""
    frame = pd.DataFrame([_row(o, titles[o.delivery]) for o in orders])
    dates = ["order_by", *_NEEDED]
    frame = frame.assign(**{c: pd.to_datetime(frame[c]).astype("datetime64[us]") for c in dates})
    due = int(frame["order_by"].notna().sum())
    return Figure(
        name="orders",
        finding=f"{due} of {len(frame)} still to be ordered",
        chart=order_dates(frame),
        description="One row a delivery: the day to order it, and the range of days on which it is needed.",
        table=_table(orders, titles),
        legend="Triangle with its date: order by. Bar: first needed, 8 in 10 runs, with a tick at even odds.",
    )


def _row(order: Order, title: str) -> dict[str, object]:
    first_day = np.floor(order.need.needed_days) + 1.0
    needed = {name: day_of(order.as_of, sample_quantile(first_day, q)) for name, q in _NEEDED.items()}
    return {"title": title, "order_by": order.order_by, **needed}


def _table(orders: tuple[Order, ...], titles: dict[str, str]) -> pd.DataFrame:
    rows = []
    for order in orders:
        middle = sample_quantile(order.need.needed_days, 0.5)
        needed = (
            format_short_date(day_of(order.as_of, np.floor(middle) + 1.0))
            if isfinite(middle)
            else "not in sight"
        )
        rows.append(
            {
                "Delivery": titles[order.delivery],
                "Order by": _order_words(order),
                "First needed": needed,
                "Too late": format_percent(order.probability_late),
                "Idle days": f"{order.expected_idle_days:.0f}",
                "Rule": order.rule,
            }
        )
    return pd.DataFrame(rows)


def _order_words(order: Order) -> str:
    if order.ordered is not None:
        return f"ordered {format_short_date(order.ordered)}"
    if order.order_by is None:
        return "not needed yet"
    return "now" if order.overdue else format_short_date(order.order_by)


if __name__ == "__main__":
    show_page()
