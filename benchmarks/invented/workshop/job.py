"""What people are on, what they write down, and the rules that they keep."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

from benchmarks.invented.workshop.dice import Dice
from benchmarks.invented.workshop.truth import BeyondTruth, OrderTruth, ReportTruth
from forecast.files.plan import Delivery, Limit, Plan

OUTSIDE = -1
_GOLDEN = 0.6180339887


@dataclass(slots=True)
class Job:
    """One thing that one or two people work on just now; task `OUTSIDE` is work outside the plan."""

    task: int
    people: list[str]
    rework: bool = False


@dataclass(slots=True)
class Row:
    """One row of the log; `quarters` are clock quarter-hours of each of the `people`."""

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
    """What does not change while a build is played."""

    plan: Plan
    deliveries: tuple[Delivery, ...]
    limits: tuple[Limit, ...]
    beyond: BeyondTruth
    reports: ReportTruth
    order: OrderTruth


def counts_pieces(task: int, reports: ReportTruth) -> bool:
    """Whether the builder counts the pieces of this task: spread evenly over the tasks."""
    return (task * _GOLDEN) % 1.0 < reports.count_chance


def format_percent(share: float, reports: ReportTruth, dice: Dice) -> int:
    """What the builder says when this share of the hours is spent: 5 to 95, in fives."""
    inner = min(max(share, 0.01), 0.99)
    said = reports.bias + reports.stretch * log(inner / (1.0 - inner)) + reports.noise * dice.normal()
    return min(max(5 * round(20.0 / (1.0 + exp(-said))), 5), 95)
