"""Jobs, log rows, and the rules of a build."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from benchmarks.invented.workshop.number_stream import NumberStream
from benchmarks.invented.workshop.truth import BeyondTruth, OrderTruth, ReportTruth
from forecast.files.plan import Delivery, Limit, Plan

OUTSIDE = -1
_GOLDEN = 0.6180339887  # multiples of the golden ratio spread evenly over 0..1, without random numbers


@dataclass(slots=True)
class Job:
    """The task that one or two people are working on; `OUTSIDE` is work outside the plan."""

    task: int
    people: list[str]
    rework: bool = False


@dataclass(slots=True)
class Row:
    """One row of the log; `quarters` are clock quarter-hours per person."""

    day: int
    task: int
    people: tuple[str, ...]
    quarters: int = 0
    rework: bool = False
    done: bool = False
    percent: int | None = None
    pieces: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What does not change during a simulation."""

    plan: Plan
    deliveries: tuple[Delivery, ...]
    limits: tuple[Limit, ...]
    beyond: BeyondTruth
    reports: ReportTruth
    order: OrderTruth


def counts_pieces(task: int, reports: ReportTruth) -> bool:
    """Whether the builder counts the pieces of this task; such tasks are spread evenly over the plan."""
    return (task * _GOLDEN) % 1.0 < reports.count_chance


def format_percent(share: float, reports: ReportTruth, numbers: NumberStream) -> int:
    """The percent that the builder reports when this share of the hours is spent: 5 to 95, in fives."""
    inner = min(max(share, 0.01), 0.99)
    reported = reports.bias + reports.stretch * log(inner / (1.0 - inner)) + reports.noise * numbers.normal()
    return min(max(5 * round(20.0 / (1.0 + exp(-reported))), 5), 95)
