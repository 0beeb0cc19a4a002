"""What might be otherwise: who joins, who stays away, when a kit comes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from forecast.bench_time import BenchDraws, Joining


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What might be otherwise; everything else keeps its draws, run by run.

    Attributes
    ----------
    joining : people who join
    leaving : ids of people who stay away
    only_two : ids of people who take part in two-person tasks only
    presence : id -> share of that person's hours that they stay
    arrivals : delivery -> days after `as_of` at which it is there; 0 = now, infinite = never
    """

    joining: tuple[Joining, ...] = ()
    leaving: tuple[str, ...] = ()
    only_two: tuple[str, ...] = ()
    presence: Mapping[str, float] = field(default_factory=dict)
    arrivals: Mapping[str, float] = field(default_factory=dict)

    def applied_to(self, bench: BenchDraws) -> BenchDraws:
        """The draws with the people of this what-if."""
        kept = bench.without(*self.leaving) if self.leaving else bench
        share = np.array([self.presence.get(p, 1.0) for p in kept.people], dtype=np.float32)
        return replace(
            kept,
            hours=kept.hours if (share == 1).all() else kept.hours * share,
            only_two=kept.only_two | np.isin(kept.people, self.only_two),
        )


AS_IT_IS = WhatIf()
