"""Which types of work run over their estimate, by how much, how sure that is, and why.

The ratio of a type is the expected hours of its planned tasks, rework included, over their planned hours. It
describes the type and not the few tasks done so far, so three finished tasks give a wide range. The finding
names only types with enough finished tasks of their own; the others are listed as not yet known.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from forecast.learn.progress import Progress
from forecast.quantiles import QUANTILE_KEYS, rounded, sample_quantiles
from forecast.wording import capitalise, format_percent, format_percent_range, join_words

if TYPE_CHECKING:
    from forecast.learn.effort import EffortModel

# All three are judgement: how sure a finding must be, finished tasks that a type needs for a finding of its
# own, and the share or change of the ratio that is worth a sentence.
SURE = 0.8
SPEAKS = 3
_WORTH_A_SENTENCE = 0.05
_NAMED = 3
_RANGES = ("ratio", "learning_rate", "rework_share")


@dataclass(frozen=True, kw_only=True)
class Overruns:
    """The types of work compared with their estimates.

    Attributes
    ----------
    as_of : the last day that counts
    types : one row per type, in descending order of hours at stake: type, basis (own, pooled, prior),
        finished, planned_hours and actual_hours (person-hours of its finished tasks that had planned hours,
        NaN and 0 where none), ratio_p05 ... ratio_p95 and probability_over (NaN where nothing is planned),
        learning_rate_p05 ... (per doubling of the pieces, unit theory), rework_share_p05 ... (of
        first-time hours), ratio_open_p05 ... (of the open tasks alone, NaN where none is planned),
        ratio_once_p05 ... (without rework), hours_at_stake (person-hours by which the open tasks are
        expected to exceed their planned hours; negative for less), learned_so_far (hours of the next piece
        as a share of the first), learning_to_come (of the last piece as a share of the next)
    outside_plan_share : quantile key -> hours outside the plan over hours of planned work
    finding : the result in one sentence
    reasons : why, and what is not yet known, in sentences
    """

    as_of: date
    types: pd.DataFrame
    outside_plan_share: dict[str, float]
    finding: str
    reasons: tuple[str, ...]

    def __repr__(self) -> str:
        return f"<Overruns: as of {self.as_of}, {len(self.types)} types. {self.finding}>"

    def to_frame(self) -> pd.DataFrame:
        """One row per type: the attribute `types`."""
        return self.types

    def to_dict(self) -> dict[str, Any]:
        """The answer as JSON."""
        return {
            "as_of": self.as_of.isoformat(),
            "types": [_type_answer(row) for _, row in self.types.iterrows()],
            "outside_plan_share": {q: round(v, 4) for q, v in self.outside_plan_share.items()},
        }


def overruns(progress: Progress, model: EffortModel) -> Overruns:
    """Compare each type with its estimate.

    Parameters
    ----------
    progress : sessions and plan up to one day
    model : fitted to that progress
    """
    rows = [_type_row(progress, model, k, known) for k, (_, known) in enumerate(model.types_.iterrows())]
    types = pd.DataFrame(rows)
    if len(types):
        types = types.iloc[np.argsort(-types["hours_at_stake"].abs().to_numpy(), kind="stable")]
    types = types.reset_index(drop=True)
    shares = sample_quantiles(model.rework_and_growth_.outside_share)
    return Overruns(
        as_of=progress.as_of,
        types=types,
        outside_plan_share=shares,
        finding=_finding(types),
        reasons=_reasons(types, shares),
    )


def own_record(types: pd.DataFrame) -> pd.DataFrame:
    """The types with planned hours and enough finished tasks of their own."""
    return types.loc[(types["finished"] >= SPEAKS) & types["planned_hours"].notna()]


def running_over(types: pd.DataFrame) -> pd.DataFrame:
    """The types that run over by their own finished tasks, in descending order of hours at stake."""
    own = own_record(types)
    return own.loc[own["probability_over"] >= SURE]


def say_sure(probability: float) -> str:
    """A probability in percent, never 0 or 100 %.

    >>> say_sure(0.9987), say_sure(0.82), say_sure(0.0)
    ('more than 99 %', '82 %', 'less than 1 %')
    """
    if probability > 0.99:
        return "more than 99 %"
    return "less than 1 %" if probability < 0.01 else format_percent(probability)


def format_times(ratio: float) -> str:
    """A ratio with two or three significant digits, fewer below 0.1.

    >>> [format_times(r) for r in (1.304, 0.0008, 312.4)]
    ['1.30', '0.0008', '312']
    """
    return f"{ratio:.0f}" if ratio >= 20 else f"{ratio:.2f}" if ratio >= 0.1 else f"{ratio:.1g}"


def _type_row(progress: Progress, model: EffortModel, k: int, known: pd.Series) -> dict[str, Any]:
    tasks = progress.tasks
    of_type = (tasks["type"] == known["type"]).to_numpy()
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    with_plan = of_type & ~np.isnan(planned)
    done = tasks["done"].to_numpy(dtype=bool)
    hours = (tasks["hours_first"] + tasks["hours_rework"]).to_numpy(dtype=float)
    with_rework = 1.0 + model.rework_and_growth_.rework_share[:, k]
    expected = model.expected_hours_
    row = {name: known[name] for name in ("type", "basis", "finished")}
    finished = with_plan & done
    row["planned_hours"] = float(planned[finished].sum()) if finished.any() else np.nan
    row["actual_hours"] = float(hours[of_type & done].sum() if not with_plan.any() else hours[finished].sum())
    if with_plan.any():
        ratio = expected[:, with_plan].sum(axis=1) * with_rework / planned[with_plan].sum()
    else:
        ratio = np.full(len(with_rework), np.nan)
    row |= _quantiles("ratio", ratio) | _quantiles("ratio_once", ratio / with_rework)
    row["probability_over"] = float(np.mean(ratio > 1.0)) if with_plan.any() else np.nan
    row |= _quantiles("learning_rate", 2.0 ** model.learning_slopes_[:, k])
    row |= _quantiles("rework_share", model.rework_and_growth_.rework_share[:, k])
    ahead = with_plan & ~done
    to_come = expected[:, ahead].sum(axis=1) * with_rework
    row["hours_at_stake"] = float(np.median(to_come - planned[ahead].sum())) if ahead.any() else 0.0
    row |= _quantiles("ratio_open", to_come / planned[ahead].sum() if ahead.any() else np.full(1, np.nan))
    return row | _learning(tasks.loc[of_type], np.median(model.learning_slopes_[:, k]))


def _quantiles(name: str, draws: np.ndarray) -> dict[str, float]:
    return {f"{name}_{key}": value for key, value in sample_quantiles(draws).items()}


def _learning(tasks: pd.DataFrame, slope: float) -> dict[str, float]:
    """How far the learning curve has come with the pieces made, and how far it has still to go."""
    made = float(tasks.loc[tasks["done"], "quantity"].sum())
    total = max(float(tasks["quantity"].sum()), 1.0)
    following = min(made + 1.0, total)
    return {"learned_so_far": following**slope, "learning_to_come": (total / following) ** slope}


def _finding(types: pd.DataFrame) -> str:
    """The type with the most hours at stake among those surely over, else surely under, else all."""
    if types.empty or types["probability_over"].isna().all():
        return "No task has planned hours, so nothing can run over them."
    own, over = own_record(types), running_over(types)
    if len(over):
        top = over.iloc[0]
        return (
            f"{capitalise(top['type'])} runs over: {_range(top)}, {say_sure(top['probability_over'])} sure "
            f"that it takes more than planned ({_basis(top)}){_others(over)}."
        )
    under = own.loc[own["probability_over"] <= 1 - SURE]
    if len(under):
        top = under.iloc[0]
        return (
            f"No type is surely over its plan; {top['type']} is under it: {_range(top)}, "
            f"{say_sure(1 - top['probability_over'])} sure ({_basis(top)})."
        )
    candidates = own if len(own) else types.loc[types["probability_over"].notna()]
    top = candidates.iloc[0]
    most = f"most is at stake in {top['type']}: {_range(top)}"
    if len(own):
        return f"No type is surely over or under its plan yet; {most}."
    none = f"none has {SPEAKS} finished tasks with planned hours"
    return f"Which types run over is not yet known: {none}; {most}."


def _range(row: pd.Series, name: str = "ratio") -> str:
    return (
        f"{format_times(row[f'{name}_p10'])} to {format_times(row[f'{name}_p90'])} times the plan (8 in 10)"
    )


def _basis(row: pd.Series) -> str:
    words = {
        "own": "from its own log",
        "pooled": "with other work and priors",
        "prior": "from priors alone",
    }
    return f"{row['finished']} finished, {words[row['basis']]}"


def _others(over: pd.DataFrame) -> str:
    others = list(over["type"].iloc[1:])
    verb = "does" if len(others) == 1 else "do"
    return f"; so {verb} {join_words(others, most=_NAMED)}" if others else ""


def _reasons(types: pd.DataFrame, outside: dict[str, float]) -> tuple[str, ...]:
    """Rework, learning and work outside the plan where they matter, and the types not yet known."""
    if types.empty or types["probability_over"].isna().all():
        return (_outside(outside),)
    own, over = own_record(types), running_over(types)
    rework = [_rework(row) for _, row in over.iloc[:1].iterrows()]
    sentences = [*rework, *_learning_ahead(own), _outside(outside)]
    thin = types.loc[types["probability_over"].notna() & ~types.index.isin(own.index)]
    if len(thin) and len(own):
        listed = join_words(list(thin["type"]), most=_NAMED)
        sentences.append(f"Not yet known, with fewer than {SPEAKS} finished: {listed}.")
    return tuple(sentence for sentence in sentences if sentence)


def _rework(row: pd.Series) -> str:
    """Rework of a type that runs over, where it is a main reason."""
    share = (
        f"{format_percent_range(row['rework_share_p10'], row['rework_share_p90'])} of its first-time hours"
    )
    name = capitalise(row["type"])
    if row["ratio_once_p50"] <= 1.0:
        return f"{name}: rework puts it over, {share}; without it {_range(row, 'ratio_once')}."
    if row["rework_share_p50"] < _WORTH_A_SENTENCE:
        return ""
    return f"{name}: rework is part of it, {share}; without it {_range(row, 'ratio_once')}."


def _learning_ahead(own: pd.DataFrame) -> list[str]:
    """The type whose open tasks gain most from learning, compared with its finished ones."""
    apart = own["ratio_open_p50"] / own["ratio_p50"]
    helped = own.loc[(apart < 1.0 - _WORTH_A_SENTENCE) & (own["learning_to_come"] < 1.0 - _WORTH_A_SENTENCE)]
    if helped.empty:
        return []
    top = helped.iloc[0]
    return [
        f"{capitalise(top['type'])}: learning is still to come: the last piece should take "
        f"{format_percent(top['learning_to_come'])} of the next one's hours; its open tasks "
        f"{_range(top, 'ratio_open')}."
    ]


def _outside(share: dict[str, float]) -> str:
    return (
        f"Work outside the plan adds {format_percent_range(share['p10'], share['p90'])} to the hours "
        "of planned work and belongs to no type."
    )


def _type_answer(row: pd.Series) -> dict[str, Any]:
    answer = {
        "type": row["type"],
        "basis": row["basis"],
        "finished": int(row["finished"]),
        "planned_hours": rounded(row["planned_hours"], 2),
        "actual_hours": rounded(row["actual_hours"], 2),
        "probability_over": rounded(row["probability_over"], 4),
    }
    for name in _RANGES:
        answer[name] = {key: rounded(row[f"{name}_{key}"], 4) for key in QUANTILE_KEYS}
    return answer
