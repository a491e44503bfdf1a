"""A straight line where both axes have uncertainties.

York, Evensen, López Martínez and De Basabe Delgado, "Unified equations for the slope, intercept, and standard
errors of the best straight line", American Journal of Physics 72 (2004) 367-375, errors without correlation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import UsageError
from fitup.study.linearity import Straight, symmetric
from fitup.study.quantiles import chi2_tail

__all__ = ["YorkFit", "york_line"]

_STEPS = 500
_CLOSE = 1e-14


@dataclass(frozen=True, kw_only=True, eq=False)
class YorkFit:
    """The line with standard uncertainties as the stated ones make them, and how well the points agree."""

    line: Straight
    chi2: float
    df: int

    @property
    def p(self) -> float:
        """Probability of at least that chi-square where the stated uncertainties are right."""
        return chi2_tail(self.chi2, self.df) if self.df else math.nan

    @property
    def widened(self) -> Straight:
        """The line with its covariance widened by how much more the points scatter than stated (Birge)."""
        factor = max(self.chi2 / self.df, 1.0) if self.df else 1.0
        (aa, ab), (_, bb) = self.line.covariance
        return Straight(
            intercept=self.line.intercept,
            slope=self.line.slope,
            covariance=symmetric(factor * aa, factor * ab, factor * bb),
            low=self.line.low,
            high=self.line.high,
        )


def york_line(x: ArrayLike, y: ArrayLike, u_x: ArrayLike, u_y: ArrayLike) -> YorkFit:
    """Fit y = intercept + slope × x with standard uncertainties of both, all (N,), N >= 2.

    Raises
    ------
    UsageError
        For fewer points, an uncertainty that is not positive, or points that fix no line.
    """
    X, Y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    sx = np.broadcast_to(np.asarray(u_x, dtype=np.float64), X.shape)
    sy = np.broadcast_to(np.asarray(u_y, dtype=np.float64), Y.shape)
    _check(X, Y, sx, sy)
    wx, wy = sx**-2.0, sy**-2.0
    slope = _start(X, Y)
    for _ in range(_STEPS):
        before = slope
        W, beta = _weights(X, Y, wx, wy, slope)
        U, V = X - _mean(W, X), Y - _mean(W, Y)
        below = float((W * beta * U).sum())
        if below == 0:
            raise UsageError("the points fix no straight line: take references further apart.")
        slope = float((W * beta * V).sum()) / below
        if abs(slope - before) <= _CLOSE * abs(slope):
            break
    W, beta = _weights(X, Y, wx, wy, slope)
    intercept = _mean(W, Y) - slope * _mean(W, X)
    adjusted = _mean(W, X) + beta
    centre = _mean(W, adjusted)
    var_slope = 1.0 / float((W * (adjusted - centre) ** 2).sum())
    var_intercept = 1.0 / float(W.sum()) + centre**2 * var_slope
    return YorkFit(
        line=Straight(
            intercept=intercept,
            slope=slope,
            covariance=symmetric(var_intercept, -centre * var_slope, var_slope),
            low=float(X.min()),
            high=float(X.max()),
        ),
        chi2=float((W * (Y - slope * X - intercept) ** 2).sum()),
        df=len(X) - 2,
    )


def _weights(
    X: NDArray[np.float64],
    Y: NDArray[np.float64],
    wx: NDArray[np.float64],
    wy: NDArray[np.float64],
    slope: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weights W and the shifts beta of the paper's equations, at a slope."""
    W = wx * wy / (wx + slope**2 * wy)
    U, V = X - _mean(W, X), Y - _mean(W, Y)
    return W, W * (U / wy + slope * V / wx)


def _mean(W: NDArray[np.float64], values: NDArray[np.float64]) -> float:
    return float((W * values).sum() / W.sum())


def _start(X: NDArray[np.float64], Y: NDArray[np.float64]) -> float:
    dx = X - X.mean()
    return float((dx * (Y - Y.mean())).sum() / (dx**2).sum())


def _check(
    X: NDArray[np.float64], Y: NDArray[np.float64], sx: NDArray[np.float64], sy: NDArray[np.float64]
) -> None:
    if X.ndim != 1 or X.shape != Y.shape or len(X) < 2 or np.ptp(X) == 0:
        raise UsageError("a straight line needs two points at least, at different places.")
    if not all(np.all(np.isfinite(one)) for one in (X, Y, sx, sy)):
        raise UsageError("points and their uncertainties must be finite numbers.")
    if not (np.all(sx > 0) and np.all(sy > 0)):
        raise UsageError("every point needs a standard uncertainty above zero on both axes.")
