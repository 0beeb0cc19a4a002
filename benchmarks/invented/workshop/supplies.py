"""Deliveries: when the builder orders them, when they arrive, and which tasks wait for them."""

from __future__ import annotations

from collections.abc import Callable

from benchmarks.invented.workshop.number_stream import NumberStream
from forecast.files.plan import Delivery, Plan


class Supplies:
    """The deliveries of a build, day by day.

    Attributes
    ----------
    ordered, arrives : delivery -> ordinal of the day
    waiting : delivery -> positions of the tasks that still wait for it: those that name it, or else the
        whole stage that needs it
    """

    def __init__(self, plan: Plan, deliveries: tuple[Delivery, ...], order_ahead: float) -> None:
        self.stages, self.deliveries, self.order_ahead = plan.stages, deliveries, order_ahead
        self.ordered: dict[str, int] = {}
        self.arrives: dict[str, int] = {}
        self.waiting: dict[str, list[int]] = {}
        for d in deliveries:
            if d.arrived is None:
                named = [i for i, t in enumerate(plan.tasks) if t.delivery == d.delivery]
                whole = [i for i, t in enumerate(plan.tasks) if t.stage == d.needed_for]
                self.waiting[d.delivery] = named or whole

    def copy(self) -> Supplies:
        """The same orders, to be simulated apart."""
        new = object.__new__(Supplies)
        new.__dict__.update(self.__dict__)
        new.ordered, new.arrives = dict(self.ordered), dict(self.arrives)
        new.waiting = dict(self.waiting)
        return new

    def advance(self, day: int, share_done: Callable[[int], float], numbers: NumberStream) -> list[int]:
        """Place the orders that are due, and receive what has arrived.

        Parameters
        ----------
        day : its ordinal
        share_done : position of a stage -> share of its tasks that are done
        numbers : source of lead times

        Returns
        -------
        positions of the tasks whose delivery has arrived
        """
        released: list[int] = []
        for d in self.deliveries:
            if d.delivery not in self.waiting:
                continue
            if d.delivery not in self.arrives:
                before = (self.stages.index(d.needed_for) if d.needed_for in self.stages else 0) - 1
                if before < 0 or share_done(before) >= self.order_ahead:
                    self.ordered[d.delivery] = day
                    self.arrives[d.delivery] = self._arrival(d, day, numbers)
            elif self.arrives[d.delivery] <= day:
                released += self.waiting.pop(d.delivery)
        return released

    def redraw(self, today: int, numbers: NumberStream) -> None:
        """Draw new arrivals, later than today, of what is on order."""
        for d in self.deliveries:
            if self.arrives.get(d.delivery, 0) > today:
                self.arrives[d.delivery] = self._arrival(d, today, numbers)

    def _arrival(self, d: Delivery, today: int, numbers: NumberStream) -> int:
        for _ in range(200):  # rejection of arrivals that are past; after that, a delivery is overdue
            weeks = numbers.triangular(d.lead_weeks_low, d.lead_weeks_likely, d.lead_weeks_high)
            arrives = self.ordered[d.delivery] + max(round(7 * weeks), 1)
            if arrives > today:
                return arrives
        return today + 1
