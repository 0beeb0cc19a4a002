"""Types of work beside their plan, as a table."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from forecast.questions.overruns import Overruns, say_sure
from forecast.wording import capitalise, format_percent, format_percent_range

_BASIS = {"own": "own tasks", "pooled": "pooled", "prior": "priors only"}


def overruns_rows(types: pd.DataFrame) -> pd.DataFrame:
    """One row per type of work, every cell a text; ranges are central 80 % ranges.

    Parameters
    ----------
    types : as in `Overruns.types`
    """
    return pd.DataFrame([_overruns_row(row) for row in types.to_dict("records")])


def _overruns_row(row: dict[Hashable, Any]) -> dict[str, str]:
    planned = not np.isnan(row["ratio_p50"])
    ratio = f"{row['ratio_p50']:.2f} ({row['ratio_p10']:.2f} to {row['ratio_p90']:.2f})"
    return {
        "Type": capitalise(row["type"]),
        "Times the plan": ratio if planned else "no plan",
        "Chance over": say_sure(row["probability_over"]) if planned else "",
        "Hours at stake": f"{row['hours_at_stake']:+,.0f}",
        "Per doubling": format_percent_range(row["learning_rate_p10"], row["learning_rate_p90"]),
        "Next piece": f"{format_percent(row['learned_so_far'])} of the first",
        "Still to learn": format_percent(1 - row["learning_to_come"]),
        "Rework": format_percent_range(row["rework_share_p10"], row["rework_share_p90"]),
        "Finished": str(row["finished"]),
        "Rests on": _BASIS[row["basis"]],
    }


def narrow_rows(answer: Overruns) -> pd.DataFrame:
    """The types of work for the terminal: narrower cells than `overruns_rows`, for 80 columns."""
    rows = [_narrow_row(row) for row in answer.types.to_dict("records")]
    columns = ["Type", "Hours", "Of plan", "Over", "Doubling", "Now, end", "Rework", "Basis"]
    return pd.DataFrame(rows, columns=columns)


def _narrow_row(row: dict[Hashable, Any]) -> tuple[str, ...]:
    planned = not np.isnan(row["ratio_p50"])
    last_piece = row["learned_so_far"] * row["learning_to_come"]
    return (
        row["type"],
        f"{row['hours_at_stake']:+.0f}",
        f"{row['ratio_p10']:.1f}-{row['ratio_p90']:.1f}" if planned else "no plan",
        _narrow_percent(row["probability_over"]) if planned else "",
        f"{100 * row['learning_rate_p10']:.0f}-{format_percent(row['learning_rate_p90'])}",
        f"{100 * row['learned_so_far']:.0f}, {format_percent(last_piece)}",
        f"{100 * row['rework_share_p10']:.0f}-{format_percent(row['rework_share_p90'])}",
        f"{row['basis']} {row['finished']}",
    )


def _narrow_percent(probability: float) -> str:
    """As `say_sure`, never quite certain."""
    if probability > 0.99:
        return ">99 %"
    return "<1 %" if probability < 0.01 else format_percent(probability)


def overruns_lines() -> list[str]:
    """How to read the table of the terminal."""
    return [
        "Ranges hold 80 % of the runs. Hours: by how much the open tasks are expected to exceed their plan.",
        "Of plan: hours taken over hours planned. Over: the chance that this is above 1.",
        "Doubling: hours per piece, unit theory, each time the pieces done double; 100 % = no learning.",
        "Now, end: hours of the next piece and of the last one, as a share of the first's (even odds).",
        "Basis: the type's own finished tasks, pooled with other types, or a prior; and how many.",
    ]
