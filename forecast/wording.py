"""Figures as people say them, the same in every answer."""

from __future__ import annotations


def format_percent(share: float) -> str:
    """A share in percent.

    Examples
    --------
    >>> format_percent(0.824), format_percent(0.004)
    ('82 %', '0 %')
    """
    return f"{100 * share:.0f} %"


def format_percent_range(low: float, high: float) -> str:
    """A range of shares.

    Examples
    --------
    >>> format_percent_range(0.029, 0.091)
    '3 to 9 %'
    """
    return f"{100 * low:.0f} to {format_percent(high)}"
