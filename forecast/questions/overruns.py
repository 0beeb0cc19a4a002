"""Which kinds of work run over their estimate, by how much, how sure that is, and why.

The ratio of a type is what its planned tasks tend to take, luck averaged out and rework included, over
what was planned for them: a statement about the kind of work, not about the few tasks done so far, so
three finished tasks give a wide range and not a fact. What is found is said only of types whose own
finished tasks speak; the others have a range in the table, and are named as not yet known.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.learn.progress import Progress
from forecast.quantiles import QUANTILES, quantile_key, sample_quantile
from forecast.wording import format_percent, format_percent_range

if TYPE_CHECKING:
    from forecast.learn.effort import EffortModel

SURE = 0.8
SPEAKS = 3  # finished tasks from which on a type's own record is worth a sentence; a judgement, no source
_MUCH = 0.05  # a share or a change of the ratio that is worth words
_NAMED = 4
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
        first-time hours), ratio_open_p05 ... (of the open tasks alone, NaN where none is planned),
        ratio_once_p05 ... (without rework), hours_at_stake (person-hours by which the open tasks are
        expected to exceed their planned hours; negative where they stay below), learned_so_far (hours of
        the next piece as a share of the first), learning_to_come (of the last piece as a share of the next)
    outside_plan_share : quantile key -> hours outside the plan over hours of planned work
    finding : what the table says, in one sentence
    reasons : why, and what is not yet known: none or more sentences
    """

    as_of: date
    types: pd.DataFrame
    outside_plan_share: dict[str, float]
    finding: str
    reasons: tuple[str, ...]

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
    outside = model.rework_and_growth_.outside_share
    shares = {quantile_key(q): sample_quantile(outside, q) for q in QUANTILES}
    return Overruns(
        as_of=progress.as_of,
        types=types,
        outside_plan_share=shares,
        finding=_finding(types),
        reasons=_reasons(types, shares),
    )


def own_record(types: pd.DataFrame) -> pd.DataFrame:
    """The types of which the log itself says something beside their plan: enough of them are finished."""
    return types.loc[(types["finished"] >= SPEAKS) & types["planned_hours"].notna()]


def running_over(types: pd.DataFrame) -> pd.DataFrame:
    """The types that run over by their own record, most hours at stake first."""
    own = own_record(types)
    return own.loc[own["probability_over"] >= SURE]


def say_sure(probability: float) -> str:
    """A probability in percent, never quite certain.

    >>> say_sure(0.9987), say_sure(0.82), say_sure(0.0)
    ('more than 99 %', '82 %', 'less than 1 %')
    """
    if probability > 0.99:
        return "more than 99 %"
    return "less than 1 %" if probability < 0.01 else format_percent(probability)


def say_times(ratio: float) -> str:
    """A ratio with the digits that it deserves.

    >>> [say_times(r) for r in (1.304, 0.0008, 312.4)]
    ['1.30', '0.0008', '312']
    """
    return f"{ratio:.0f}" if ratio >= 20 else f"{ratio:.2f}" if ratio >= 0.1 else f"{ratio:.1g}"


def _type_row(progress: Progress, model: EffortModel, k: int, known: pd.Series) -> dict[str, Any]:
    tasks = progress.tasks
    mine = (tasks["type"] == known["type"]).to_numpy()
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    with_plan = mine & ~np.isnan(planned)
    done = tasks["done"].to_numpy(dtype=bool)
    hours = (tasks["hours_first"] + tasks["hours_rework"]).to_numpy(dtype=float)
    again = 1.0 + model.rework_and_growth_.rework_share[:, k]
    expected = model.expected_hours_
    row = {name: known[name] for name in ("type", "basis", "finished")}
    finished = with_plan & done
    row["planned_hours"] = float(planned[finished].sum()) if finished.any() else np.nan
    row["actual_hours"] = float(hours[mine & done].sum() if not with_plan.any() else hours[finished].sum())
    if with_plan.any():
        ratio = expected[:, with_plan].sum(axis=1) * again / planned[with_plan].sum()
    else:
        ratio = np.full(len(again), np.nan)
    row |= _quantiles("ratio", ratio) | _quantiles("ratio_once", ratio / again)
    row["probability_over"] = float(np.mean(ratio > 1.0)) if with_plan.any() else np.nan
    row |= _quantiles("learning_rate", 2.0 ** model.learning_slopes_[:, k])
    row |= _quantiles("rework_share", model.rework_and_growth_.rework_share[:, k])
    ahead = with_plan & ~done
    to_come = expected[:, ahead].sum(axis=1) * again
    row["hours_at_stake"] = float(np.median(to_come - planned[ahead].sum())) if ahead.any() else 0.0
    row |= _quantiles("ratio_open", to_come / planned[ahead].sum() if ahead.any() else np.full(1, np.nan))
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
    """What the types' own records say: the one over its plan with the most hours at stake comes first."""
    if types.empty or types["probability_over"].isna().all():
        return "No task has planned hours, so nothing can run over them."
    own, over = own_record(types), running_over(types)
    if len(over):
        top = over.iloc[0]
        return (
            f"{_capital(top['type'])} runs over: {_range(top)}, {say_sure(top['probability_over'])} sure "
            f"that it takes more than planned ({_ground(top)}){_others(over)}."
        )
    under = own.loc[own["probability_over"] <= 1 - SURE]
    if len(under):
        top = under.iloc[0]
        return (
            f"No type is surely over its plan; {top['type']} stays below: {_range(top)}, "
            f"{say_sure(1 - top['probability_over'])} sure ({_ground(top)})."
        )
    asked = own if len(own) else types.loc[types["probability_over"].notna()]
    top = asked.iloc[0]
    most = f"most is at stake in {top['type']}: {_range(top)}"
    if len(own):
        return f"No type is surely over or under its plan yet; {most}."
    return f"Which types run over is not yet known: none has {SPEAKS} finished tasks with a plan; {most}."


def _range(row: pd.Series, name: str = "ratio") -> str:
    return f"{say_times(row[f'{name}_p10'])} to {say_times(row[f'{name}_p90'])} times the plan (8 in 10)"


def _ground(row: pd.Series) -> str:
    words = {
        "own": "from its own log",
        "pooled": "leaning on other work and priors",
        "prior": "by prior alone",
    }
    return f"{row['finished']} finished, {words[row['basis']]}"


def _others(over: pd.DataFrame) -> str:
    count = len(over) - 1
    return "" if count == 0 else f"; so {'does' if count == 1 else 'do'} {_names(over['type'].iloc[1:])}"


def _names(types: pd.Series) -> str:
    """Some names in a row, and how many more."""
    shown, rest = list(types[:_NAMED]), len(types) - _NAMED
    if rest > 0:
        return f"{', '.join(shown)} and {rest} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def _reasons(types: pd.DataFrame, outside: dict[str, float]) -> tuple[str, ...]:
    """Rework, learning and work outside the plan where they make the figures, and what nobody knows yet."""
    if types.empty or types["probability_over"].isna().all():
        return (_outside(outside),)
    own, over = own_record(types), running_over(types)
    said = [*(_rework(row) for _, row in over.iloc[:1].iterrows()), *_learning_ahead(own), _outside(outside)]
    thin = types.loc[types["probability_over"].notna() & ~types.index.isin(own.index)]
    if len(thin) and len(own):
        said.append(f"Not yet known, with fewer than {SPEAKS} finished: {_names(thin['type'])}.")
    return tuple(sentence for sentence in said if sentence)


def _rework(row: pd.Series) -> str:
    """Rework of a type that runs over, where it is much of why."""
    share = (
        f"{format_percent_range(row['rework_share_p10'], row['rework_share_p90'])} of its first-time hours"
    )
    name = _capital(row["type"])
    if row["ratio_once_p50"] <= 1.0:
        return f"{name}: rework puts it over, {share}; done once, {_range(row, 'ratio_once')}."
    if row["rework_share_p50"] < _MUCH:
        return ""
    return f"{name}: rework is part of it, {share}; without it {_range(row, 'ratio_once')}."


def _learning_ahead(own: pd.DataFrame) -> list[str]:
    """The type whose open tasks practice takes furthest below what its finished ones suggest."""
    apart = own["ratio_open_p50"] / own["ratio_p50"]
    helped = own.loc[(apart < 1.0 - _MUCH) & (own["learning_to_come"] < 1.0 - _MUCH)]
    if helped.empty:
        return []
    top = helped.iloc[0]
    return [
        f"{_capital(top['type'])}: learning is still to come, the last piece should take "
        f"{format_percent(top['learning_to_come'])} of the next one's hours; its open tasks "
        f"{_range(top, 'ratio_open')}."
    ]


def _outside(share: dict[str, float]) -> str:
    return (
        f"Work outside the plan adds {format_percent_range(share['p10'], share['p90'])} to the hours "
        "of planned work, and counts to no type."
    )


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
