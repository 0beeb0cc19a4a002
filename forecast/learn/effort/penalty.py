"""A belief that pulls the coefficients of a fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Penalty:
    """A Gaussian belief on the coefficients, and one on the log of the scale.

    Attributes
    ----------
    centre : (p,) believed coefficients
    precision : (p, p) inverse covariance of the belief
    log_scale_centre, log_scale_sd : belief on log(scale); an infinite sd is none
    """

    centre: np.ndarray
    precision: np.ndarray
    log_scale_centre: float = 0.0
    log_scale_sd: float = np.inf
