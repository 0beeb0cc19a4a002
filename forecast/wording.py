"""Figures as people say them, the same in every answer."""

from __future__ import annotations


def say_percent(share: float) -> str:
    """A share in percent.

    Examples
    --------
    >>> say_percent(0.824), say_percent(0.004)
    ('82 %', '0 %')
    """
    return f"{100 * share:.0f} %"


def say_percents(low: float, high: float) -> str:
    """A range of shares.

    Examples
    --------
    >>> say_percents(0.029, 0.091)
    '3 to 9 %'
    """
    return f"{100 * low:.0f} to {say_percent(high)}"
