"""What might be otherwise: who joins, who stays away, when a kit comes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from forecast.files.plan import Delivery

if TYPE_CHECKING:
    from forecast.learn.bench_time import BenchDraws, Newcomer


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What might be otherwise; everything else keeps its draws, run by run.

    Attributes
    ----------
    joining : people who join
    leaving : ids of people who stay away
    only_two : ids of people who take part in two-person tasks only
    on_call : ids of people who also come when asked, for two-person work that has waited
    presence : id -> share of that person's hours that they stay
    shared : share of the hours on tasks that one can do that two work together; None = as in the log
    arrivals : delivery -> days after `as_of` at which it is there; 0 = now, infinite = never
    found_later : rework may open a task again; else all of it is done before the task is called done
    """

    joining: tuple[Newcomer, ...] = ()
    leaving: tuple[str, ...] = ()
    only_two: tuple[str, ...] = ()
    on_call: tuple[str, ...] = ()
    presence: Mapping[str, float] = field(default_factory=dict)
    shared: float | None = None
    arrivals: Mapping[str, float] = field(default_factory=dict)
    found_later: bool = True

    def applied_to(self, bench: BenchDraws, others: Sequence[WhatIf] = ()) -> BenchDraws:
        """The draws with the people of this what-if.

        `bench` may hold whoever joins in `others`: those that do not join here are left out.
        """
        here = {j.id for j in self.joining}
        absent = [j.id for j in everyone_joining(others) if j.id not in here]
        kept = bench.without(*self.leaving, *absent) if self.leaving or absent else bench
        share = np.array([self.presence.get(p, 1.0) for p in kept.people], dtype=np.float32)
        return replace(
            kept,
            hours=kept.hours if (share == 1).all() else kept.hours * share,
            only_two=kept.only_two | np.isin(kept.people, self.only_two),
            on_call=kept.on_call | np.isin(kept.people, self.on_call),
        )

    def arrivals_from(self, drawn: np.ndarray, deliveries: Sequence[Delivery]) -> np.ndarray:
        """(draw, delivery) days of arrival: as drawn, or as this what-if says."""
        if not self.arrivals:
            return drawn
        columns = [
            np.full(len(drawn), self.arrivals[d.delivery]) if d.delivery in self.arrivals else drawn[:, k]
            for k, d in enumerate(deliveries)
        ]
        return np.column_stack(columns) if columns else drawn


BASELINE = WhatIf()


def everyone_joining(what_ifs: Sequence[WhatIf]) -> tuple[Newcomer, ...]:
    """Whoever joins in one of them, each once.

    Raises
    ------
    ValueError for an id that joins with different hours.
    """
    by_id: dict[str, Newcomer] = {}
    for joining in (j for w in what_ifs for j in w.joining):
        if by_id.setdefault(joining.id, joining) != joining:
            raise ValueError(f"{joining.id} must join with the same hours in every what-if.")
    return tuple(by_id.values())
