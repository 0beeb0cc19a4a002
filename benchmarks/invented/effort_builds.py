"""Builds whose true effort is generated as the effort model assumes, or with one assumption broken.

A build is a plan of tasks in working order and their true hours. Kinds:

model       as the model assumes, with normal residuals
tails       residuals from a t distribution with three degrees of freedom, truncated at 4 (else no mean
            exists)
unlearned   nobody ever gets faster: no learning, no gain on repeats
mislabelled 15 % of the types are wrong in the plan and half of the planned hours are missing
records     like real task records: heaped hours, left-skewed residuals, single pieces, no pairs

and two for the study of forgetting, in which the builder now and then stops for months:

remembers   nothing is lost over a break
forgets     half of the practice in a type of work is lost after 35 days without it

The truth is linear in the model's own terms, so that the exact posterior can be computed
(benchmarks/yardsticks/effort_forecasters.py). The builds of benchmarks/invented/workshop share nothing with
the model, and have logs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from forecast.learn.effort.priors import EffortPriors, Normal
from forecast.learn.learning_curve import lot_midpoint, pieces_remembered
from forecast.learn.progress import Progress

# The generating distribution, in the terms of the model's priors.
AS_GENERATED = EffortPriors(
    level=Normal(centre=0.05, sd=0.35),
    size_slope=Normal(centre=1.0, sd=0.12),
    learning=Normal(centre=-0.152, sd=0.08),
    learning_between_types=Normal(centre=0.0, sd=1e-3),
    repeat=Normal(centre=-0.17, sd=0.25),
    shared_work=Normal(centre=0.0, sd=1e-3),
    type_level_scale=0.3,
    type_learning_scale=0.06,
    pair_scale=0.2,
    drift_scale=0.2,
    log_spread=Normal(centre=float(np.log(0.5)), sd=0.25),
    type_spread_scale=0.2,
    spread_by_size=Normal(centre=0.05, sd=0.05),
)
KINDS = ("model", "tails", "unlearned", "mislabelled", "records")
_T_LIMIT = 4.0  # standard units
BREAK_KINDS = ("remembers", "forgets")
HALF_DAYS = 35.0
# Planned hours in task records cluster at round figures.
_HEAPS = np.array([0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 16.0, 24.0, 40.0])
_HEAP_SHARES = np.array([0.05, 0.12, 0.2, 0.2, 0.1, 0.12, 0.06, 0.08, 0.04, 0.02, 0.01])


@dataclass(frozen=True, kw_only=True)
class TrueBuild:
    """A plan and the truth behind it; n tasks in working order.

    Attributes
    ----------
    tasks : the static columns of a progress frame, as in the plan
    hours : (n,) first-time person-hours that each task takes
    offset : (n,) known part of the mean of log hours
    effects : (n, e) columns of the linear effects, with `centre`, `sd` (e,) and true `value` (e,)
    drift, drift_sd, drift_tasks : (n,) true drift, its sd, and the tasks over which it fades to 1/e
    spread : (n,) scale of the residuals of log hours
    tail : degrees of freedom of the residuals, infinite for normal
    expected : (n,) mean person-hours over the residual
    """

    tasks: pd.DataFrame
    hours: np.ndarray
    offset: np.ndarray
    effects: np.ndarray
    centre: np.ndarray
    sd: np.ndarray
    value: np.ndarray
    drift: np.ndarray
    drift_sd: float
    drift_tasks: float
    spread: np.ndarray
    tail: float
    expected: np.ndarray

    def progress(self, finished: int) -> Progress:
        """The build with its first `finished` tasks done and no other started."""
        count = len(self.hours)
        done = np.arange(count) < finished
        day = pd.Timestamp("2026-01-01").as_unit("us") + pd.to_timedelta(np.arange(count) // 2, unit="D")
        when = pd.Series(day).where(done)
        tasks = self.tasks.assign(
            idle_days=self.tasks["idle_days"].where(done),
            done=done,
            started=when,
            finished=when,
            last_session=when,
            sessions=done.astype("int64"),
            hours_first=np.where(done, self.hours, 0.0),
            hours_rework=0.0,
        )
        sessions = pd.DataFrame(
            {
                "date": day[:finished],
                "until": day[:finished],
                "person_hours": self.hours[:finished],
                "task": self.tasks["task"][:finished],
                "done": True,
                "rework": False,
            }
        )
        reports = pd.DataFrame(
            {c: pd.Series([], dtype=float) for c in ("fraction", "hours_so_far", "total_hours")}
        ).assign(task=pd.Series([], dtype="str"), kind=pd.Series([], dtype="str"))
        return Progress(
            tasks=tasks,
            reports=reports,
            sessions=sessions,
            outside=sessions.iloc[:0],
            as_of=date(2027, 1, 1),
        )

    @property
    def planned(self) -> np.ndarray:
        """(n,) planned hours; the median of the plan where none are given."""
        p = self.tasks["planned_hours"].to_numpy(dtype=float)
        return np.where(np.isnan(p), np.nanmedian(p), p)


def draw_build(kind: str, rng: np.random.Generator, *, count: int = 240, types: int = 10) -> TrueBuild:
    """Draw a build.

    Parameters
    ----------
    kind : one of `KINDS` or `BREAK_KINDS`
    rng : source of plan and truth
    count, types : tasks, and types of work

    Examples
    --------
    >>> draw_build("model", np.random.default_rng(1), count=20).hours.shape
    (20,)
    """
    type_of = rng.choice(types, size=count, p=rng.dirichlet(np.full(types, 2.0)))
    pieces = np.maximum(1, rng.negative_binomial(1, 0.12, size=count)).astype(float)
    level = rng.normal(np.log(4.0), 0.6, size=types)[type_of]
    planned = np.exp(level + 0.8 * (np.log(pieces) - np.log(pieces).mean()) + rng.normal(0, 0.4, count))
    repeat_of = np.full(count, -1)
    if kind == "records":
        planned = rng.choice(_HEAPS, size=count, p=_HEAP_SHARES / _HEAP_SHARES.sum())
        pieces[:] = 1.0
    else:
        second = rng.choice(np.arange(5, count), size=count // 4, replace=False)
        for i in second:
            first = int(rng.integers(i))
            if repeat_of[first] < 0:
                repeat_of[i] = first
                type_of[i], pieces[i], planned[i] = type_of[first], pieces[first], planned[first]
    return _with_truth(kind, rng, type_of, types, pieces, planned, repeat_of)


def _with_truth(
    kind: str,
    rng: np.random.Generator,
    type_of: np.ndarray,
    types: int,
    pieces: np.ndarray,
    planned: np.ndarray,
    repeat_of: np.ndarray,
) -> TrueBuild:
    count = len(planned)
    learned = kind not in ("unlearned", "records")
    offset = np.log(planned)
    x = offset - offset.mean()
    idle = _idle_days(type_of, rng) if kind in BREAK_KINDS else np.full(count, np.nan)
    log_piece = _centred_log_midpoint(type_of, types, pieces, idle if kind == "forgets" else None)
    one_hot = np.eye(types)[type_of]
    pair = np.where(repeat_of >= 0, repeat_of, np.arange(count))
    roots = np.unique(pair[repeat_of >= 0])
    groups = (pair[:, None] == roots[None, :]).astype(float)
    true, never = AS_GENERATED, Normal(centre=0.0, sd=0.0)
    learning, repeat = (true.learning, true.repeat) if learned else (never, never)
    level_sd = abs(rng.normal(0, true.type_level_scale))
    learning_sd = abs(rng.normal(0, true.type_learning_scale))
    pair_sd = abs(rng.normal(0, true.pair_scale))
    slope_centre = 0.85 if kind == "records" else true.size_slope.centre
    blocks = [  # columns, centre, sd
        (np.ones((count, 1)), true.level.centre, true.level.sd),
        (x[:, None], slope_centre - 1.0, true.size_slope.sd if kind != "records" else 0.06),
        (log_piece[:, None], learning.centre, learning.sd),
        ((repeat_of >= 0).astype(float)[:, None], repeat.centre, repeat.sd),
        (one_hot, 0.0, level_sd),
        (one_hot * log_piece[:, None], 0.0, learning_sd if learned else 0.0),
        (groups, 0.0, pair_sd),
    ]
    effects = np.column_stack([b[0] for b in blocks])
    widths = [b[0].shape[1] for b in blocks]
    centre = np.repeat([b[1] for b in blocks], widths)
    sd = np.repeat([b[2] for b in blocks], widths)
    value = rng.normal(centre, sd)
    drift_sd = abs(rng.normal(0, true.drift_scale))
    drift_tasks = float(np.exp(rng.uniform(np.log(10), np.log(320))))
    drift = _wave(rng, count, drift_sd, drift_tasks)
    mean_spread = rng.normal(true.log_spread.centre, true.log_spread.sd)
    spread = np.exp(rng.normal(mean_spread, true.type_spread_scale, size=types))[type_of]
    by_size = rng.normal(true.spread_by_size.centre, true.spread_by_size.sd)
    spread = spread * np.exp(-by_size * np.clip(x, -3, 3))
    if kind == "records":
        spread = np.exp(rng.normal(-0.05, 0.25)) * np.exp(-0.05 * np.clip(x, -3, 3))
    tail = 3.0 if kind == "tails" else np.inf
    mean = offset + effects @ value + drift
    expected = np.exp(mean) * np.exp(np.multiply.outer(spread, _residuals(kind, rng, 4000))).mean(axis=1)
    hours = np.exp(mean + spread * _residuals(kind, rng, count))
    if kind == "records":
        hours = np.maximum(0.1, np.where(hours > 1, np.round(hours * 4) / 4, np.round(hours, 1)))
    seen_type, seen_planned = type_of, planned
    if kind == "mislabelled":
        wrong = rng.random(count) < 0.15
        seen_type = np.where(wrong, rng.integers(types, size=count), type_of)
        seen_planned = np.where(rng.random(count) < 0.5, np.nan, planned)
    return TrueBuild(
        tasks=_seen_tasks(seen_type, pieces, seen_planned, repeat_of).assign(idle_days=idle),
        hours=hours,
        offset=offset,
        effects=effects,
        centre=centre,
        sd=sd,
        value=value,
        drift=drift,
        drift_sd=drift_sd,
        drift_tasks=drift_tasks,
        spread=spread,
        tail=tail,
        expected=expected,
    )


def truncated_t(rng: np.random.Generator, tail: float, size: int | tuple[int, ...]) -> np.ndarray:
    """Draws of a t variable with `tail` degrees of freedom, truncated at +-4 by redrawing."""
    out = rng.standard_t(tail, size=size)
    while (far := np.abs(out) > _T_LIMIT).any():
        out[far] = rng.standard_t(tail, size=int(far.sum()))
    return out


def _residuals(kind: str, rng: np.random.Generator, count: int) -> np.ndarray:
    if kind == "tails":
        return truncated_t(rng, 3.0, count)
    if kind == "records":
        which = rng.random(count)
        left, exact = rng.normal(-1.0, 1.0, count), rng.normal(0.0, 0.1, count)
        return np.where(which < 0.2, left, np.where(which < 0.5, exact, rng.normal(0.15, 0.7, count)))
    return rng.standard_normal(count)


def _wave(rng: np.random.Generator, count: int, sd: float, tasks: float) -> np.ndarray:
    step = np.exp(-1.0 / tasks)
    level = np.empty(count)
    level[0] = rng.normal(0, sd)
    noise = sd * np.sqrt(1 - step**2) * rng.standard_normal(count)
    for i in range(1, count):
        level[i] = step * level[i - 1] + noise[i]
    return level


def _idle_days(type_of: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(n,) days since the type was last worked on: two days per task, and a break of months now and then."""
    breaks = np.where(rng.random(len(type_of)) < 0.04, np.exp(rng.uniform(3.4, 5.7, len(type_of))), 0.0)
    day = np.cumsum(2.0 + breaks)
    idle = np.full(len(type_of), np.nan)
    for k in np.unique(type_of):
        idle[type_of == k] = np.diff(day[type_of == k], prepend=np.nan)
    return idle


def _centred_log_midpoint(
    type_of: np.ndarray, types: int, pieces: np.ndarray, idle: np.ndarray | None
) -> np.ndarray:
    out = np.zeros(len(pieces))
    for k in range(types):
        mine = np.flatnonzero(type_of == k)
        practice = 0.0
        for i in mine:
            if idle is not None and not np.isnan(idle[i]):
                practice = float(pieces_remembered(practice, idle[i], half_days=HALF_DAYS))
            out[i] = np.log(lot_midpoint(practice + 1, practice + pieces[i], AS_GENERATED.learning.centre))
            practice += pieces[i]
        out[mine] -= out[mine].mean() if len(mine) else 0.0
    return out


def _seen_tasks(
    type_of: np.ndarray, pieces: np.ndarray, planned: np.ndarray, repeat_of: np.ndarray
) -> pd.DataFrame:
    count = len(pieces)
    frame = pd.DataFrame(
        {
            "task": pd.Series([f"T{i:03d}" for i in range(count)], dtype="str"),
            "stage": pd.Series(["all"] * count, dtype="str"),
            "type": pd.Series([f"k{k:02d}" for k in type_of], dtype="str"),
            "crew": pd.Series(["either"] * count, dtype="str"),
            "repeat_of": pd.Series([f"T{j:03d}" if j >= 0 else "" for j in repeat_of], dtype="str"),
            "quantity": pieces,
            "planned_hours": planned,
            "hold_days": 0.0,
            "added": pd.Series([pd.NaT] * count, dtype="datetime64[us]"),
            "quantity_done": 0.0,
            "percent": np.nan,
            "position": np.arange(count),
            "shared_fraction": 0.0,
        }
    )
    return frame.assign(pieces_before=frame.groupby("type")["quantity"].cumsum() - frame["quantity"])
