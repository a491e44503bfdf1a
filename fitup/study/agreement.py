"""Agreement of two instruments on the same gaps.

Bland and Altman, "Statistical methods for assessing agreement between two methods of clinical measurement",
Lancet 1986; i: 307-310: the differences and their mean, never the correlation, which says how far the gaps
differ from each other. Intervals of the limits by the standard error of that paper, root of 3 s²/n.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import UsageError
from fitup.study.linearity import fit_line
from fitup.study.quantiles import t_quantile

__all__ = ["Agreement", "agreement", "repeatability_coefficient"]

_FACTOR = 1.96
_LEAST_PAIRS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Agreement:
    """First less second instrument, of pairs; intervals of 95 %."""

    mean: NDArray[np.float64]
    """(N,) mean of every pair."""
    difference: NDArray[np.float64]
    """(N,) first less second."""
    bias: float
    sd: float
    factor: float
    """Standard deviations from the mean to the limits."""
    trend_slope: float
    """How the difference changes with the size of the gap."""
    trend_p: float
    """Probability of at least such a slope by chance; NaN for fewer than four pairs."""

    @property
    def count(self) -> int:
        """Number of pairs."""
        return len(self.difference)

    @property
    def limits(self) -> tuple[float, float]:
        """Limits of agreement: between them lie some 95 % of the differences."""
        return self.bias - self.factor * self.sd, self.bias + self.factor * self.sd

    @property
    def bias_interval(self) -> tuple[float, float]:
        """Interval of the mean difference."""
        half = self._t * self.sd / math.sqrt(self.count)
        return self.bias - half, self.bias + half

    @property
    def lower_interval(self) -> tuple[float, float]:
        """Interval of the lower limit."""
        return self._around(self.limits[0])

    @property
    def upper_interval(self) -> tuple[float, float]:
        """Interval of the upper limit."""
        return self._around(self.limits[1])

    @property
    def _t(self) -> float:
        return t_quantile(0.975, self.count - 1)

    def _around(self, limit: float) -> tuple[float, float]:
        half = self._t * math.sqrt(3.0 / self.count) * self.sd
        return limit - half, limit + half


def agreement(first: ArrayLike, second: ArrayLike, factor: float = _FACTOR) -> Agreement:
    """Compare two instruments by pairs (N,), N >= 3: each a gap measured once by both.

    Raises UsageError for fewer pairs, or values that are no numbers.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape or len(a) < _LEAST_PAIRS:
        raise UsageError(f"agreement needs {_LEAST_PAIRS} gaps at least, each measured by both.")
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise UsageError("readings must be finite numbers.")
    difference, mean = a - b, (a + b) / 2.0
    slope, p = _trend(mean, difference)
    return Agreement(
        mean=mean,
        difference=difference,
        bias=float(difference.mean()),
        sd=float(difference.std(ddof=1)),
        factor=factor,
        trend_slope=slope,
        trend_p=p,
    )


def repeatability_coefficient(first: ArrayLike, second: ArrayLike) -> float:
    """Twice the standard deviation of the differences of repeated readings, whose mean counts as 0."""
    d = np.asarray(first, dtype=np.float64) - np.asarray(second, dtype=np.float64)
    return 2.0 * math.sqrt(float((d**2).mean()))


def _trend(mean: NDArray[np.float64], difference: NDArray[np.float64]) -> tuple[float, float]:
    if len(mean) < 4 or np.ptp(mean) == 0:
        return math.nan, math.nan
    # The slope of (difference + mean) on mean, less 1: the line's own check wants readings that rise.
    lift = 1.0 + abs(float(np.polynomial.polynomial.polyfit(mean, difference, 1)[1]))
    fit = fit_line(mean, difference + lift * mean)
    slope = fit.line.slope - lift
    from fitup.study.quantiles import t_tail

    u = fit.line.u_slope
    t = slope / u if u else (math.inf if slope else 0.0)
    return slope, t_tail(t, fit.residual.df)
