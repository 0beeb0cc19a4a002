"""Kits on order: when they are ordered, how long they really take, and whether a stage can start."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchmarks.invented.lives.traits import Traits, between, lognormal

Generator = np.random.Generator


@dataclass(slots=True)
class Delivery:
    """One delivery; days are counted from the first day of the build, before it if negative."""

    id: str
    title: str
    stage: int
    low: float
    likely: float
    high: float
    late_factor: float
    ordered: int | None = None
    arrives: int | None = None


class Deliveries:
    """The deliveries of one household: each covers one stage; the first is there from the start."""

    def __init__(self, traits: Traits, stages: list[str], rng: Generator) -> None:
        self._traits = traits.kit
        self._rng = rng
        self.all: list[Delivery] = []
        self.of_stage: dict[int, Delivery] = {}
        at_once = rng.random() < 0.25
        for stage, name in enumerate(stages):
            if stage and rng.random() < 0.3:
                continue  # comes with the kit before it
            self._add(stage, name)
        self._order(self.all[0], -int(between(rng, 60, 200)), arrives=-int(between(rng, 0, 20)))
        if at_once:
            for delivery in self.all[1:]:
                self._order(delivery, -int(between(rng, 0, 60)))

    def _add(self, stage: int, name: str) -> None:
        likely = float(np.clip(round(lognormal(self._rng, self._traits.lead_weeks, 0.4)), 2, 52))
        spread = self._traits.lead_spread
        low, high = (
            max(1.0, float(math.floor(likely * (1 - spread)))),
            float(math.ceil(likely * (1 + 2 * spread))),
        )
        # lateness: mostly about what was quoted, rarely a back order of half a year [judgement]
        late = math.exp(0.1 + spread * self._rng.standard_normal())
        if self._rng.random() < 0.08:
            late *= between(self._rng, 1.5, 3.0)
        delivery = Delivery(
            f"K{len(self.all) + 1}", f"{name.capitalize()} kit", stage, low, likely, high, late
        )
        self.all.append(delivery)
        self.of_stage[stage] = delivery

    def _order(self, delivery: Delivery, day: int, arrives: int | None = None) -> None:
        delivery.ordered = day
        delivery.arrives = (
            day + round(7 * delivery.likely * delivery.late_factor) if arrives is None else arrives
        )

    def order_by_progress(self, day: int, shares: list[float]) -> None:
        """Order the kit of a stage once the stage before it has got far enough."""
        for delivery in self.all:
            before = shares[delivery.stage - 1] if delivery.stage else 1.0
            if delivery.ordered is None and before >= self._traits.order_ahead:
                self._order(delivery, day)

    def order_next(self, day: int) -> None:
        """Order the first kit that is not on order: nothing is left to do without it."""
        for delivery in self.all:
            if delivery.ordered is None:
                self._order(delivery, day)
                return

    def here(self, stage: int, day: int) -> bool:
        """Whether the stage has what it needs."""
        delivery = self.of_stage.get(stage)
        return delivery is None or (delivery.arrives is not None and delivery.arrives <= day)

    def arriving(self, day: int) -> bool:
        """Whether something comes on this day."""
        return any(delivery.arrives == day for delivery in self.all)
