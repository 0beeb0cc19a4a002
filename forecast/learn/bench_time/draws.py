"""Hours at the bench for each draw, day and person."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

HELPER = "helper"


@dataclass(frozen=True, slots=True, kw_only=True)
class Newcomer:
    """Somebody without sessions of their own who may join.

    Attributes
    ----------
    id : as used in the log
    weekly_hours : expected clock hours per week
    from_date : first day; None for the first day drawn
    only_two : whether they come for two-person tasks only
    """

    id: str
    weekly_hours: float
    from_date: date | None = None
    only_two: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchDraws:
    """Who is at the bench, and for how long, on each coming day.

    Attributes
    ----------
    start : the first day
    people : ids; the last are "helper", "helper 2" and so on when visitors without a name may come
    hours : (draw, day, person) clock hours, float32
    stage_rank : (draw, day) uint8, the stage that the day's session goes to, by recency among the stages
        with work that can be started: 0 = the one worked on last
    only_two : (person,) True for somebody who comes for two-person tasks only
    on_call : (person,) True for the first helper without a name, who also comes when called
    lends : (person,) True for the first helper without a name, who assists and takes no task of their own;
        more of them work side by side with the builders
    call_after_days : (draw,) days that two-person work waits before a helper is called
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
        """The same draws without some people; the hours of the others do not change.

        Raises
        ------
        ValueError : for an id that is not among `people`
        """
        if unknown := set(ids) - set(self.people):
            raise ValueError(f"ids must be among {self.people}. Got {sorted(unknown)} instead.")
        rest = [i for i, p in enumerate(self.people) if p not in ids]
        return replace(
            self,
            people=tuple(self.people[i] for i in rest),
            hours=self.hours[:, :, rest],
            only_two=self.only_two[rest],
            on_call=self.on_call[rest],
            lends=self.lends[rest],
        )
