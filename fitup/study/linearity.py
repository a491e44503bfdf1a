"""Bias and linearity against references: the straight line reading = intercept + slope × reference.

Least squares after ISO 11095 and ISO 22514-7 (A.1), with pure error and lack of fit where references were
read again and again; the uncertainty of values that are read off the line the other way as in the
NIST/SEMATECH e-Handbook, 2.3.6.7 (calibration of an optical system for line widths).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import UsageError
from fitup.study.anova import AnovaRow, one_way
from fitup.study.quantiles import f_quantile, f_tail, t_quantile, t_tail

__all__ = ["ReferenceBias", "Straight", "StraightFit", "fit_line", "symmetric"]

_LEAST_SPREAD = 1e-9


@dataclass(frozen=True, kw_only=True)
class Straight:
    """A straight line with the covariance of its two numbers: what a correction rests on."""

    intercept: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    """Of intercept and slope."""
    low: float
    """Smallest reference."""
    high: float
    """Largest reference."""

    @property
    def u_intercept(self) -> float:
        """Standard uncertainty of the intercept."""
        return math.sqrt(self.covariance[0][0])

    @property
    def u_slope(self) -> float:
        """Standard uncertainty of the slope."""
        return math.sqrt(self.covariance[1][1])

    def bias(self, reference: ArrayLike) -> NDArray[np.float64]:
        """Reading less reference, as the line has it."""
        x = np.asarray(reference, dtype=np.float64)
        return np.asarray(self.intercept + (self.slope - 1.0) * x)

    def u_line(self, reference: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of the line at a reference."""
        x = np.asarray(reference, dtype=np.float64)
        (aa, ab), (_, bb) = self.covariance
        return np.asarray(np.sqrt(np.maximum(aa + 2.0 * ab * x + bb * x**2, 0.0)))

    def value(self, reading: ArrayLike) -> NDArray[np.float64]:
        """The reference that a reading belongs to."""
        return np.asarray((np.asarray(reading, dtype=np.float64) - self.intercept) / self.slope)

    def u_value(self, reading: ArrayLike, u_reading: float = 0.0) -> NDArray[np.float64]:
        """Standard uncertainty of that, by propagation: the line's own and that of the reading."""
        return np.asarray(np.hypot(self.u_line(self.value(reading)), u_reading) / abs(self.slope))


@dataclass(frozen=True, kw_only=True)
class ReferenceBias:
    """Mean reading less reference, at one reference."""

    reference: float
    count: int
    bias: float
    sd: float
    """Standard deviation of the readings; NaN for a single one."""
    low: float
    """95 % interval of the bias by these readings alone; NaN for a single one."""
    high: float


@dataclass(frozen=True, kw_only=True, eq=False)
class StraightFit:
    """A line fitted by least squares, with its analysis of variance."""

    line: Straight
    reference: NDArray[np.float64]
    reading: NDArray[np.float64]
    residual: AnovaRow
    pure_error: AnovaRow | None
    """Repeats of one reference about their mean; None where no reference was read twice."""
    lack_of_fit: AnovaRow | None
    """Means of references about the line; None where there is no pure error, or two references only."""
    r2_bias: float
    """Share of the bias' variation that the line explains."""
    biases: tuple[ReferenceBias, ...]

    @property
    def s(self) -> float:
        """Residual standard deviation."""
        return math.sqrt(self.residual.ms)

    @property
    def f_lack(self) -> float:
        """F of lack of fit over pure error; NaN where there is none."""
        if self.lack_of_fit is None or self.pure_error is None:
            return math.nan
        return self.lack_of_fit.over(self.pure_error)[0]

    @property
    def p_lack(self) -> float:
        """Probability of at least that F where the line holds; NaN where there is none."""
        if self.lack_of_fit is None or self.pure_error is None:
            return math.nan
        return self.lack_of_fit.over(self.pure_error)[1]

    @property
    def f_lack_critical(self) -> float:
        """F above which the line does not hold, at 5 %."""
        if self.lack_of_fit is None or self.pure_error is None:
            return math.nan
        return f_quantile(0.95, self.lack_of_fit.df, self.pure_error.df)

    @property
    def u_linearity(self) -> float:
        """u_LIN of ISO 22514-7: root mean square of lack of fit; NaN where there is none."""
        return math.nan if self.lack_of_fit is None else math.sqrt(self.lack_of_fit.ms)

    @property
    def u_repeat(self) -> float:
        """u_EVR of ISO 22514-7: root mean square of pure error; NaN where there is none."""
        return math.nan if self.pure_error is None else math.sqrt(self.pure_error.ms)

    @property
    def mean_bias(self) -> float:
        """Mean of all readings less their references."""
        return float((self.reading - self.reference).mean())

    @property
    def t_slope(self) -> float:
        """t of slope less 1: does the bias change along the range?"""
        return _t(self.line.slope - 1.0, self.line.u_slope)

    @property
    def p_slope(self) -> float:
        """Probability of at least that |t| where it does not."""
        return t_tail(self.t_slope, self.residual.df)

    @property
    def p_none(self) -> float:
        """Probability of at least such a line where there is no bias at all: intercept 0 and slope 1."""
        without = float(((self.reading - self.reference) ** 2).sum())
        gain = max(without - self.residual.ss, 0.0) / 2.0
        ratio = gain / self.residual.ms if self.residual.ms else (math.inf if gain else 0.0)
        return f_tail(ratio, 2, self.residual.df)


def fit_line(reference: ArrayLike, reading: ArrayLike) -> StraightFit:
    """Fit reading = intercept + slope × reference by least squares; references count as exact.

    Parameters
    ----------
    reference, reading : (N,) of one unit; N >= 3, at least two different references

    Raises
    ------
    UsageError
        For fewer, for values that are no numbers, or a line that does not rise.
    """
    x, y = _checked(reference, reading)
    centre = x.mean()
    dx = x - centre
    sxx = float((dx**2).sum())
    slope = float((dx * (y - y.mean())).sum() / sxx)
    if slope <= 0:
        raise UsageError("the readings do not rise with their references: are the columns the right ones?")
    middle = float(y.mean())
    residuals = y - middle - slope * dx
    df = len(x) - 2
    residual = AnovaRow(source="residual", ss=float((residuals**2).sum()), df=df)
    var_slope = residual.ms / sxx
    var_intercept = residual.ms / len(x) + centre**2 * var_slope
    line = Straight(
        intercept=float(middle - slope * centre),
        slope=slope,
        covariance=symmetric(var_intercept, -centre * var_slope, var_slope),
        low=float(x.min()),
        high=float(x.max()),
    )
    groups = _groups(x, y)
    pure, lack = _parts(groups, residual)
    bias = y - x
    spread = float(((bias - bias.mean()) ** 2).sum())
    return StraightFit(
        line=line,
        reference=x,
        reading=y,
        residual=residual,
        pure_error=pure,
        lack_of_fit=lack,
        r2_bias=1.0 - residual.ss / spread if spread else math.nan,
        biases=tuple(_bias(at, readings) for at, readings in groups),
    )


def symmetric(first: float, both: float, second: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """A 2 × 2 covariance of plain numbers."""
    return (float(first), float(both)), (float(both), float(second))


def _checked(reference: ArrayLike, reading: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.asarray(reference, dtype=np.float64), np.asarray(reading, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1:
        raise UsageError("every reading needs a reference.")
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise UsageError("references and readings must be finite numbers.")
    if len(x) < 3 or np.ptp(x) <= _LEAST_SPREAD * max(1.0, float(np.abs(x).max(initial=0.0))):
        raise UsageError(
            "a bias study needs three readings at least, of two different references; five references over "
            "the range of gaps, each read ten times, are usual."
        )
    return x, y


def _groups(x: NDArray[np.float64], y: NDArray[np.float64]) -> Sequence[tuple[float, NDArray[np.float64]]]:
    return [(float(at), y[x == at]) for at in np.unique(x)]


def _parts(
    groups: Sequence[tuple[float, NDArray[np.float64]]], residual: AnovaRow
) -> tuple[AnovaRow | None, AnovaRow | None]:
    """The residual sum of squares parted into pure error and lack of fit."""
    if all(len(readings) < 2 for _, readings in groups):
        return None, None
    within = one_way([readings for _, readings in groups]).within
    pure = AnovaRow(source="pure error", ss=within.ss, df=within.df)
    if len(groups) < 3:
        return pure, None
    ss = max(residual.ss - pure.ss, 0.0)
    return pure, AnovaRow(source="lack of fit", ss=ss, df=len(groups) - 2)


def _bias(at: float, readings: NDArray[np.float64]) -> ReferenceBias:
    count, bias = len(readings), float((readings - at).mean())
    sd = float(readings.std(ddof=1)) if count > 1 else math.nan
    half = t_quantile(0.975, count - 1) * sd / math.sqrt(count) if count > 1 else math.nan
    return ReferenceBias(reference=at, count=count, bias=bias, sd=sd, low=bias - half, high=bias + half)


def _t(value: float, u: float) -> float:
    if u > 0:
        return value / u
    return math.copysign(math.inf, value) if value else 0.0
