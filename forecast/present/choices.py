"""Crew and orders in words and tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from forecast.present.finish import format_date, format_short_date, hours_range
from forecast.quantiles import day_of, sample_quantile
from forecast.questions.orders import Order, Orders
from forecast.wording import format_percent

if TYPE_CHECKING:
    from rich.table import Table

    from forecast.files.folder import Build
    from forecast.questions.crew import CrewAnswer, CrewPlan

_PLANS = {"solo": "Alone", "two": "Two builders", "helper": "Help for two-person work"}


def crew_table(answer: CrewAnswer) -> Table:
    """The three plans side by side."""
    table = _table("Plan")
    for title in ("Even odds", "80 % sure", "Days gained", "Hours of help"):
        table.add_column(title, justify="right", no_wrap=True)
    for plan in answer.plans:
        table.add_row(*_crew_row(answer, plan))
    return table


def _crew_row(answer: CrewAnswer, plan: CrewPlan) -> tuple[str, ...]:
    gain = answer.gain_days.get(plan.plan)
    return (
        _PLANS[plan.plan],
        format_short_date(plan.outlook.date_at(0.50, None)),
        format_short_date(plan.outlook.date_at(0.80, None)),
        "" if gain is None else _days_range(gain),
        "" if gain is None else hours_range(plan.helper_hours, 0.1, 0.9),
    )


def _days_range(days: np.ndarray) -> str:
    """The middle 80 % of the gain among the runs in which either plan finishes."""
    known = days[~np.isnan(days)]
    if not len(known):
        return "not known"
    low, high = sample_quantile(known, 0.1), sample_quantile(known, 0.9)
    return f"{low:,.0f} to {high:,.0f}" if np.isfinite(high) else f"{low:,.0f} or more"


def order_sentences(build: Build, answer: Orders) -> list[str]:
    """What must be ordered by when, the next first; nothing to order is said too."""
    due = [order for order in answer.orders if order.order_by is not None]
    if not due:
        return ["Nothing has to be ordered: what open work waits for is there or on its way."]
    due.sort(key=lambda order: order.order_by_days or 0)
    return [_order_sentence(build, order) for order in due]


def _order_sentence(build: Build, order: Order) -> str:
    idle = f"{_days(order.expected_idle_days)} without any work on average"
    share = format_percent(order.probability_late)
    late = f"ordered then, it comes after it is needed in {share} of runs, {idle}"
    if order.overdue:
        return f"{_title(build, order)}: order now; {late}."
    why = f" {late_sentence(order)}" if order.late_on_purpose else ""
    return f"{_title(build, order)}: order by {format_date(order.order_by)}; {late}.{why}"


def late_sentence(order: Order) -> str:
    """Why the cheapest day lets a delivery come late more often than not."""
    waited, idle = order.expected_wait_days, order.expected_idle_days
    store = f"a week in store costs {order.early_cost_per_week:g}"
    return (
        f"By your costs that is cheaper than storing it: {store}, "
        f"a week without any work {order.late_cost_per_week:g}, and of the {_days(waited)} on average that "
        f"it is waited for, other work fills {max(round(waited) - round(idle), 0)}."
    )


def _days(days: float) -> str:
    return "1 day" if round(days) == 1 else f"{days:.0f} days"


def orders_table(build: Build, answer: Orders) -> Table:
    """Every delivery to come."""
    table = _table("Delivery")
    for title in ("Needed, even odds", "Order by", "Late", "Days idle", "Rule"):
        table.add_column(title, justify="right")
    for order in answer.orders:
        needed = np.floor(order.need.needed_days) + 1.0
        table.add_row(
            _title(build, order),
            format_short_date(day_of(order.as_of, sample_quantile(needed, 0.5))),
            format_short_date(order.order_by) if order.order_by else _why_no_day(order),
            format_percent(order.probability_late),
            f"{order.expected_idle_days:.0f}",
            order.rule,
        )
    return table


def _why_no_day(order: Order) -> str:
    return "not needed" if order.ordered is None else f"ordered {format_short_date(order.ordered)}"


def _title(build: Build, order: Order) -> str:
    return next(d.title or d.delivery for d in build.deliveries if d.delivery == order.delivery)


def _table(first: str) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    table.add_column(first, overflow="fold", min_width=10)
    return table
