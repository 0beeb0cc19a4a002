"""Kits and parts on order: when the builder orders them, when they come, who waits for them."""

from __future__ import annotations

from collections.abc import Callable

from benchmarks.invented.workshop.dice import Dice
from forecast.files.plan import Delivery, Plan


class Supplies:
    """The deliveries of a build, day by day.

    Attributes
    ----------
    ordered, arrives : delivery -> ordinal of the day
    waiting : delivery -> positions of the tasks that it still keeps waiting: those that name it, or
        else the whole stage that needs it
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
        """The same orders, to go on with apart."""
        new = object.__new__(Supplies)
        new.__dict__.update(self.__dict__)
        new.ordered, new.arrives = dict(self.ordered), dict(self.arrives)
        new.waiting = dict(self.waiting)
        return new

    def call(self, day: int, share_done: Callable[[int], float], dice: Dice) -> list[int]:
        """Order what it is time for; the positions of the tasks for which something came by today.

        `share_done` tells of a stage's position which share of its tasks is done.
        """
        released: list[int] = []
        for d in self.deliveries:
            if d.delivery not in self.waiting:
                continue
            if d.delivery not in self.arrives:
                before = (self.stages.index(d.needed_for) if d.needed_for in self.stages else 0) - 1
                if before < 0 or share_done(before) >= self.order_ahead:
                    self.ordered[d.delivery] = day
                    self.arrives[d.delivery] = self._arrival(d, day, dice)
            elif self.arrives[d.delivery] <= day:
                released += self.waiting.pop(d.delivery)
        return released

    def draw_again(self, today: int, dice: Dice) -> None:
        """New days of arrival, later than today, for what is on order and has not come."""
        for d in self.deliveries:
            if self.arrives.get(d.delivery, 0) > today:
                self.arrives[d.delivery] = self._arrival(d, today, dice)

    def _arrival(self, d: Delivery, today: int, dice: Dice) -> int:
        for _ in range(200):
            weeks = dice.triangular(d.lead_weeks_low, d.lead_weeks_likely, d.lead_weeks_high)
            arrives = self.ordered[d.delivery] + max(round(7 * weeks), 1)
            if arrives > today:
                return arrives
        return today + 1
