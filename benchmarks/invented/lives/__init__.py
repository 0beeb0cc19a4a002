"""Invented builds from simulated households, written without reading the forecasting model.

``invent(kind, seed)`` returns a LivedBuild; see README.md in this folder for the kinds and sources.
"""

from __future__ import annotations

from benchmarks.invented.lives.build import (
    LivedBuild,
    Piece,
    Truth,
    cuts,
    day_of_share,
    hours_left,
    plan_as_of,
)
from benchmarks.invented.lives.invention import DEVELOPMENT_SEEDS, KIND_NAMES, UNSEEN_SEEDS, invent

__all__ = [
    "DEVELOPMENT_SEEDS",
    "KIND_NAMES",
    "LivedBuild",
    "Piece",
    "Truth",
    "UNSEEN_SEEDS",
    "cuts",
    "day_of_share",
    "hours_left",
    "invent",
    "plan_as_of",
]
