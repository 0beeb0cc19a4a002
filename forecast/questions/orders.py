"""By when to order each kit or part.

A kit that arrives late leaves the builder without work; one that arrives early has to be stored. Each has a
cost per week. The order date follows from draws of three days: when the kit is first needed, when everything
that can be done without it is done, and its lead time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil, floor
from typing import TYPE_CHECKING, Any
from zlib import crc32

import numpy as np
import pandas as pd

from forecast.files.plan import Delivery
from forecast.learn.deliveries import lead_days_given
from forecast.quantiles import QUANTILES, date_column, day_of, quantile_key, sample_quantile
from forecast.random_streams import LEAD_TIMES, stream
from forecast.simulate.finish import simulate_what_ifs
from forecast.simulate.fitted import Fitted
from forecast.simulate.settings import Settings
from forecast.simulate.what_if import WhatIf
from forecast.wording import format_percent

if TYPE_CHECKING:
    from forecast.simulate.runs import SimulatedBatch

IN_TIME = 0.8  # without costs: the same chance as an 80 % sure date


@dataclass(frozen=True, kw_only=True)
class Need:
    """When a delivery is needed, run by run, in days after `as_of`.

    Attributes
    ----------
    needed_days : (run,) start of the first task that needs it, had it arrived (0 = on the morning
        after `as_of`); infinite = not needed within the horizon
    idle_days : (run,) day on which everything that can be done without it is done
    lead_days : (run,) from order to arrival
    """

    needed_days: np.ndarray
    idle_days: np.ndarray
    lead_days: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Order:
    """When one delivery should be ordered.

    Attributes
    ----------
    delivery : id
    as_of : the last day that counts
    ordered : the day of the order; None where it is not ordered by `as_of`
    need : when it is needed, run by run
    order_by_days : the day to order, in days after `as_of` (0 = that day); None where it is ordered
        already or not needed within the horizon
    probability_late : that it arrives after it is needed, if ordered then
    expected_idle_days, expected_wait_days : mean days without any work, and mean days from need to
        arrival, if ordered then
    rule : "ordered", "cost" or "80 % in time"
    late_cost_per_week, early_cost_per_week : the costs that the rule "cost" used; None under another rule
    """

    delivery: str
    as_of: date
    ordered: date | None
    need: Need
    order_by_days: int | None
    probability_late: float
    expected_idle_days: float
    expected_wait_days: float
    rule: str
    late_cost_per_week: float | None = None
    early_cost_per_week: float | None = None

    @property
    def late_on_purpose(self) -> bool:
        """Whether it should arrive late more often than not, though it could be ordered earlier."""
        return self.rule == "cost" and bool(self.order_by_days) and self.probability_late > 0.5

    @property
    def order_by(self) -> date | None:
        """The day by which to order it; None where it is ordered already or not needed."""
        return None if self.order_by_days is None else self.as_of + timedelta(days=self.order_by_days)

    @property
    def overdue(self) -> bool:
        """Whether it should be ordered at once."""
        return self.order_by_days == 0

    def needed_on(self, level: float) -> date | None:
        """The day on or before which it is needed with probability `level`; None past the horizon."""
        return day_of(self.as_of, sample_quantile(np.floor(self.need.needed_days) + 1.0, level))

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON."""
        needed = {quantile_key(q): self.needed_on(q) for q in QUANTILES}
        return {
            "delivery": self.delivery,
            "needed": {key: day.isoformat() if day else None for key, day in needed.items()},
            "order_by": self.order_by.isoformat() if self.order_by else None,
            "probability_late_if_ordered_then": round(self.probability_late, 4),
            "expected_idle_days": round(self.expected_idle_days, 1),
            "expected_wait_days": round(self.expected_wait_days, 1),
        }


@dataclass(frozen=True, kw_only=True)
class Orders:
    """The deliveries that are still to come, in the order of deliveries.csv."""

    orders: tuple[Order, ...]

    def __repr__(self) -> str:
        days = ", ".join(f"{o.delivery} {o.order_by or o.rule}" for o in self.orders)
        return f"<Orders: {days or 'none'}>"

    def to_frame(self) -> pd.DataFrame:
        """One row per delivery.

        Returns
        -------
        Columns delivery, ordered, order_by, needed_p10, needed_p50 and needed_p90 (days, NaT = none or past
        the horizon), probability_late, expected_idle_days, expected_wait_days, rule
        """
        days: dict[str, list[date | None]] = {
            "ordered": [order.ordered for order in self.orders],
            "order_by": [order.order_by for order in self.orders],
            **{f"needed_{quantile_key(q)}": [o.needed_on(q) for o in self.orders] for q in (0.1, 0.5, 0.9)},
        }
        others = ("probability_late", "expected_idle_days", "expected_wait_days", "rule")
        return pd.DataFrame(
            {
                "delivery": pd.Series([order.delivery for order in self.orders], dtype="str"),
                **{name: date_column(values) for name, values in days.items()},
                **{name: [getattr(order, name) for order in self.orders] for name in others},
            }
        )

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON."""
        return {"orders": [order.to_dict() for order in self.orders]}


def orders_of(
    fitted: Fitted, settings: Settings, *, on_progress: Callable[[int, int], None] | None = None
) -> Orders:
    """By when to order each delivery that open tasks need and that has not arrived.

    Each delivery is simulated twice on the same draws: as if it had arrived, which shows when it is needed,
    and as if it never arrived, which shows when the work without it runs out. In both, rework is done before
    a task is finished: a fault that nobody has found yet is no work to continue with. The other deliveries
    arrive as drawn.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs, seed and horizon
    on_progress : called with (runs done, runs in all)
    """
    pending = [d for d in fitted.network.deliveries if d.arrived is None or d.arrived > fitted.as_of]
    if not pending:
        return Orders(orders=())
    what_ifs = [
        WhatIf(arrivals={d.delivery: day}, rework_reopens=False) for d in pending for day in (0.0, np.inf)
    ]
    tallies = [_NeedTally(needs=_tasks_that_need(fitted, d)) for d in pending]

    def collect(batches: tuple[SimulatedBatch, ...]) -> None:
        for tally, arrived, never in zip(tallies, batches[::2], batches[1::2], strict=True):
            tally.add(arrived, never)

    simulate_what_ifs(fitted, settings, what_ifs, on_batch=collect, on_progress=on_progress)
    return Orders(
        orders=tuple(
            order_of(d, fitted.as_of, t.need(_leads(fitted, settings, d)), settings.horizon_days)
            for d, t in zip(pending, tallies, strict=True)
        )
    )


def order_of(delivery: Delivery, as_of: date, need: Need, horizon_days: int) -> Order:
    """When to order a delivery, or how late it will be if it is ordered already.

    Parameters
    ----------
    delivery : its lead time and costs
    as_of : the last day that counts
    need : when it is needed
    horizon_days : the last day of the simulation
    """
    ordered = delivery.ordered if delivery.ordered is not None and delivery.ordered <= as_of else None
    late, early = delivery.late_cost_per_week, delivery.early_cost_per_week
    day: int | None
    if ordered is not None:
        day, rule, from_day = None, "ordered", float((ordered - as_of).days)
    elif late is not None and early is not None and late + early > 0:
        day = cheapest_day(need, late, early, horizon_days)
        rule, from_day = "cost", float(day or 0)
    else:
        day = day_in_time(need, IN_TIME)
        rule, from_day = f"{format_percent(IN_TIME)} in time", float(day or 0)
    arrival = from_day + need.lead_days
    return Order(
        delivery=delivery.delivery,
        as_of=as_of,
        ordered=ordered,
        need=need,
        order_by_days=day,
        probability_late=float(np.mean(arrival > need.needed_days)),
        expected_idle_days=float(np.mean(np.maximum(arrival - need.idle_days, 0.0))),
        expected_wait_days=float(np.mean(np.maximum(arrival - need.needed_days, 0.0))),
        rule=rule,
        late_cost_per_week=late if rule == "cost" else None,
        early_cost_per_week=early if rule == "cost" else None,
    )


def day_in_time(need: Need, chance: float) -> int | None:
    """The last day, from `as_of` on, on which an order arrives in time with probability `chance`.

    Parameters
    ----------
    need : when it is needed
    chance : from 0 to 1

    Returns
    -------
    Days after `as_of`; None when it is not needed within the horizon with that chance

    Examples
    --------
    >>> need = Need(needed_days=np.array([50.0, 60, 70, 80, 90]), idle_days=np.full(5, 99.0),
    ...             lead_days=np.full(5, 30.0))
    >>> day_in_time(need, 0.8)
    30
    """
    latest = np.sort(need.needed_days - need.lead_days)
    # A product such as 0.7 * 10 can come out just above the whole number that it stands for.
    enough = ceil(chance * len(latest) - 1e-9)
    day = float(latest[len(latest) - enough])
    return max(0, floor(day)) if np.isfinite(day) else None


def cheapest_day(
    need: Need, late_cost_per_week: float, early_cost_per_week: float, horizon_days: int
) -> int | None:
    """The order day with the least expected cost of idle time and of storage.

    Where idle time begins with the need this is the newsvendor's quantile (Edgeworth 1888; Arrow, Harris and
    Marschak 1951, Econometrica 19, from memory).

    Parameters
    ----------
    need : when it is needed
    late_cost_per_week : of a week without any work
    early_cost_per_week : of a week between arrival and need
    horizon_days : the last day of the simulation

    Returns
    -------
    Days after `as_of`; None when it is not needed within the horizon in any run
    """
    if not np.isfinite(need.needed_days).any():
        return None
    needed = np.minimum(need.needed_days, horizon_days)
    runs_out, in_time = np.sort(need.idle_days - need.lead_days), np.sort(needed - need.lead_days)
    # The cost is convex in the day: its slope between two days first turns upwards after the cheapest one.
    between = np.arange(horizon_days + 1) + 0.5
    idle = np.searchsorted(runs_out, between) / len(runs_out)
    stored = 1.0 - np.searchsorted(in_time, between) / len(in_time)
    dearer = late_cost_per_week * idle - early_cost_per_week * stored >= 0.0
    return int(np.argmax(dearer)) if dearer.any() else horizon_days


@dataclass(kw_only=True)
class _NeedTally:
    """When a delivery is needed, and when the work without it runs out, batch by batch."""

    needs: np.ndarray
    needed: list[np.ndarray] = field(default_factory=list)
    idle: list[np.ndarray] = field(default_factory=list)

    def add(self, arrived: SimulatedBatch, never: SimulatedBatch) -> None:
        self.needed.append(arrived.simulation.start[:, self.needs].min(axis=1))
        finish = never.simulation.finish
        last = np.where(np.isfinite(finish), finish, 0.0).max(axis=1)
        self.idle.append(np.where(never.simulation.more_days_help, np.inf, last))

    def need(self, lead_days: np.ndarray) -> Need:
        return Need(
            needed_days=np.concatenate(self.needed), idle_days=np.concatenate(self.idle), lead_days=lead_days
        )


def _tasks_that_need(fitted: Fitted, delivery: Delivery) -> np.ndarray:
    place = fitted.network.deliveries.index(delivery)
    return np.array([i for i, needs in enumerate(fitted.network.needs) if place in needs])


def _leads(fitted: Fitted, settings: Settings, delivery: Delivery) -> np.ndarray:
    """(run,) lead times in days; for an open order, given how long it has taken already."""
    rng = stream(settings.seed, LEAD_TIMES, crc32(delivery.delivery.encode()))
    on_order = delivery.ordered is not None and delivery.ordered <= fitted.as_of
    waited = (fitted.as_of - delivery.ordered).days if on_order and delivery.ordered else 0
    return lead_days_given(delivery, waited, rng.random(settings.runs))
