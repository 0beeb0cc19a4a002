"""What-ifs: who joins, who stays away, when a kit arrives."""

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
    """One change to the build; everything else has the same draws, run by run.

    Attributes
    ----------
    joining : people who join
    leaving : ids of people who stay away
    only_two : ids of people who do two-person tasks only
    on_call : ids of people who also come when called in for two-person work that has waited
    presence : id -> share of that person's hours at the bench, 0 to 1
    shared : share of the hours on `either` tasks that two people work together; None = as in the log
    arrivals : delivery -> days after `as_of` at which it arrives; 0 = already, infinite = never
    rework_reopens : whether rework may reopen finished tasks; else it is done before a task is finished
    """

    joining: tuple[Newcomer, ...] = ()
    leaving: tuple[str, ...] = ()
    only_two: tuple[str, ...] = ()
    on_call: tuple[str, ...] = ()
    presence: Mapping[str, float] = field(default_factory=dict)
    shared: float | None = None
    arrivals: Mapping[str, float] = field(default_factory=dict)
    rework_reopens: bool = True

    def applied_to(self, bench: BenchDraws, others: Sequence[WhatIf] = ()) -> BenchDraws:
        """The draws with the people of this what-if.

        Parameters
        ----------
        bench : draws for the household and everybody who joins in this what-if or in `others`
        others : the what-ifs drawn together with this one; their newcomers are left out
        """
        here = {j.id for j in self.joining}
        absent = [j.id for j in everyone_joining(others) if j.id not in here]
        present = bench.without(*self.leaving, *absent) if self.leaving or absent else bench
        share = np.array([self.presence.get(p, 1.0) for p in present.people], dtype=np.float32)
        return replace(
            present,
            hours=present.hours if (share == 1).all() else present.hours * share,
            only_two=present.only_two | np.isin(present.people, self.only_two),
            on_call=present.on_call | np.isin(present.people, self.on_call),
        )

    def arrivals_from(self, drawn: np.ndarray, deliveries: Sequence[Delivery]) -> np.ndarray:
        """(run, delivery) days of arrival under this what-if.

        Parameters
        ----------
        drawn : (run, delivery) days after `as_of`, as drawn
        deliveries : those of the columns
        """
        if not self.arrivals:
            return drawn
        columns = [
            np.full(len(drawn), self.arrivals[d.delivery]) if d.delivery in self.arrivals else drawn[:, k]
            for k, d in enumerate(deliveries)
        ]
        return np.column_stack(columns) if columns else drawn


BASELINE = WhatIf()


def everyone_joining(what_ifs: Sequence[WhatIf]) -> tuple[Newcomer, ...]:
    """Everybody who joins in one of the what-ifs, once each.

    Raises
    ------
    ValueError for an id that joins with different hours.
    """
    by_id: dict[str, Newcomer] = {}
    for newcomer in (j for w in what_ifs for j in w.joining):
        if by_id.setdefault(newcomer.id, newcomer) != newcomer:
            raise ValueError(f"{newcomer.id} must join with the same hours in every what-if.")
    return tuple(by_id.values())
