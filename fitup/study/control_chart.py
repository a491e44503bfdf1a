"""A control chart of single values in the order of time: individuals, with limits from the moving range.

Names and rules after ISO 7870-2 (Shewhart charts) and the Western Electric handbook of 1956, from memory: a
point beyond three standard deviations, where one is the mean moving range over 1.128; nine points in a row on
one side of the centre line. Largest gaps are skewed: limits are set in their logarithm, which keeps points of
a steady fixture beyond them as rare as they are of a normal distribution (one in 370), and the centre line is
the median, on either side of which half of them lie. By chance nine in a row come about once in 500 parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAST_POINTS", "ControlChart", "control_chart"]

Array64 = NDArray[np.float64]

LEAST_POINTS = 20
"""Below which limits would be too uncertain (common practice, no source)."""

_IN_A_ROW = 9
_SIGMAS = 3.0
# Mean difference of two normal values, in standard deviations: 1.128.
_MEAN_RANGE = 2.0 / math.sqrt(math.pi)
# Closed joints read about zero, whose logarithm is nowhere: readings below a tenth of a millimetre are alike.
_FLOOR_MM = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class ControlChart:
    """One phase of a chart; limits are NaN and there is no signal where there are too few points."""

    centre_mm: float
    lower_mm: float
    upper_mm: float
    beyond: NDArray[np.bool_]
    """(N,) points beyond a limit."""
    in_a_row: NDArray[np.bool_]
    """(N,) points of a run of nine or more on one side of the centre."""


def control_chart(value_mm: Array64) -> ControlChart:
    """The chart of values in the order of time, (N,) without NaN."""
    none = np.zeros(len(value_mm), dtype=bool)
    centre = float(np.median(value_mm)) if len(value_mm) else math.nan
    if len(value_mm) < LEAST_POINTS:
        return ControlChart(
            centre_mm=centre, lower_mm=math.nan, upper_mm=math.nan, beyond=none, in_a_row=none
        )
    scaled = np.log(np.maximum(value_mm, _FLOOR_MM))
    sigma = float(np.mean(np.abs(np.diff(scaled)))) / _MEAN_RANGE
    middle = float(np.mean(scaled))
    low, high = middle - _SIGMAS * sigma, middle + _SIGMAS * sigma
    return ControlChart(
        centre_mm=centre,
        lower_mm=math.exp(low),
        upper_mm=math.exp(high),
        beyond=(scaled < low) | (scaled > high) if sigma > 0 else none,
        in_a_row=_runs(np.sign(value_mm - centre)),
    )


def _runs(side: Array64) -> NDArray[np.bool_]:
    """Members of runs of nine or more of one sign; a value on the centre ends a run."""
    found = np.zeros(len(side), dtype=bool)
    starts = np.flatnonzero(np.append(True, side[1:] != side[:-1])) if len(side) else np.array([], dtype=int)
    for start, end in zip(starts, np.append(starts[1:], len(side)), strict=True):
        if end - start >= _IN_A_ROW and side[start] != 0:
            found[start:end] = True
    return found
