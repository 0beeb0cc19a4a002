"""The learning curve of one type of work: its finished tasks, and the fitted curve through them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.learn.learning_curve import lot_midpoint, rate_of_slope
from forecast.learn.progress import Progress
from forecast.wording import capitalise, format_percent, format_percent_range

if TYPE_CHECKING:
    from forecast.learn.effort import EffortModel

_CURVE_POINTS = 40  # enough for a smooth line
_LEVELS = {"p10": 0.10, "p50": 0.50, "p90": 0.90}


@dataclass(frozen=True, kw_only=True)
class Practice:
    """The learning curve of one type of work (unit theory).

    Attributes
    ----------
    type : its name
    measure : "times the plan" (hours taken over planned hours) where every task of the type has planned
        hours, else "hours per piece"
    points : task, piece, value, hours: finished tasks at the piece that represents the whole task (the
        exact lot midpoint)
    curve : piece, p10, p50, p90: expected value of a task whose middle piece is that one
    rate : p10, p50, p90 of the learning rate (hours after a doubling of the pieces over those before)
    """

    type: str
    measure: str
    points: pd.DataFrame
    curve: pd.DataFrame
    rate: dict[str, float]

    @property
    def sentence(self) -> str:
        """The learning rate in one sentence."""
        name, (low, mid, high) = capitalise(self.type), (self.rate[q] for q in _LEVELS)
        between = format_percent_range(low, high)
        if high < 1:
            return (
                f"{name}: each doubling of the pieces leaves {format_percent(mid)} of the time (8 in 10: "
                f"{between})."
            )
        return f"{name}: learning is not certain (each doubling leaves {between} of the time)."


def practice(progress: Progress, model: EffortModel, kind: str) -> Practice:
    """Points and curve of one type.

    Parameters
    ----------
    progress : sessions and plan up to one day
    model : fitted to that progress
    kind : a type of the plan

    Raises
    ------
    UsageError for a type that the plan does not have.
    """
    types = list(model.types_["type"])
    if kind not in types:
        raise UsageError(f"kind must be one of {', '.join(types)}. Got {kind!r} instead.")
    k = types.index(kind)
    slopes = model.learning_slopes_[:, k]
    of_kind = (progress.tasks["type"] == kind).to_numpy()
    tasks = progress.tasks.loc[of_kind].reset_index(drop=True)
    pieces = np.maximum(tasks["quantity"].to_numpy(dtype=float), 1.0)
    first = tasks["pieces_before"].to_numpy(dtype=float) + 1.0
    middle = lot_midpoint(first, first + pieces - 1.0, float(np.median(slopes)))
    planned = tasks["planned_hours"].notna().all()
    per = tasks["planned_hours"].to_numpy(dtype=float) if planned else tasks["quantity"].to_numpy(dtype=float)
    level = np.log(model.expected_hours_[:, of_kind] / per) - slopes[:, None] * np.log(middle)
    return Practice(
        type=kind,
        measure="times the plan" if planned else "hours per piece",
        points=_points(tasks, middle, per),
        curve=_curve(level.mean(axis=1), slopes, float((first + pieces - 1.0).max())),
        rate={q: float(np.quantile(rate_of_slope(slopes), at)) for q, at in _LEVELS.items()},
    )


def _points(tasks: pd.DataFrame, middle: np.ndarray, per: np.ndarray) -> pd.DataFrame:
    hours = tasks["hours_first"].to_numpy(dtype=float)
    finished = tasks["done"].to_numpy(dtype=bool) & (hours > 0)
    points = pd.DataFrame({"task": tasks["task"], "piece": middle, "value": hours / per, "hours": hours})
    return points.loc[finished].sort_values("piece", ignore_index=True)


def _curve(level: np.ndarray, slopes: np.ndarray, last: float) -> pd.DataFrame:
    piece = np.geomspace(1.0, max(last, 2.0), _CURVE_POINTS)
    drawn = np.exp(level[:, None] + slopes[:, None] * np.log(piece))
    return pd.DataFrame({"piece": piece, **{q: np.quantile(drawn, at, axis=0) for q, at in _LEVELS.items()}})
