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

_DAYS_PER_WEEK = 7.0


def draw_arrivals(
    deliveries: Sequence[Delivery], as_of: date, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Days after `as_of` on which each delivery arrives.

    What has arrived by `as_of` counts as day 0. An order arrives after its lead time, given that it has not
    come yet; past its longest lead time it is overdue, and the further wait is exponential with a mean of
    half the range from low to high. What is not ordered yet counts as ordered on the day after `as_of`.

    Parameters
    ----------
    deliveries : kits and parts
    as_of : the last day that counts
    draws : number of draws
    rng : source of randomness; each delivery draws from a stream of its own

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
    streams = rng.spawn(len(deliveries))
    columns = [_arrival(d, as_of, draws, own) for d, own in zip(deliveries, streams, strict=True)]
    return np.column_stack(columns) if columns else np.zeros((draws, 0))


def _arrival(delivery: Delivery, as_of: date, draws: int, rng: np.random.Generator) -> np.ndarray:
    if delivery.arrived is not None and delivery.arrived <= as_of:
        return np.zeros(draws)
    ordered = delivery.ordered if delivery.ordered is not None and delivery.ordered <= as_of else None
    waited = 0 if ordered is None else (as_of - ordered).days
    return lead_days_given(delivery, waited, rng.random(draws)) - waited


def lead_days_given(delivery: Delivery, waited_days: float, chance: np.ndarray) -> np.ndarray:
    """Quantiles of the lead time in days, given that it exceeds `waited_days`.

    Parameters
    ----------
    delivery : its low, likely and high lead time
    waited_days : days since it was ordered
    chance : levels of the quantiles, any shape, 0 to 1

    Examples
    --------
    >>> kit = Delivery(delivery="K", title="Kit", ordered=None, lead_weeks_low=4, lead_weeks_likely=6,
    ...                lead_weeks_high=8)
    >>> lead_days_given(kit, 0, np.array([0.0, 0.5, 1.0])).round(6).tolist()
    [28.0, 42.0, 56.0]
    """
    from scipy.special import betainc, betaincinv

    low, likely, high = (
        _DAYS_PER_WEEK * w
        for w in (delivery.lead_weeks_low, delivery.lead_weeks_likely, delivery.lead_weeks_high)
    )
    if waited_days >= high:
        # Judgement: no figure for overdue kits is known. At least a week, for a range of nothing.
        mean_wait = max((high - low) / 2.0, _DAYS_PER_WEEK)
        return np.asarray(waited_days - mean_wait * np.log1p(-chance))
    if high == low:
        return np.full(chance.shape, high)
    a = 1.0 + 4.0 * (likely - low) / (high - low)
    b = 6.0 - a
    excluded = betainc(a, b, max(waited_days - low, 0.0) / (high - low))
    return np.asarray(low + (high - low) * betaincinv(a, b, excluded + chance * (1.0 - excluded)))
