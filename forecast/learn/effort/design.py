"""From progress to arrays: one row a task, what is known of its hours, and the columns of its mean.

log hours of task i, first-time work only:

    y_i = level + slope * x_i                      x = log planned hours, centred
        + rate of the type, where no hours are planned (x then stands in, from the type and the pieces)
        + u_k + (b0 + b_k) * m_i                   k = type; m = log lot midpoint, centred in the type
        + c_k + g_k * m_i                          what other builders' tasks of the type show, if known
        + repeat + w_g                             g = the task and those that repeat it
        + shared * share worked by two             only where two are not needed anyway
        + drift at the task's position             blocks of positions, see posterior.py
        + luck

Centring m within each type means that planned hours are taken to speak of a middling piece of the
type, and that a type with a single task learns nothing and teaches nothing about learning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.learn.effort.priors import EffortPriors, Normal
from forecast.learn.learning_curve import lot_midpoint, pieces_remembered
from forecast.learn.progress import Progress

LEAST_HOURS = 1e-3
PLAN_IS_OFF = 1.4  # on the log scale: hours are more than four times the plan, or less than a quarter
_SURELY_OFF = 2.5  # spreads of everything that is believed
_DRIFT_BLOCKS = 30
_ALONE_HOURS = 20.0
_FAR_LOT = 1.4  # on the log scale: four times more or fewer pieces than usual for the type
_LEAST_SLOPE = 0.1
_TYPICAL_WORTH = 0.5  # planned tasks of a type that the plan's typical task counts for


@dataclass(frozen=True, kw_only=True)
class EffortDesign:
    """One row a task, in plan order; n tasks, k types, f fixed effects, g pairs.

    Attributes
    ----------
    log_hours : (n,) log of the first-time person-hours so far; -inf where none
    finished, under_way : (n,) bool; an open task without hours is neither
    reopened : (n,) bool, finished once and open again: first-time work is over, rework is not
    fixed : (n, f) columns of the effects that all tasks share, and `fixed_priors` for each
    offset : (n,) part of the mean that is not estimated; `elsewhere` the part of it that comes from
        other builders' tasks of the type, `type_learning` (k,) their exponents
    type_of : (n,) index into `types`; `log_piece` (n,) centred log lot midpoint
    unplanned : (n,) bool, no planned hours
    pair_of : (n,) index of the group of repeats, -1 for none
    size : (n,) x, clipped to +-3: spread may change with it
    block_of : (n,) block of positions for the drift, block_tasks positions each
    sharable : (n,) bool, tasks that one can do and two may; usual_share is the share of their hours that
        two worked together so far, taken to go on
    """

    tasks: tuple[str, ...]
    types: tuple[str, ...]
    log_hours: np.ndarray
    finished: np.ndarray
    under_way: np.ndarray
    reopened: np.ndarray
    fixed: np.ndarray
    fixed_names: tuple[str, ...]
    fixed_priors: tuple[Normal, ...]
    offset: np.ndarray
    elsewhere: np.ndarray
    type_learning: np.ndarray
    type_of: np.ndarray
    log_piece: np.ndarray
    unplanned: np.ndarray
    pair_of: np.ndarray
    pairs: int
    size: np.ndarray
    block_of: np.ndarray
    block_tasks: int
    sharable: np.ndarray
    usual_share: float

    @property
    def open_rows(self) -> np.ndarray:
        """Positions of the tasks that are not finished, in plan order."""
        return np.flatnonzero(~self.finished | self.reopened)

    @property
    def observed_rows(self) -> np.ndarray:
        """Positions of the tasks whose hours say something."""
        return np.flatnonzero((self.finished & np.isfinite(self.log_hours)) | self.under_way)


def build_design(
    progress: Progress,
    priors: EffortPriors,
    *,
    slopes: dict[str, float] | None = None,
    half_days: float | None = None,
) -> EffortDesign:
    """The arrays of the effort model.

    Parameters
    ----------
    progress : sessions and plan as they stood on one day
    priors : centres and spreads of the effects
    slopes : learning exponent of each type, for the lot midpoints; the prior's where not given. The
        midpoint hardly depends on it: from 95 % to 80 % a doubling it moves by 9 % at most.
    half_days : days without a type of work after which half of its practice is gone; None = nothing is
        ever forgotten
    """
    tasks = progress.tasks
    types = tuple(sorted(tasks["type"].unique()))
    type_of = pd.Categorical(tasks["type"], categories=types).codes.astype(np.int64)
    done = tasks["done"].to_numpy(dtype=bool)
    hours = tasks["hours_first"].to_numpy(dtype=float)
    reopened = _reopened(progress) & (hours > 0)
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    unplanned = np.isnan(planned)
    log_planned, more_pieces = _log_planned(tasks, type_of, len(types), priors)
    x = log_planned - float(log_planned.mean() if len(tasks) else 0.0)
    log_piece, between = _log_piece(tasks, types, type_of, slopes or {}, priors, half_days)
    type_level, type_learning = (
        np.array([known.get(t, 0.0) for t in types]) for known in (priors.type_level, priors.type_learning)
    )
    elsewhere = type_level[type_of] + type_learning[type_of] * log_piece
    pair_of, pairs, is_repeat = _pairs(tasks)
    sharable = (tasks["crew"] == "either").to_numpy()
    shared = tasks["shared_fraction"].to_numpy(dtype=float)
    usual = _usual_share(shared[sharable], hours[sharable])
    names = ["level", "size_slope", "learning", "learning_between_types"]
    columns = [np.ones(len(tasks)), x, log_piece, between]
    with np.errstate(divide="ignore"):
        log_hours = np.log(hours)
    beliefs = [
        priors.level,
        Normal(centre=priors.size_slope.centre - 1.0, sd=priors.size_slope.sd),
        priors.learning,
        priors.learning_between_types,
    ]
    if unplanned.any():
        names += ["unplanned_level", "unplanned_pieces"]
        columns += [unplanned.astype(float), np.where(unplanned, more_pieces, 0.0)]
        known = priors.unplanned_level_without_any_plan if unplanned.all() else priors.unplanned_level
        beliefs += [known, Normal(centre=0.0, sd=priors.pieces_slope.sd)]
    names += ["repeat", "shared_work"]
    columns += [is_repeat.astype(float), np.where(sharable, np.where(done, shared, usual), 0.0)]
    beliefs += [priors.repeat, priors.shared_work]
    fixed = np.column_stack(columns)
    told = done & ~unplanned & np.isfinite(log_hours)
    beliefs[0] = _level_belief((log_hours - log_planned - elsewhere)[told], fixed[told], beliefs, priors)
    position = tasks["position"].to_numpy(dtype=np.int64)
    seen = int(np.count_nonzero(hours > 0))
    block_tasks = max(3, -(-seen // _DRIFT_BLOCKS))
    return EffortDesign(
        tasks=tuple(tasks["task"]),
        types=types,
        log_hours=log_hours,
        finished=done | reopened,
        under_way=~done & ~reopened & (hours > 0),
        reopened=reopened,
        fixed=fixed,
        fixed_names=tuple(names),
        fixed_priors=tuple(beliefs),
        offset=log_planned + elsewhere,
        elsewhere=elsewhere,
        type_learning=type_learning,
        type_of=type_of,
        log_piece=log_piece,
        unplanned=unplanned,
        pair_of=pair_of,
        pairs=pairs,
        size=np.clip(x, -3.0, 3.0),
        block_of=position // block_tasks,
        block_tasks=block_tasks,
        sharable=sharable,
        usual_share=usual,
    )


def _usual_share(shared: np.ndarray, hours: np.ndarray) -> float:
    """Share of the hours that two worked together, from nothing before the log speaks."""
    return float(shared @ hours / (hours.sum() + _ALONE_HOURS))


def _reopened(progress: Progress) -> np.ndarray:
    """Open tasks that a session once said to be done."""
    sessions = progress.sessions
    closed = set(sessions.loc[sessions["done"], "task"])
    return (~progress.tasks["done"] & progress.tasks["task"].isin(closed)).to_numpy(dtype=bool)


def _level_belief(
    log_ratio: np.ndarray, fixed: np.ndarray, beliefs: list[Normal], priors: EffortPriors
) -> Normal:
    """The prior of the level, as wide as makes the hours seen no further than `_SURELY_OFF` spreads off.

    First pieces, repeats and small tasks are off plan for reasons of their own: what the other beliefs
    expect of the finished tasks is taken out, and what they leave open is allowed for. A plan in another
    unit widens the belief to half its error or so; a slow builder hardly does, because a level that is
    free to be anything leaves too little for learning.
    """
    if not len(log_ratio):
        return priors.level
    centre, sd = np.array([(b.centre, b.sd) for b in beliefs]).T
    off = abs(float(np.median(log_ratio - fixed @ centre)))
    luck = np.exp(priors.log_spread.centre) ** 2 / len(log_ratio)
    others = ((fixed[:, 1:].mean(axis=0) * sd[1:]) ** 2).sum() + priors.type_level_scale**2 + luck
    own = max((off / _SURELY_OFF) ** 2 - float(others), 0.0)
    return Normal(centre=priors.level.centre, sd=max(float(np.sqrt(own)), priors.level.sd))


def _log_planned(
    tasks: pd.DataFrame, type_of: np.ndarray, types: int, priors: EffortPriors
) -> tuple[np.ndarray, np.ndarray]:
    """Log planned hours, standing in where unknown; and log pieces beside the type's mean.

    A task without planned hours takes what tasks of its type have planned, in proportion to its pieces
    to a power that the planned tasks show (within types, pulled to the prior's); lots far from usual for
    their type have a power of their own, for they may be slips of the type's name. A type that has no
    planned task takes the plan's typical task, and few planned tasks are pulled towards that.
    """
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    log_planned = np.log(np.maximum(planned, LEAST_HOURS))
    known = ~np.isnan(planned)
    log_pieces = np.log(np.maximum(tasks["quantity"].to_numpy(dtype=float), LEAST_HOURS))
    usual = np.array([np.median(log_pieces[type_of == k]) if k in type_of else 0.0 for k in range(types)])
    apart = log_pieces - usual[type_of]
    parts = np.column_stack([np.clip(apart, -_FAR_LOT, _FAR_LOT), apart])
    parts[:, 1] -= parts[:, 0]
    typical = float(log_planned[known].mean()) if known.any() else float(np.log(priors.typical_hours))
    kind, x, y = type_of[known], parts[known], log_planned[known] - typical
    slopes = _slopes_within(kind, x, y, types, priors.pieces_slope)
    level = np.bincount(kind, y - x @ slopes, types) / (np.bincount(kind, minlength=types) + _TYPICAL_WORTH)
    stand_in = typical + level[type_of] + parts @ slopes
    return np.where(known, log_planned, stand_in), parts @ slopes / max(float(slopes[0]), _LEAST_SLOPE)


def _slopes_within(kind: np.ndarray, x: np.ndarray, y: np.ndarray, types: int, prior: Normal) -> np.ndarray:
    """Slopes of y on the columns of x within types, each pulled to a prior; plans scatter by half."""
    hot = (kind[:, None] == np.arange(types)).astype(float)
    share = hot / np.maximum(hot.sum(axis=0), 1)
    x, y = x - hot @ (share.T @ x), y - hot @ (share.T @ y)
    weight = prior.sd**-2
    return np.asarray(
        np.linalg.solve(4 * x.T @ x + weight * np.eye(x.shape[1]), 4 * x.T @ y + weight * prior.centre)
    )


def _log_piece(
    tasks: pd.DataFrame,
    types: tuple[str, ...],
    type_of: np.ndarray,
    slopes: dict[str, float],
    priors: EffortPriors,
    half_days: float | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Log lot midpoint of each task, apart: within its type (centred), and its type's mean (centred)."""
    before = tasks["pieces_before"].to_numpy(dtype=float)
    if half_days is not None:
        before = _practice(tasks, half_days)
    pieces = np.maximum(tasks["quantity"].to_numpy(dtype=float), LEAST_HOURS)
    slope = np.array([slopes.get(t, priors.learning.centre) for t in types])[type_of]
    log_mid = np.log(lot_midpoint(before + 1.0, before + pieces, slope)) if len(tasks) else np.empty(0)
    count = np.maximum(np.bincount(type_of, minlength=len(types)), 1)
    centre = np.bincount(type_of, log_mid, minlength=len(types)) / count
    return log_mid - centre[type_of], centre[type_of] - float(centre.mean() if len(centre) else 0.0)


def _practice(tasks: pd.DataFrame, half_days: float) -> np.ndarray:
    """Pieces of the type that still count as practice when each task begins, breaks so far forgotten."""
    practice = np.zeros(len(tasks))
    quantity = tasks["quantity"].to_numpy(dtype=float)
    idle = np.nan_to_num(tasks["idle_days"].to_numpy(dtype=float), nan=0.0)
    kinds = tasks["type"].to_numpy()
    kept: dict[str, float] = {}
    for i in np.argsort(tasks["position"].to_numpy(), kind="stable"):
        practice[i] = pieces_remembered(kept.get(kinds[i], 0.0), idle[i], half_days=half_days)
        kept[kinds[i]] = practice[i] + quantity[i]
    return practice


def _pairs(tasks: pd.DataFrame) -> tuple[np.ndarray, int, np.ndarray]:
    """Group of each task with those that repeat it (-1: none), how many groups, and who is a repeat."""
    ids = list(tasks["task"])
    row_of = {t: i for i, t in enumerate(ids)}
    first = np.arange(len(ids))
    repeat_of = list(tasks["repeat_of"])
    is_repeat = np.array([r in row_of for r in repeat_of], dtype=bool)
    for i in np.flatnonzero(is_repeat):
        root = row_of[repeat_of[i]]
        while is_repeat[root]:
            root = row_of[repeat_of[root]]
        first[i] = root
    roots = np.unique(first[is_repeat])
    group = np.full(len(ids), -1, dtype=np.int64)
    place = np.searchsorted(roots, first)
    member = np.isin(first, roots)
    group[member] = place[member]
    return group, len(roots), is_repeat
