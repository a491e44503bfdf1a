"""Is the calibration still good? Check references measured later, against control limits.

NIST/SEMATECH e-Handbook, 2.3.7 (instrument control for linear calibration), from memory: a reading turned
into a value by the line may differ from its reference by t · s / slope, t for as many check references as are
read at a time, so that all of them together raise a false alarm in one of twenty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.errors import UsageError
from fitup.study.linearity import StraightFit
from fitup.study.quantiles import t_quantile

__all__ = ["CalibrationControl", "control_of"]


@dataclass(frozen=True, kw_only=True, eq=False)
class CalibrationControl:
    """Check readings after correction by the line, less their references."""

    reference: NDArray[np.float64]
    deviation: NDArray[np.float64]
    limit: float
    """Control limit, on both sides of 0."""

    @property
    def out(self) -> NDArray[np.bool_]:
        """(N,) True where the calibration no longer holds."""
        return np.asarray(np.abs(self.deviation) > self.limit)


def control_of(
    fit: StraightFit, reference: ArrayLike, reading: ArrayLike, *, together: int = 0, alpha: float = 0.05
) -> CalibrationControl:
    """Compare check readings (N,) with a calibration.

    Parameters
    ----------
    together : check references that are read at a time; as many as there are different ones if 0
    alpha : chance of a false alarm of all these together

    Raises UsageError for readings without reference, or outside the range of the calibration.
    """
    x, y = np.asarray(reference, dtype=np.float64), np.asarray(reading, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape or not len(x):
        raise UsageError("every check reading needs a reference.")
    if x.min() < fit.line.low or x.max() > fit.line.high:
        raise UsageError(
            "check references must lie in the range of the calibration, "
            f"{fit.line.low:g} to {fit.line.high:g} mm."
        )
    m = together or len(np.unique(x))
    t = t_quantile(1.0 - alpha / (2 * m), fit.residual.df)
    return CalibrationControl(reference=x, deviation=fit.line.value(y) - x, limit=t * fit.s / fit.line.slope)
