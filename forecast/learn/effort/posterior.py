"""Posterior draws of the effort model by Gibbs sampling.

Given the scales, everything in the mean is one Gaussian block and is drawn exactly. Scales of the
groups of effects are drawn twice per sweep, once given the effects and once given the effects in units
of their scale (interweaving: Yu & Meng, "To center or not to center", J. Comput. Graph. Stat. 20,
2011), which keeps small groups from sticking at zero. Residuals are t-distributed, as a scale mixture of
normals with unknown degrees of freedom; the total of a task under way is drawn above the hours so far.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs
from scipy.special import gammaln
from threadpoolctl import threadpool_limits

from forecast.learn.effort.design import EffortDesign
from forecast.learn.effort.draws import EXCESS, LOG_EXCESS, EffortDraws, OpenEvidence, implausible_totals
from forecast.learn.effort.priors import (
    DRIFT_TASKS,
    SPREADS,
    SPREADS_APART,
    TAIL_DEGREES,
    TAIL_WEIGHTS,
    EffortPriors,
    half_t_log_density,
)
from forecast.learn.effort.regression import Regression, build_regression, fit_penalised

# Grids resolve far less than the posterior's own width (checked by ranks: benchmarks/effort_ranks.md).
# Scales of the groups of effects, in units of their prior's: 1/665 (as good as none) to 5, which the half-t
# prior exceeds with a chance of 1 %.
_LOG_TIMES = np.linspace(-6.5, np.log(5.0), 60)
_TIMES, _HALF_INVERSE = np.exp(_LOG_TIMES), 0.5 * np.exp(-2 * _LOG_TIMES)
_LOG_SPREAD = np.linspace(np.log(SPREADS[0]), np.log(SPREADS[1]), 64)
_VARIANCES = np.exp(2 * _LOG_SPREAD)
_LOG_TYPE_SPREAD = np.linspace(np.log(SPREADS_APART[0]), np.log(SPREADS_APART[1]), 40)
_TYPE_SPREAD = np.exp(_LOG_TYPE_SPREAD)
_HALF_TAIL = (TAIL_DEGREES + 1) / 2
_LOG_TAIL_FACTOR = gammaln(_HALF_TAIL) - gammaln(TAIL_DEGREES / 2) - 0.5 * np.log(TAIL_DEGREES)
# New spreads mean new cross products of all rows, the dearest step of a sweep. With more rows than this, they
# are drawn in every second sweep, every third, and so on.
_ROWS_PER_SPREAD_DRAW = 500
_TOTAL_ABOVE_FLOOR = 0.3  # first guess of a task under way, on the log scale; the first sweep replaces it
_UNPLANNED_SPREAD_SD = 0.3  # half-normal prior: tasks without planned hours scatter up to twice as much


class _Sampler:
    """State of the Markov chain. Rows of the regression: finished tasks first, then those under way."""

    def __init__(
        self,
        regression: Regression,
        start: tuple[np.ndarray, float],
        priors: EffortPriors,
        evidence: OpenEvidence,
        pairs: int,
        rng: np.random.Generator,
    ) -> None:
        r, (effects, spread) = regression, start
        self.rng, self.priors, self.evidence, self.r = rng, priors, evidence, r
        self.x, self.y, self.slices = r.x, r.y.copy(), r.slices
        self.type_of, self.types, self.pairs = r.type_of, len(r.seen), pairs
        self.under_way = slice(len(r.rows) - r.open_count, None)
        self.y[self.under_way] += _TOTAL_ABOVE_FLOOR
        self.prior_scale, self.scale = priors.scales, dict(priors.scales)
        self.log_prior = half_t_log_density(_TIMES, 1.0) + _LOG_TIMES
        size_prior = priors.spread_by_size
        self.size_grid = size_prior.centre + size_prior.sd * np.linspace(-3.5, 3.5, 29)
        self.size_table = np.exp(2 * np.outer(r.size, self.size_grid))
        self.prior_weight = np.ones(len(r.fixed_precision))
        self.length = int(rng.integers(len(DRIFT_TASKS)))
        self.length_log_det = np.linalg.slogdet(r.drift_precision)[1]
        self.mean_spread = float(np.log(spread))
        self.type_spread = priors.type_spread_scale
        self.log_prior_between = half_t_log_density(_TYPE_SPREAD, self.type_spread) + _LOG_TYPE_SPREAD
        self.spread = np.full(self.types, spread)
        self.by_size = size_prior.centre
        self.unplanned_spread = 0.0
        self.tail = 10.0
        self.mix = np.ones(len(r.rows))
        self.pair, self.pair_part = np.zeros(pairs), np.zeros(len(r.rows))
        self.beta = effects.copy()
        self.fit = self.x @ self.beta
        self._weigh()

    # The Gaussian block --------------------------------------------------------------------------

    def _weigh(self) -> None:
        """Weights of the rows, and the cross products that depend on nothing else."""
        self.row_sd = self.spread[self.type_of] * self._spread_factor()
        self.weight = self.mix / self.row_sd**2
        rooted = self.x * np.sqrt(self.weight)[:, None]
        self.cross = rooted.T @ rooted  # one array with itself: BLAS does half the work

    def _spread_factor(self) -> np.ndarray:
        r = self.r
        return np.exp(-self.by_size * r.size + self.unplanned_spread * r.unplanned - r.narrower)

    def draw_effects(self) -> None:
        """All effects of the mean but those of the pairs, in one Gaussian draw."""
        q = self.cross.copy()
        diagonal, drift_precision = self.r.precision(self.scale, self.length)
        diagonal[self.slices["fixed"]] *= self.prior_weight
        right = (self.weight * (self.y - self.pair_part)) @ self.x + diagonal * self.r.centre
        q.flat[:: len(q) + 1] += diagonal
        drift = self.slices["drift"]
        q[drift, drift] += drift_precision
        root, info = dpotrf(q.T, lower=1, clean=0, overwrite_a=1)
        if info:
            raise ArithmeticError(f"The precision of the effects is not positive definite at column {info}.")
        mean = dpotrs(root, right, lower=1)[0]
        noise = dtrtrs(root, self.rng.standard_normal(len(mean)), lower=1, trans=1)[0]
        self.beta = mean + noise
        self.fit = self.x @ self.beta

    def draw_prior_weight(self) -> None:
        """Mixing weight of each t-distributed prior, given the effects."""
        degrees = self.priors.degrees
        if not np.isfinite(degrees):
            return
        off = self.beta[self.slices["fixed"]] - self.r.centre[self.slices["fixed"]]
        half = (degrees + off**2 * self.r.fixed_precision) / 2
        self.prior_weight = self.rng.gamma((degrees + 1) / 2, size=len(off)) / half

    def draw_pairs(self) -> None:
        """Effect shared by the members of each group of repeats."""
        if not self.pairs:
            return
        group = self.r.pair_of + 1  # 0: in no group
        precision = np.bincount(group, self.weight, self.pairs + 1)[1:] + self.scale["pair"] ** -2
        pull = np.bincount(group, self.weight * (self.y - self.fit), self.pairs + 1)[1:]
        self.pair = pull / precision + self.rng.standard_normal(self.pairs) / np.sqrt(precision)
        self.pair_part = np.append(0.0, self.pair)[group]

    # Scales of the groups of effects -------------------------------------------------------------

    def draw_scales(self) -> None:
        """Scale of each group of effects: given the effects, then given the effects in units of it."""
        drawn = self._scales_given_effects()
        residual = self.y - self.fit - self.pair_part
        for name, scale in drawn.items():
            effects = self._effects_of(name)
            if not len(effects):
                self.scale[name] = scale
                continue
            part = self.pair_part if name == "pair" else self.x[:, self.slices[name]] @ effects
            without = residual + part
            weighted = self.weight * part
            ratio = _TIMES * (self.prior_scale[name] / scale)
            given_units = self.log_prior + ratio * (weighted @ without - (0.5 * weighted @ part) * ratio)
            times = np.exp(_draw_from_grid(self.rng, given_units, _LOG_TIMES))
            self.scale[name] = float(self.prior_scale[name] * times)
            residual = without - self._stretch(name, part, self.scale[name] / scale)

    def _scales_given_effects(self) -> dict[str, float]:
        """Scale of each group given its effects; from the prior where the group is empty."""
        names, unit = tuple(self.prior_scale), np.array(list(self.prior_scale.values()))
        count = np.array([len(self._effects_of(name)) for name in names])
        squares = np.array([self._squares_of(name) for name in names]) / unit**2
        log_density = self.log_prior - np.outer(count, _LOG_TIMES) - np.outer(squares, _HALF_INVERSE)
        drawn = unit * np.exp(_draw_from_grids(self.rng, log_density, _LOG_TIMES))
        return dict(zip(names, drawn.tolist(), strict=True))

    def _effects_of(self, name: str) -> np.ndarray:
        return self.pair if name == "pair" else self.beta[self.slices[name]]

    def _squares_of(self, name: str) -> float:
        effects = self._effects_of(name)
        weighted = self.r.drift_precision[self.length] @ effects if name == "drift" else effects
        return float(effects @ weighted)

    def _stretch(self, name: str, part: np.ndarray, times: float) -> np.ndarray:
        """Multiply the effects of a group by `times`; return what they add to each row (row,)."""
        stretched = part * times
        if name == "pair":
            self.pair, self.pair_part = self.pair * times, stretched
        else:
            self.beta[self.slices[name]] *= times
            self.fit = self.fit + (stretched - part)
        return stretched

    def draw_length(self) -> None:
        """Correlation length of the drift."""
        drift = self.beta[self.slices["drift"]]
        squares = np.einsum("i,wij,j->w", drift, self.r.drift_precision, drift)
        log_density = 0.5 * self.length_log_det - 0.5 * squares / self.scale["drift"] ** 2
        self.length = _draw_index(self.rng, log_density)

    # Residuals -----------------------------------------------------------------------------------

    def draw_spreads(self) -> None:
        """Tail, spread of each type, and how the spread changes with size and without a plan."""
        r = self.y - self.fit - self.pair_part
        z2 = (r / self.row_sd) ** 2
        log_density = (
            len(r) * _LOG_TAIL_FACTOR
            - _HALF_TAIL * np.log1p(z2 / TAIL_DEGREES[:, None]).sum(axis=1)
            + np.log(TAIL_WEIGHTS)
        )
        self.tail = float(TAIL_DEGREES[_draw_index(self.rng, log_density)])
        self.mix = self.rng.gamma((self.tail + 1) / 2, size=len(r)) / ((self.tail + z2) / 2)
        r2 = self.mix * r**2
        self._draw_spread(r2 / self._spread_factor() ** 2)
        self._draw_exponents(r2 / (self.spread[self.type_of] * np.exp(-self.r.narrower)) ** 2)

    def _draw_spread(self, r2: np.ndarray) -> None:
        squares = np.bincount(self.type_of, r2, minlength=self.types)
        log_density = (
            -np.outer(self.r.seen, _LOG_SPREAD)
            - np.outer(squares, 0.5 / _VARIANCES)
            - 0.5 * ((_LOG_SPREAD - self.mean_spread) / self.type_spread) ** 2
        )
        log_spread = _draw_from_grids(self.rng, log_density, _LOG_SPREAD)
        self.spread = np.exp(log_spread)
        prior = self.priors.log_spread
        precision = self.types / self.type_spread**2 + prior.sd**-2
        pull = log_spread.sum() / self.type_spread**2 + prior.centre / prior.sd**2
        self.mean_spread = pull / precision + self.rng.standard_normal() / np.sqrt(precision)
        squares_between = float(((log_spread - self.mean_spread) ** 2).sum())
        log_density = self.log_prior_between - self.types * _LOG_TYPE_SPREAD
        log_density = log_density - 0.5 * squares_between / _TYPE_SPREAD**2
        self.type_spread = float(np.exp(_draw_from_grid(self.rng, log_density, _LOG_TYPE_SPREAD)))
        self._stretch_spreads(log_spread, squares)

    def _stretch_spreads(self, log_spread: np.ndarray, squares: np.ndarray) -> None:
        """Redraw the sd between types with the types moving along: the chain then mixes far faster."""
        units = (log_spread - self.mean_spread) / self.type_spread
        moved = self.mean_spread + np.outer(_TYPE_SPREAD, units)
        log_density = self.log_prior_between - moved @ self.r.seen - 0.5 * np.exp(-2 * moved) @ squares
        outside = (moved < _LOG_SPREAD[0]) | (moved > _LOG_SPREAD[-1])
        log_density[outside.any(axis=1)] = -np.inf
        if np.isfinite(log_density).any():
            self.type_spread = float(np.exp(_draw_from_grid(self.rng, log_density, _LOG_TYPE_SPREAD)))
            stretched = self.mean_spread + self.type_spread * units
            self.spread = np.exp(np.clip(stretched, _LOG_SPREAD[0], _LOG_SPREAD[-1]))

    def _draw_exponents(self, r2: np.ndarray) -> None:
        prior, grid = self.priors.spread_by_size, self.size_grid
        base = r2 * np.exp(-2 * self.unplanned_spread * self.r.unplanned)
        log_density = (
            grid * self.r.size.sum()
            - 0.5 * base @ self.size_table
            - 0.5 * ((grid - prior.centre) / prior.sd) ** 2
        )
        self.by_size = _draw_from_grid(self.rng, log_density, grid)
        if self.r.unplanned.any():
            grid = np.linspace(0.0, 1.0, 26)
            base = self.r.unplanned @ (r2 * np.exp(2 * self.by_size * self.r.size))
            log_density = (
                -grid * self.r.unplanned.sum()
                - 0.5 * base * np.exp(-2 * grid)
                - 0.5 * (grid / _UNPLANNED_SPREAD_SD) ** 2
            )
            self.unplanned_spread = abs(_draw_from_grid(self.rng, log_density, grid))

    # Tasks under way -----------------------------------------------------------------------------

    def draw_totals(self) -> None:
        """Totals of the tasks under way, above the hours so far and weighed by their reports."""
        if not self.r.open_count:
            return
        rows = self.under_way
        mean = self.fit[rows] + self.pair_part[rows]
        floor = self.evidence.log_floor - self.r.offset[rows]
        z = (floor[:, None] + EXCESS - mean[:, None]) / self.row_sd[rows, None]
        log_density = -0.5 * z**2 * self.mix[rows, None] + LOG_EXCESS + self.evidence.report_log_density
        log_density[implausible_totals(z)] = -np.inf
        self.y[rows] = floor + np.exp(_draw_from_grids(self.rng, log_density, LOG_EXCESS))

    def snapshot(self) -> dict[str, np.ndarray | float]:
        """One posterior draw; types never worked on get effects from their prior."""
        drift = self.beta[self.slices["drift"]]
        residual = self.y - self.fit - self.pair_part
        return {
            "fixed": self.beta[self.slices["fixed"]].copy(),
            "type_level": self._all_types("level"),
            "type_learning": self._all_types("learning"),
            "type_rate": self._all_types("rate"),
            "pair": self.pair.copy(),
            "drift": drift.copy(),
            "drift_scale": self.scale["drift"],
            "drift_step": float(np.exp(-1.0 / DRIFT_TASKS[self.length])),
            "spread": self.spread.copy(),
            "mean_spread": self.mean_spread,
            "type_spread": self.type_spread,
            "spread_by_size": self.by_size,
            "unplanned_spread": self.unplanned_spread,
            "tail": self.tail,
            "residual": residual / (self.spread[self.type_of] * self._spread_factor()),
            **{f"{name}_scale": self.scale[name] for name in ("level", "learning", "rate", "pair")},
        }

    def _all_types(self, name: str) -> np.ndarray:
        effects = self.scale[name] * self.rng.standard_normal(self.types)
        effects[self.r.types_of[name]] = self.beta[self.slices[name]]
        return effects

    def sweep(self, spreads_too: bool) -> None:
        """Draw every parameter once; the spreads only if `spreads_too`."""
        self.draw_totals()
        self.draw_effects()
        self.draw_prior_weight()
        self.draw_pairs()
        self.draw_scales()
        self.draw_length()
        if spreads_too:
            self.draw_spreads()
            self._weigh()


def draw_posterior(
    design: EffortDesign,
    priors: EffortPriors,
    evidence: OpenEvidence,
    rng: np.random.Generator,
    *,
    draws: int = 400,
    warm_up: int = 150,
) -> EffortDraws:
    """Posterior draws of all parameters, given the hours of the tasks so far.

    Parameters
    ----------
    design : arrays of all tasks
    priors : priors of the parameters
    evidence : floors and reports of the tasks under way, in the order of the design
    rng : source of all randomness
    draws, warm_up : sweeps kept, and sweeps discarded before them
    """
    regression = build_regression(design)
    chain = _Sampler(regression, fit_penalised(regression, priors), priors, evidence, design.pairs, rng)
    every = max(1, len(regression.rows) // _ROWS_PER_SPREAD_DRAW)
    snapshots = []
    # The matrices are small: threads would wait for each other, for minutes where cores are busy.
    with threadpool_limits(limits=1, user_api="blas"):
        for sweep in range(warm_up + draws):
            chain.sweep(spreads_too=sweep % every == 0)
            if sweep >= warm_up:
                snapshots.append(chain.snapshot())
    columns = {name: np.array([one[name] for one in snapshots]) for name in snapshots[0]}
    scales = {name: columns.pop(f"{name}_scale") for name in ("level", "learning", "rate", "pair")}
    return EffortDraws(**columns, rows=regression.rows, scales=scales)


# Draws from densities evaluated on a grid of points ---------------------------------------------


def _draw_index(rng: np.random.Generator, log_density: np.ndarray) -> int:
    """One index, with probability in proportion to exp(log_density)."""
    mass = np.exp(log_density - log_density.max()).cumsum()
    return min(int(mass.searchsorted(rng.random() * mass[-1])), len(mass) - 1)


def _draw_from_grid(rng: np.random.Generator, log_density: np.ndarray, grid: np.ndarray) -> float:
    """One point of an even grid, then uniform within its cell.

    `log_density` (point,) is per unit of the grid: on a grid of logs, the density of the log.
    """
    step = grid[1] - grid[0]
    return float(grid[_draw_index(rng, log_density)] + (rng.random() - 0.5) * step)


def _draw_from_grids(rng: np.random.Generator, log_density: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """(row,) one point for each row of `log_density` (row, point), then uniform within its cell."""
    mass = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
    u = rng.random((len(mass), 2))
    at = np.minimum((mass < u[:, :1] * mass[:, -1:]).sum(axis=1), len(grid) - 1)
    return grid[at] + (u[:, 1] - 0.5) * (grid[1] - grid[0])
