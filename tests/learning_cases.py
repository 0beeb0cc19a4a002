"""Hours of single pieces, totals and averages, all as lots of a learning curve."""

from forecast.learn.learning_curve import lot_hours


def unit_hours(first_hours, piece, slope, *, theory):
    """Hours of one piece."""
    return lot_hours(first_hours, piece, piece, slope, theory=theory)


def total_hours(first_hours, pieces, slope, *, theory):
    """Hours of the first pieces together."""
    return lot_hours(first_hours, 1, pieces, slope, theory=theory)


def average_hours(first_hours, pieces, slope, *, theory):
    """Mean hours per piece over the first pieces."""
    return total_hours(first_hours, pieces, slope, theory=theory) / pieces
