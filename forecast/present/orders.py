"""When to order what, in sentences and as a table."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from forecast.files.folder import Build
from forecast.questions.orders import Order, Orders
from forecast.wording import format_date, format_percent, format_short_date, plural


def delivery_titles(build: Build) -> dict[str, str]:
    """Delivery id -> its title."""
    return {d.delivery: d.title or d.delivery for d in build.deliveries}


def orders_due(answer: Orders) -> list[Order]:
    """What is still to be ordered, the next first."""
    due = [order for order in answer.orders if order.order_by_days is not None]
    return sorted(due, key=lambda order: order.order_by_days or 0)


def order_sentences(build: Build, answer: Orders) -> list[str]:
    """One sentence per order to place, the next first."""
    titles = delivery_titles(build)
    due = orders_due(answer)
    if not due:
        return ["Nothing is left to order: all that the open work needs has arrived or is on order."]
    return [_order_sentence(order, titles[order.delivery]) for order in due]


def _order_sentence(order: Order, title: str) -> str:
    share, idle = format_percent(order.probability_late), _format_days(order.expected_idle_days)
    late = f"ordered then, it arrives late in {share} of runs and leaves {idle} without any work on average"
    if order.overdue:
        return f"{title}: order now; {late}."
    why = f" {late_sentence(order)}" if order.late_on_purpose else ""
    return f"{title}: order by {format_date(order.order_by)}; {late}.{why}"


def late_sentence(order: Order) -> str:
    """Why the cheapest order date lets a delivery arrive late more often than not."""
    waited, idle = order.expected_wait_days, order.expected_idle_days
    return (
        f"By your costs, late is cheaper than early: storage costs {order.early_cost_per_week:g} per week, "
        f"a week without any work {order.late_cost_per_week:g}, and other work fills "
        f"{max(round(waited) - round(idle), 0)} of the {_format_days(waited)} of waiting on average."
    )


def _format_days(days: float) -> str:
    return plural(round(days), "day")


def orders_rows(answer: Orders, titles: Mapping[str, str]) -> pd.DataFrame:
    """One row per delivery to come, every cell a text."""
    columns = ["Delivery", "First needed", "Order by", "Late", "Days waited", "Days idle", "Rule"]
    rows = [_order_row(order, titles[order.delivery]) for order in answer.orders]
    return pd.DataFrame(rows, columns=columns)


def _order_row(order: Order, title: str) -> tuple[str, ...]:
    needed = order.needed_on(0.5)
    wait = order.expected_wait_days
    return (
        title,
        "not within horizon" if needed is None else format_short_date(needed),
        _format_order_by(order),
        format_percent(order.probability_late),
        f"{wait:.0f}" if np.isfinite(wait) else "",
        f"{order.expected_idle_days:.0f}",
        "" if order.rule == "ordered" else order.rule,
    )


def _format_order_by(order: Order) -> str:
    if order.ordered is not None:
        return f"ordered {format_short_date(order.ordered)}"
    if order.order_by is None:
        return "not needed"
    return "now" if order.overdue else format_short_date(order.order_by)
