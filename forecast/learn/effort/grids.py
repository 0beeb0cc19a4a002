"""Draws from densities evaluated on a grid of points."""

from __future__ import annotations

import numpy as np


def draw_index(rng: np.random.Generator, log_density: np.ndarray) -> int:
    """One index, with probability in proportion to exp(log_density)."""
    mass = np.exp(log_density - log_density.max()).cumsum()
    return min(int(mass.searchsorted(rng.random() * mass[-1])), len(mass) - 1)


def draw_from_grid(rng: np.random.Generator, log_density: np.ndarray, grid: np.ndarray) -> float:
    """One point of an even grid, then uniform within its cell.

    `log_density` (point,) is per unit of the grid: on a grid of logs, the density of the log.
    """
    step = grid[1] - grid[0]
    return float(grid[draw_index(rng, log_density)] + (rng.random() - 0.5) * step)


def draw_from_grids(rng: np.random.Generator, log_density: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """(row,) one point for each row of `log_density` (row, point), then uniform within its cell."""
    mass = np.cumsum(np.exp(log_density - log_density.max(axis=1, keepdims=True)), axis=1)
    u = rng.random((len(mass), 2))
    at = np.minimum((mass < u[:, :1] * mass[:, -1:]).sum(axis=1), len(grid) - 1)
    return grid[at] + (u[:, 1] - 0.5) * (grid[1] - grid[0])
