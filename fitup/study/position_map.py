"""The gap along a joint over many parts: where it is seen, open, and how wide it usually is.

A part is *open* at a position where its gap is over the limit with the probability that ISO 14253-1 asks for
(gap − 1.645 u > limit), *closed* where it is within likewise, *doubtful* between; where it was not seen it is
none of them and counts nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from fitup.evidence.archive.profile_reading import UNSEEN_UM
from fitup.study.recurring_parts import Parts

__all__ = [
    "PROBABILITY",
    "PositionMap",
    "SeenOpen",
    "position_map",
    "quarters",
    "row_blocks",
    "seen_and_open",
]

Array64 = NDArray[np.float64]

PROBABILITY = 0.95
"""That a part is over the limit where it is called open (the default of ISO 14253-1:2017)."""

_K = NormalDist().inv_cdf(PROBABILITY)
# Interquartile range of a normal distribution, in standard deviations.
_QUARTILES_SD = 2 * NormalDist().inv_cdf(0.75)
_ROWS_AT_ONCE = 1024
_COLUMNS_AT_ONCE = 64


@dataclass(frozen=True, kw_only=True, eq=False)
class SeenOpen:
    """(N, P) by part and position."""

    seen: NDArray[np.bool_]
    open: NDArray[np.bool_]

    def of(self, rows: slice) -> SeenOpen:
        """The same of parts that follow each other."""
        return SeenOpen(seen=self.seen[rows], open=self.open[rows])


@dataclass(frozen=True, kw_only=True, eq=False)
class PositionMap:
    """(P,) by position: how many parts were seen there, open, doubtful; the gap's median and spread."""

    position_mm: Array64
    seen: NDArray[np.int64]
    open: NDArray[np.int64]
    doubtful: NDArray[np.int64]
    median_mm: Array64
    """Median of the gap over the parts seen; NaN where none was."""
    low_mm: Array64
    high_mm: Array64
    """The quarters of the gap: a quarter of the parts is below the one, a quarter above the other."""
    spread_mm: Array64
    """Robust standard deviation: distance of the quarters over 1.349, which a few bad parts do not change."""


def seen_and_open(parts: Parts, limit_um: float) -> SeenOpen:
    """Which parts were seen, and open, at which position."""
    seen = parts.gap_um != UNSEEN_UM
    opened = np.zeros(seen.shape, dtype=bool)
    for rows in row_blocks(len(parts)):
        gap, u = parts.gap_um[rows].astype(np.float32), parts.u_um[rows].astype(np.float32)
        opened[rows] = (gap - np.float32(_K) * u > limit_um) & seen[rows]
    return SeenOpen(seen=seen, open=opened)


def position_map(parts: Parts, state: SeenOpen, limit_um: float) -> PositionMap:
    """The map by position; quarters and median by linear interpolation between neighbouring values."""
    seen, opened = state.seen.sum(axis=0), state.open.sum(axis=0)
    within = np.zeros(len(parts.position_mm), dtype=np.int64)
    for rows in row_blocks(len(parts)):
        gap, u = parts.gap_um[rows].astype(np.float32), parts.u_um[rows].astype(np.float32)
        within += ((gap + np.float32(_K) * u <= limit_um) & state.seen[rows]).sum(axis=0)
    low, median, high = quarters(parts.gap_um, seen)
    return PositionMap(
        position_mm=parts.position_mm,
        seen=seen,
        open=opened,
        doubtful=seen - opened - within,
        median_mm=median,
        low_mm=low,
        high_mm=high,
        spread_mm=(high - low) / _QUARTILES_SD,
    )


def quarters(gap_um: NDArray[np.uint16], seen: NDArray[np.int64]) -> Array64:
    """(3, P) quarters and median [mm]; unseen ones sort behind all others."""
    found = np.full((3, gap_um.shape[1]), np.nan)
    for columns in row_blocks(gap_um.shape[1], _COLUMNS_AT_ONCE):
        in_order = np.sort(np.ascontiguousarray(gap_um[:, columns].T), axis=1)
        count = seen[columns]
        some = count > 0
        for index, share in enumerate((0.25, 0.5, 0.75)):
            place = share * np.maximum(count - 1, 0)
            below = np.floor(place).astype(np.int64)
            above = np.minimum(below + 1, np.maximum(count - 1, 0))
            lower, upper = (
                np.take_along_axis(in_order, at[:, None], axis=1)[:, 0].astype(float)
                if len(gap_um)
                else place
                for at in (below, above)
            )
            value = lower + (place - below) * (upper - lower)
            found[index, columns] = np.where(some, value / 1000.0, np.nan)
    return found


def row_blocks(count: int, size: int = _ROWS_AT_ONCE) -> list[slice]:
    """Slices of so many at once: what fits into the processor's cache is quicker."""
    return [slice(start, min(start + size, count)) for start in range(0, count, size)]
