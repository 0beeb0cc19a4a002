"""What the bench-time model gives: hours at the bench for each draw, day and person."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

HELPER = "helper"


@dataclass(frozen=True, slots=True, kw_only=True)
class Newcomer:
    """Somebody who might join: so many clock hours a week from a day on.

    `from_date` None: from the first drawn day. `only_two`: comes for two-person tasks only.
    """

    id: str
    weekly_hours: float
    from_date: date | None = None
    only_two: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchDraws:
    """Who is at the bench, how long, on each coming day.

    Attributes
    ----------
    start : the first day
    people : ids; the last is "helper" when visitors without a name are expected
    hours : (draw, day, person) clock hours, float32
    stage_rank : (draw, day) uint8, which of the stages with work to pick up the day's session goes to:
        0 = the first in plan order, 1 = the next, ...
    only_two : (person,) True for somebody who comes for two-person tasks only
    on_call : (person,) True for helpers without a name, who also come when they are asked
    lends : (person,) True for helpers without a name, who lend a hand and take nothing on their own
    call_after_days : (draw,) days that two-person work waits before somebody is asked
    idle_call_after_days : (draw,) the same while there is no other work; the shorter of both counts
    """

    start: date
    people: tuple[str, ...]
    hours: np.ndarray
    stage_rank: np.ndarray
    only_two: np.ndarray
    on_call: np.ndarray
    lends: np.ndarray
    call_after_days: np.ndarray
    idle_call_after_days: np.ndarray

    def without(self, *ids: str) -> BenchDraws:
        """The same draws with some people left out; the hours of the others stay as they are.

        Raises
        ------
        ValueError for an id that is not among `people`.
        """
        if unknown := set(ids) - set(self.people):
            raise ValueError(f"ids must be among {self.people}. Got {sorted(unknown)} instead.")
        kept = [i for i, p in enumerate(self.people) if p not in ids]
        return replace(
            self,
            people=tuple(self.people[i] for i in kept),
            hours=self.hours[:, :, kept],
            only_two=self.only_two[kept],
            on_call=self.on_call[kept],
            lends=self.lends[kept],
        )
