"""From progress to arrays: one row per task, what is known of its hours, and the columns of its mean.

log hours of task i, first-time work only:

    y_i = level + slope * x_i                      x = log planned hours, centred
        + rate of the type, where no hours are planned (x is then a stand-in, from the type and the pieces)
        + u_k + (b0 + b_k) * m_i                   k = type; m = log lot midpoint, centred within the type
        + c_k + g_k * m_i                          what other builders' tasks of the type show, if pooled
        + repeat + w_g                             g = the task and those that repeat it
        + shared * share worked by two             only where two are not needed anyway
        + drift at the task's position             blocks of positions, see posterior.py
        + residual

Centring m within each type takes planned hours to be those of an average piece of the type; a type with a
single task then carries no information about learning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.learn.effort.priors import EffortPriors, Normal
from forecast.learn.learning_curve import lot_midpoint, pieces_remembered
from forecast.learn.progress import Progress

# Every figure below is a judgement unless a source is named.
_LEAST_HOURS = 1e-3  # a planned hour or piece count below this is a slip: its log would dominate the fit
PLAN_IS_OFF = 1.4  # on the log scale: hours are more than four times the plan, or less than a quarter
_SURELY_OFF = 2.5  # prior spreads: a median ratio this far out is no chance but another unit in the plan
# Blocks cost columns of the regression: 30 follow a drift whose shortest correlation length is 10 tasks, and
# keep the fit of a long log fast.
_DRIFT_BLOCKS = 30
_LEAST_BLOCK_TASKS = 3
_ALONE_HOURS = 20.0  # prior weight of working alone, in person-hours of log
_FAR_LOT = 1.4  # on the log scale: four times more or fewer pieces than usual for the type
_LEAST_SLOPE = 0.1  # a plan in which pieces hardly matter must not blow up what is divided by their slope
_TYPICAL_WORTH = 0.5  # weight of the plan's typical task, in planned tasks of a type
_SINGLE_HOURS = 30.0  # judgement: a row of more planned person-hours is a sum of several pieces of work
_LARGEST_SIZE = 3.0  # a task 20 times the typical one tells nothing more about how spread changes with size


@dataclass(frozen=True, kw_only=True)
class EffortDesign:
    """Arrays of all tasks, in plan order; n tasks, k types, f fixed effects, g pairs.

    Attributes
    ----------
    log_hours : (n,) log of the first-time person-hours so far; -inf where none
    finished, under_way : (n,) bool; an open task without hours is neither
    reopened : (n,) bool, finished once and open again: first-time work is over, rework is not
    fixed : (n, f) columns of the effects that all tasks share, and `fixed_priors` for each
    offset : (n,) part of the mean that is not estimated; `pooled_offset` the part of it that comes from
        other builders' tasks of the type, `type_learning` (k,) their exponents
    type_of : (n,) index into `types`; `log_piece` (n,) centred log lot midpoint
    unplanned : (n,) bool, no planned hours
    pair_of : (n,) index of the group of repeats, -1 for none
    size : (n,) x, clipped to +-3: spread may change with it
    narrower : (n,) what comes off the log of the spread because the row is a sum of several pieces of work
    block_of : (n,) block of positions for the drift, block_tasks positions each
    sharable : (n,) bool, tasks that one person can do and two may; usual_share is the share of their hours
        that two worked together so far, assumed to stay the same
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
    pooled_offset: np.ndarray
    type_learning: np.ndarray
    type_of: np.ndarray
    log_piece: np.ndarray
    unplanned: np.ndarray
    pair_of: np.ndarray
    pairs: int
    size: np.ndarray
    narrower: np.ndarray
    block_of: np.ndarray
    block_tasks: int
    sharable: np.ndarray
    usual_share: float

    @property
    def open_rows(self) -> np.ndarray:
        """Rows of the tasks that are not finished, in plan order."""
        return np.flatnonzero(~self.finished | self.reopened)

    @property
    def observed_rows(self) -> np.ndarray:
        """Rows of the tasks whose hours are data."""
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
    progress : sessions and plan as known on one day
    priors : centres and spreads of the effects
    slopes : learning exponent of each type, for the lot midpoints; the prior's where not given. The
        midpoint hardly depends on it: between rates of 95 % and 80 % per doubling it moves by 9 % at most.
    half_days : days without a type of work after which half of its practice is lost; None = nothing is
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
    pooled_offset = type_level[type_of] + type_learning[type_of] * log_piece
    pair_of, pairs, is_repeat = _pairs(tasks)
    sharable = (tasks["crew"] == "either").to_numpy()
    shared = tasks["shared_fraction"].to_numpy(dtype=float)
    # Pulled to none while the log is short.
    usual = float(shared[sharable] @ hours[sharable] / (hours[sharable].sum() + _ALONE_HOURS))
    names = ["level", "size_slope", "learning", "learning_between_types"]
    columns = [np.ones(len(tasks)), x, log_piece, between]
    with np.errstate(divide="ignore"):
        log_hours = np.log(hours)
    fixed_priors = [
        priors.level,
        Normal(centre=priors.size_slope.centre - 1.0, sd=priors.size_slope.sd),
        priors.learning,
        priors.learning_between_types,
    ]
    if unplanned.any():
        names += ["unplanned_level", "unplanned_pieces"]
        columns += [unplanned.astype(float), np.where(unplanned, more_pieces, 0.0)]
        level = priors.unplanned_level_without_any_plan if unplanned.all() else priors.unplanned_level
        fixed_priors += [level, Normal(centre=0.0, sd=priors.pieces_slope.sd)]
    names += ["repeat", "shared_work"]
    columns += [is_repeat.astype(float), np.where(sharable, np.where(done, shared, usual), 0.0)]
    fixed_priors += [priors.repeat, priors.shared_work]
    fixed = np.column_stack(columns)
    usable = done & ~unplanned & np.isfinite(log_hours)
    log_ratio = (log_hours - log_planned - pooled_offset)[usable]
    fixed_priors[0] = _level_prior(log_ratio, fixed[usable], fixed_priors, priors)
    position = tasks["position"].to_numpy(dtype=np.int64)
    seen = int(np.count_nonzero(hours > 0))
    block_tasks = max(_LEAST_BLOCK_TASKS, -(-seen // _DRIFT_BLOCKS))
    return EffortDesign(
        tasks=tuple(tasks["task"]),
        types=types,
        log_hours=log_hours,
        finished=done | reopened,
        under_way=~done & ~reopened & (hours > 0),
        reopened=reopened,
        fixed=fixed,
        fixed_names=tuple(names),
        fixed_priors=tuple(fixed_priors),
        offset=log_planned + pooled_offset,
        pooled_offset=pooled_offset,
        type_learning=type_learning,
        type_of=type_of,
        log_piece=log_piece,
        unplanned=unplanned,
        pair_of=pair_of,
        pairs=pairs,
        size=np.clip(x, -_LARGEST_SIZE, _LARGEST_SIZE),
        # The spread of a sum of independent pieces falls with the root of their number.
        narrower=0.5 * np.maximum(log_planned - np.log(_SINGLE_HOURS), 0.0),
        block_of=position // block_tasks,
        block_tasks=block_tasks,
        sharable=sharable,
        usual_share=usual,
    )


def _reopened(progress: Progress) -> np.ndarray:
    """(n,) open tasks that an earlier session marked done."""
    sessions = progress.sessions
    once_done = set(sessions.loc[sessions["done"], "task"])
    return (~progress.tasks["done"] & progress.tasks["task"].isin(once_done)).to_numpy(dtype=bool)


def _level_prior(
    log_ratio: np.ndarray, fixed: np.ndarray, fixed_priors: list[Normal], priors: EffortPriors
) -> Normal:
    """Prior of the level, widened until the median ratio so far lies within `_SURELY_OFF` spreads.

    First pieces, repeats and small tasks are off plan for reasons of their own: what the other priors expect
    of the finished tasks is subtracted, and what they leave open is allowed for. A plan in another unit
    widens the prior to about half its error; a slow builder hardly does, because a level free to be anything
    would leave nothing for learning to explain.
    """
    if not len(log_ratio):
        return priors.level
    centre, sd = np.array([(b.centre, b.sd) for b in fixed_priors]).T
    off = abs(float(np.median(log_ratio - fixed @ centre)))
    noise = np.exp(priors.log_spread.centre) ** 2 / len(log_ratio)
    others = ((fixed[:, 1:].mean(axis=0) * sd[1:]) ** 2).sum() + priors.type_level_scale**2 + noise
    own = max((off / _SURELY_OFF) ** 2 - float(others), 0.0)
    return Normal(centre=priors.level.centre, sd=max(float(np.sqrt(own)), priors.level.sd))


def _log_planned(
    tasks: pd.DataFrame, type_of: np.ndarray, types: int, priors: EffortPriors
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) log planned hours, or a stand-in where unknown; (n,) log pieces relative to the type's median.

    The stand-in is what tasks of the type have planned, in proportion to a power of the pieces, which is
    estimated from the planned tasks (within types, pulled to the prior's). Lots far from usual for their type
    have a power of their own, since they may be slips of the type's name. A type without planned tasks takes
    the plan's typical task, and types with few are pulled towards it.
    """
    planned = tasks["planned_hours"].to_numpy(dtype=float)
    log_planned = np.log(np.maximum(planned, _LEAST_HOURS))
    known = ~np.isnan(planned)
    log_pieces = np.log(np.maximum(tasks["quantity"].to_numpy(dtype=float), _LEAST_HOURS))
    usual = np.array([np.median(log_pieces[type_of == k]) if k in type_of else 0.0 for k in range(types)])
    relative = log_pieces - usual[type_of]
    parts = np.column_stack([np.clip(relative, -_FAR_LOT, _FAR_LOT), relative])
    parts[:, 1] -= parts[:, 0]
    typical = float(log_planned[known].mean()) if known.any() else float(np.log(priors.typical_hours))
    kind, x, y = type_of[known], parts[known], log_planned[known] - typical
    slopes = _slopes_within(kind, x, y, types, priors.pieces_slope)
    level = np.bincount(kind, y - x @ slopes, types) / (np.bincount(kind, minlength=types) + _TYPICAL_WORTH)
    stand_in = typical + level[type_of] + parts @ slopes
    return np.where(known, log_planned, stand_in), parts @ slopes / max(float(slopes[0]), _LEAST_SLOPE)


def _slopes_within(kind: np.ndarray, x: np.ndarray, y: np.ndarray, types: int, prior: Normal) -> np.ndarray:
    """Slopes of y on the columns of x within types, each pulled to its prior."""
    one_hot = (kind[:, None] == np.arange(types)).astype(float)
    share = one_hot / np.maximum(one_hot.sum(axis=0), 1)
    x, y = x - one_hot @ (share.T @ x), y - one_hot @ (share.T @ y)
    weight = prior.sd**-2
    # Judgement: planned hours scatter with sd 0.5 around such a line, whose precision is 4.
    precision = 4 * x.T @ x + weight * np.eye(x.shape[1])
    return np.asarray(np.linalg.solve(precision, 4 * x.T @ y + weight * prior.centre))


def _log_piece(
    tasks: pd.DataFrame,
    types: tuple[str, ...],
    type_of: np.ndarray,
    slopes: dict[str, float],
    priors: EffortPriors,
    half_days: float | None,
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) log lot midpoint of each task relative to its type's mean; (n,) that mean, centred over types."""
    before = tasks["pieces_before"].to_numpy(dtype=float)
    if half_days is not None:
        before = _practice(tasks, half_days)
    pieces = np.maximum(tasks["quantity"].to_numpy(dtype=float), _LEAST_HOURS)
    slope = np.array([slopes.get(t, priors.learning.centre) for t in types])[type_of]
    log_mid = np.log(lot_midpoint(before + 1.0, before + pieces, slope)) if len(tasks) else np.empty(0)
    count = np.maximum(np.bincount(type_of, minlength=len(types)), 1)
    centre = np.bincount(type_of, log_mid, minlength=len(types)) / count
    return log_mid - centre[type_of], centre[type_of] - float(centre.mean() if len(centre) else 0.0)


def _practice(tasks: pd.DataFrame, half_days: float) -> np.ndarray:
    """(n,) pieces of the type that still count as practice when each task begins."""
    practice = np.zeros(len(tasks))
    quantity = tasks["quantity"].to_numpy(dtype=float)
    idle = np.nan_to_num(tasks["idle_days"].to_numpy(dtype=float), nan=0.0)
    kinds = tasks["type"].to_numpy()
    after_last: dict[str, float] = {}
    for i in np.argsort(tasks["position"].to_numpy(), kind="stable"):
        practice[i] = pieces_remembered(after_last.get(kinds[i], 0.0), idle[i], half_days=half_days)
        after_last[kinds[i]] = practice[i] + quantity[i]
    return practice


def _pairs(tasks: pd.DataFrame) -> tuple[np.ndarray, int, np.ndarray]:
    """(n,) group of each task and its repeats (-1: none), number of groups, (n,) whether it is a repeat."""
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
    group = np.where(np.isin(first, roots), np.searchsorted(roots, first), -1).astype(np.int64)
    return group, len(roots), is_repeat
