"""Two photos of one stretch: do their gaps agree within what both state?

Block means of the difference D are compared with their covariance V (JCGM 100:2008, 5.2): what is random
from station to station averages within a block; a common influence shifts all blocks of a photo together
and is a column of its own; what both photos share (the print, the sheet's arrises) cancels but for the
difference. Without disagreement D' V⁻¹ D follows chi-square with as many degrees of freedom as blocks. A
photo that is off as a whole hides among so many, so that the mean difference is looked at by itself too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Overlap", "chi_square_bound", "compare", "is_shared"]

Array64 = NDArray[np.float64]

BLOCK = 6  # stations, 3 mm: the shortest opening that must be told
LEAST_STATIONS = 6
CORRELATED = 4.0  # stations that steadying and grain make err alike
FLOOR_MM = 0.01  # what the budgets do not know of two looks at one edge
SIGNIFICANCE_Z = 3.72  # one in ten thousand, of the normal distribution
MEAN_SIGMAS = 3.89  # the same, to either side
DISAGREE_SIGMAS = 3.0  # and the worst block must miss by this many of its whole uncertainty


@dataclass(frozen=True, kw_only=True)
class Overlap:
    """Photos `first` and `second` compared over the stations that both saw.

    start_mm, end_mm bound the overlap; worst_start_mm, worst_end_mm the stretch that disagrees most, with
    both mean gaps there. chi_square belongs to `blocks` degrees of freedom.
    """

    first: int
    second: int
    start_mm: float
    end_mm: float
    stations: int
    mean_difference_mm: float
    u_mean_difference_mm: float
    chi_square: float
    blocks: int
    worst_start_mm: float
    worst_end_mm: float
    worst_first_mm: float
    worst_second_mm: float
    worst_sigmas: float

    @property
    def agrees(self) -> bool:
        """Whether the two photos may show the same joint."""
        if abs(self.mean_difference_mm) > MEAN_SIGMAS * self.u_mean_difference_mm:
            return False
        return self.chi_square <= chi_square_bound(self.blocks) or self.worst_sigmas <= DISAGREE_SIGMAS


def is_shared(name: str) -> bool:
    """Whether an influence errs alike in all photos of one joint beside strips of one print."""
    return name in ("arris radius", "scale: print", "scale: thickness")


def compare(
    photos: tuple[int, int],
    station_mm: Array64,
    gap_mm: Array64,
    influences: Mapping[str, tuple[bool, Array64]],
    u_place_mm: float,
) -> Overlap | None:
    """Compare two photos; None where they have too little in common.

    Parameters
    ----------
    photos : numbers of both, for the result
    station_mm : (N,) stations; gap_mm : (2, N) gap in each photo, NaN where unseen
    influences : name to (common, (2, N) standard uncertainties [mm])
    u_place_mm : how far the photos may be shifted along the joint, which counts where the gap changes
    """
    both = np.isfinite(gap_mm).all(axis=0)
    if both.sum() < LEAST_STATIONS:
        return None
    block = _blocks(np.flatnonzero(both))
    mean = _mean_over(block)
    difference = (gap_mm[1] - gap_mm[0])[both]
    slope = np.gradient(_filled(gap_mm[0]))[both] / max(float(np.median(np.diff(station_mm))), 1e-9)
    random2, columns = _split({n: (c, u[:, both]) for n, (c, u) in influences.items()}, mean)
    columns = np.column_stack([columns, mean @ slope * u_place_mm])
    covariance = np.diag(random2) + columns @ columns.T
    D = mean @ difference
    chi2 = float(D @ np.linalg.solve(covariance, D))
    sigmas = np.abs(D) / np.sqrt(np.diag(covariance))
    first, last = _worst_run(D, sigmas)
    there = np.flatnonzero(both)[(block >= first) & (block <= last)]
    at = station_mm[both]
    half = float(np.median(np.diff(station_mm))) / 2
    share = np.bincount(block) / len(block)
    return Overlap(
        first=photos[0],
        second=photos[1],
        start_mm=float(at[0]) - half,
        end_mm=float(at[-1]) + half,
        stations=int(both.sum()),
        mean_difference_mm=float(difference.mean()),
        u_mean_difference_mm=float(np.sqrt(share @ covariance @ share)),
        chi_square=chi2,
        blocks=len(D),
        worst_start_mm=float(station_mm[there[0]]) - half,
        worst_end_mm=float(station_mm[there[-1]]) + half,
        worst_first_mm=float(gap_mm[0, there].mean()),
        worst_second_mm=float(gap_mm[1, there].mean()),
        worst_sigmas=float(sigmas.max()),
    )


def chi_square_bound(freedom: int, z: float = SIGNIFICANCE_Z) -> float:
    """Quantile of chi-square by the cube-root approximation of Wilson and Hilferty (1931)."""
    share = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - share + z * np.sqrt(share)) ** 3)


def _blocks(index: NDArray[np.intp]) -> NDArray[np.intp]:
    """(M,) number of the block of each station that both saw; blocks do not reach over holes."""
    breaks = np.concatenate([[0], np.cumsum(np.diff(index) > 1)])
    labels = np.zeros(len(index), dtype=np.intp)
    number = 0
    for run in range(int(breaks[-1]) + 1):
        of_run = np.flatnonzero(breaks == run)
        count = max(len(of_run) // BLOCK, 1)
        labels[of_run] = number + np.minimum(np.arange(len(of_run)) // BLOCK, count - 1)
        number += count
    return labels


def _mean_over(block: NDArray[np.intp]) -> Array64:
    """(B, M) matrix that takes values of stations to means of blocks."""
    member = (np.arange(block.max() + 1)[:, None] == block).astype(np.float64)
    return np.asarray(member / member.sum(axis=1, keepdims=True))


def _split(influences: Mapping[str, tuple[bool, Array64]], mean: Array64) -> tuple[Array64, Array64]:
    """Variance (B,) of what is random from block to block, and columns (B, P) of what is common."""
    count = (mean > 0).sum(axis=1)
    random2 = np.full(len(mean), FLOOR_MM**2)
    columns = []
    for name, (common, u) in influences.items():
        if not common:
            # Noise averages over the stations of a block; a floor or a cut face is the same all over it.
            fewer = np.minimum(CORRELATED / count, 1.0) if name.startswith("noise") else 1.0
            random2 = random2 + mean @ (u**2).sum(axis=0) * fewer
        elif is_shared(name):
            columns.append(mean @ (u[1] - u[0]))
        else:
            columns += [mean @ u[0], mean @ u[1]]
    return random2, np.stack(columns, axis=1) if columns else np.zeros((len(mean), 0))


def _worst_run(difference: Array64, sigmas: Array64) -> tuple[int, int]:
    """First and last block of the stretch about the worst one that is off to the same side."""
    worst = int(np.argmax(sigmas))
    same = (np.sign(difference) == np.sign(difference[worst])) & (sigmas > DISAGREE_SIGMAS / 2)
    same[worst] = True
    first = last = worst
    while first > 0 and same[first - 1]:
        first -= 1
    while last < len(same) - 1 and same[last + 1]:
        last += 1
    return first, last


def _filled(values: Array64) -> Array64:
    """Gaps bridged, for a slope at the seen stations beside them."""
    seen = np.isfinite(values)
    index = np.arange(len(values))
    return np.asarray(np.interp(index, index[seen], values[seen]))
