"""Which kinds of work run over their estimate, by how much, how sure that is, and why.

The ratio of a type is what its planned tasks tend to take, luck averaged out and rework included, over
what was planned for them: a statement about the kind of work, not about the few tasks done so far, so
three finished tasks give a wide range and not a fact.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.outlook import QUANTILES, quantile_key, sample_quantile
from forecast.progress import Progress

if TYPE_CHECKING:
    from forecast.effort import EffortModel

SURE = 0.8
_RANGES = ("ratio", "learning_rate", "rework_share")


@dataclass(frozen=True, kw_only=True)
class Overruns:
    """The types of work beside their estimates.

    Attributes
    ----------
    as_of : the last day that counts
    types : one row a type, most hours at stake first: type, basis (own, pooled, prior), finished,
        planned_hours and actual_hours (person-hours of its finished tasks that had planned hours, NaN
        and 0 where none), ratio_p05 ... ratio_p95 and probability_over (NaN where nothing is planned),
        learning_rate_p05 ... (per doubling of the pieces, unit theory), rework_share_p05 ... (of
        first-time hours), hours_at_stake (person-hours by which the open tasks are expected to exceed
        their planned hours; negative where they stay below), learned_so_far (hours of the next piece
        as a share of the first), learning_to_come (hours of the last piece as a share of the next)
    outside_plan_share : quantile key -> hours outside the plan over hours of planned work
    finding : what the table says, in one sentence
    """

    as_of: date
    types: pd.DataFrame
    outside_plan_share: dict[str, float]
    finding: str

    def to_dict(self) -> dict[str, Any]:
        """The answer as the contract's JSON."""
        return {
            "as_of": self.as_of.isoformat(),
            "types": [_type_answer(row) for _, row in self.types.iterrows()],
            "outside_plan_share": {q: round(v, 4) for q, v in self.outside_plan_share.items()},
        }


def overruns(progress: Progress, model: EffortModel) -> Overruns:
    """Compare each type with its estimate.

    Parameters
    ----------
    progress : sessions and plan as they stood on one day
    model : fitted to that progress
    """
    rows = [_type_row(progress, model, k, known) for k, (_, known) in enumerate(model.types_.iterrows())]
    types = pd.DataFrame(rows)
    if len(types):
        types = types.iloc[np.argsort(-types["hours_at_stake"].abs().to_numpy(), kind="stable")]
    types = types.reset_index(drop=True)
    outside = model.beyond_.outside_share
    return Overruns(
        as_of=progress.as_of,
        types=types,
        outside_plan_share={quantile_key(q): sample_quantile(outside, q) for q in QUANTILES},
        finding=_finding(types),
    )


def _type_row(progress: Progress, model: EffortModel, k: int, known: pd.Series) -> dict[str, Any]:
    tasks = progress.tasks
    mine = (tasks["type"] == known["type"]).to_numpy()
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    with_plan = mine & ~np.isnan(planned)
    done = tasks["done"].to_numpy(dtype=bool)
    hours = (tasks["hours_first"] + tasks["hours_rework"]).to_numpy(dtype=float)
    again = 1.0 + model.beyond_.rework_share[:, k]
    expected = model.expected_hours_
    row = {name: known[name] for name in ("type", "basis", "finished")}
    finished = with_plan & done
    row["planned_hours"] = float(planned[finished].sum()) if finished.any() else np.nan
    row["actual_hours"] = float(hours[mine & done].sum() if not with_plan.any() else hours[finished].sum())
    if with_plan.any():
        ratio = expected[:, with_plan].sum(axis=1) * again / planned[with_plan].sum()
    else:
        ratio = np.full(len(again), np.nan)
    row |= _quantiles("ratio", ratio)
    row["probability_over"] = float(np.mean(ratio > 1.0)) if with_plan.any() else np.nan
    row |= _quantiles("learning_rate", 2.0 ** model.learning_slopes_[:, k])
    row |= _quantiles("rework_share", model.beyond_.rework_share[:, k])
    ahead = with_plan & ~done
    over = expected[:, ahead].sum(axis=1) * again - planned[ahead].sum()
    row["hours_at_stake"] = float(np.median(over)) if ahead.any() else 0.0
    return row | _learning(tasks.loc[mine], np.median(model.learning_slopes_[:, k]))


def _quantiles(name: str, draws: np.ndarray) -> dict[str, float]:
    if np.isnan(draws).any():
        return {f"{name}_{quantile_key(q)}": np.nan for q in QUANTILES}
    return {f"{name}_{quantile_key(q)}": sample_quantile(draws, q) for q in QUANTILES}


def _learning(tasks: pd.DataFrame, slope: float) -> dict[str, float]:
    """How far the curve has come with the pieces made, and how far it still goes."""
    made = float(tasks.loc[tasks["done"], "quantity"].sum())
    total = max(float(tasks["quantity"].sum()), 1.0)
    following = min(made + 1.0, total)
    return {"learned_so_far": following**slope, "learning_to_come": (total / following) ** slope}


def _finding(types: pd.DataFrame) -> str:
    """The type with the most hours at stake among those that surely run over, else what can be said."""
    if types.empty or types["probability_over"].isna().all():
        return "No task has planned hours, so nothing can run over them."
    over = types.loc[types["probability_over"] >= SURE]
    if len(over):
        top = over.iloc[0]
        return (
            f"{_capital(top['type'])} runs over: {_range(top)}, {top['probability_over']:.0%} sure that it "
            f"takes more than planned ({_ground(top)}){_others(over)}."
        )
    under = types.loc[types["probability_over"] <= 1 - SURE]
    if len(under):
        top = under.iloc[0]
        return (
            f"Nothing surely runs over; {top['type']} stays below its plan: {_range(top)} ({_ground(top)})."
        )
    top = types.loc[types["probability_over"].notna()].iloc[0]
    return f"No type is surely over or under its plan yet; most is at stake in {top['type']}: {_range(top)}."


def _range(row: pd.Series) -> str:
    return f"{row['ratio_p10']:.2f} to {row['ratio_p90']:.2f} times the plan (8 in 10)"


def _ground(row: pd.Series) -> str:
    words = {"own": "from its own log", "pooled": "leaning on the other types", "prior": "by prior alone"}
    return f"{row['finished']} finished, {words[row['basis']]}"


def _others(over: pd.DataFrame) -> str:
    count = len(over) - 1
    return "" if count == 0 else f"; so {'does' if count == 1 else 'do'} {', '.join(over['type'].iloc[1:4])}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _type_answer(row: pd.Series) -> dict[str, Any]:
    answer = {
        "type": row["type"],
        "basis": row["basis"],
        "finished": int(row["finished"]),
        "planned_hours": _rounded(row["planned_hours"], 2),
        "actual_hours": _rounded(row["actual_hours"], 2),
        "probability_over": _rounded(row["probability_over"], 4),
    }
    for name in _RANGES:
        answer[name] = {quantile_key(q): _rounded(row[f"{name}_{quantile_key(q)}"], 4) for q in QUANTILES}
    return answer


def _rounded(value: float, digits: int) -> float | None:
    return None if np.isnan(value) else round(float(value), digits)
