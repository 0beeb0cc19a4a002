"""When kits and parts on order arrive: draws of arrival days.

A lead time of low, likely and high weeks is a beta distribution with mean (low + 4 likely + high) / 6
and shape parameters that add up to 6, the usual reading of three estimates (Malcolm, Roseboom, Clark
and Fazar, Operations Research 7, 1959; the beta form is common practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from forecast.files.plan import Delivery

_DAYS_A_WEEK = 7.0


def draw_arrivals(
    deliveries: Sequence[Delivery], as_of: date, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Days after `as_of` on which each delivery is there.

    What has arrived by `as_of` is there (0). What is on order arrives after its lead time, given that
    it has not come yet; once past its longest lead time it is overdue, and the further wait is
    exponential with half the spread between low and high as its mean. What is not ordered yet counts
    as ordered on the day after `as_of`.

    Returns
    -------
    (draw, delivery) days, at least 0

    Examples
    --------
    >>> wing = Delivery(delivery="K2", title="Wing kit", ordered=date(2026, 1, 5), lead_weeks_low=8,
    ...                 lead_weeks_likely=10, lead_weeks_high=16)
    >>> days = draw_arrivals([wing], date(2026, 2, 2), 1000, np.random.default_rng(1))
    >>> bool(days.min() >= 28 and days.max() <= 84)
    True
    """
    columns = [_draw_one(d, as_of, draws, child) for d, child in _with_streams(deliveries, rng)]
    return np.column_stack(columns) if columns else np.zeros((draws, 0))


def _with_streams(
    deliveries: Sequence[Delivery], rng: np.random.Generator
) -> list[tuple[Delivery, np.random.Generator]]:
    return list(zip(deliveries, rng.spawn(len(deliveries)), strict=True))


def _draw_one(delivery: Delivery, as_of: date, draws: int, rng: np.random.Generator) -> np.ndarray:
    if delivery.arrived is not None and delivery.arrived <= as_of:
        return np.zeros(draws)
    ordered = delivery.ordered if delivery.ordered is not None and delivery.ordered <= as_of else None
    waited = 0 if ordered is None else (as_of - ordered).days
    return lead_days_given(delivery, waited, rng.random(draws)) - waited


def lead_days_given(delivery: Delivery, waited_days: float, chance: np.ndarray) -> np.ndarray:
    """Lead times in days at the given chances, knowing that it took longer than `waited_days`."""
    from scipy.special import betainc, betaincinv

    low, likely, high = (
        _DAYS_A_WEEK * w
        for w in (delivery.lead_weeks_low, delivery.lead_weeks_likely, delivery.lead_weeks_high)
    )
    if waited_days >= high:
        mean_wait = max((high - low) / 2.0, _DAYS_A_WEEK)
        return np.asarray(waited_days - mean_wait * np.log1p(-chance))
    if high == low:
        return np.full(chance.shape, high)
    a = 1.0 + 4.0 * (likely - low) / (high - low)
    b = 6.0 - a
    passed = betainc(a, b, max(waited_days - low, 0.0) / (high - low))
    return np.asarray(low + (high - low) * betaincinv(a, b, passed + chance * (1.0 - passed)))
