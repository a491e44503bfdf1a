"""Two groups, or a series in time, compared by ranks: for any distribution, and a few bad parts do not rule.

Sources (from memory): Brunner, Munzel: Biometrical Journal 42 (2000); Pettitt: Applied Statistics 28 (1979).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.study.quantiles import t_quantile, t_tail
from fitup.study.recurring_shares import CONFIDENCE

__all__ = ["Cut", "SmallerShare", "mid_ranks", "smaller_share", "strongest_cut"]

Array64 = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SmallerShare:
    """How often the second of two groups is the smaller: of all pairs, ties by half; its 95 % interval."""

    share: float
    low: float
    high: float
    probability: float
    """Of a share as far from one half, by chance alone."""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """Where a series changes most: `index` is the first after it."""

    index: int
    probability: float
    """Of as strong a change anywhere in the series, by chance alone."""


def smaller_share(first: Array64, second: Array64) -> SmallerShare:
    """Compare two groups by the test of Brunner and Munzel, which lets their spreads differ.

    Both groups need two members at least.
    """
    n, m = len(first), len(second)
    both = mid_ranks(np.concatenate([first, second]))
    share = (float(np.mean(both[:n])) - (n + 1) / 2) / m
    within_1 = both[:n] - mid_ranks(first)
    within_2 = both[n:] - mid_ranks(second)
    var_1, var_2 = float(np.var(within_1, ddof=1)) / (n * m**2), float(np.var(within_2, ddof=1)) / (m * n**2)
    error = math.sqrt(var_1 + var_2)
    if error == 0.0:  # the groups do not overlap at all, or all are alike
        return SmallerShare(share=share, low=share, high=share, probability=_apart(share, n, m))
    freedom = (var_1 + var_2) ** 2 / (var_1**2 / (n - 1) + var_2**2 / (m - 1))
    reach = t_quantile(0.5 + CONFIDENCE / 2, freedom) * error
    return SmallerShare(
        share=share,
        low=max(0.0, share - reach),
        high=min(1.0, share + reach),
        probability=t_tail((share - 0.5) / error, freedom),
    )


def strongest_cut(series: Array64) -> Cut:
    """The cut of a series in time by Pettitt's test; the series needs two members at least.

    The probability is the limit of long series, 2 exp(−6 K² / (n³ + n²)).
    """
    n = len(series)
    walk = np.cumsum(2.0 * mid_ranks(series) - (n + 1))[:-1]
    at = int(np.argmax(np.abs(walk)))
    k = float(abs(walk[at]))
    return Cut(index=at + 1, probability=min(1.0, 2.0 * math.exp(-6.0 * k**2 / (n**3 + n**2))))


def mid_ranks(values: Array64) -> Array64:
    """Ranks from 1; equal values share the mean of theirs."""
    _, where, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[where], dtype=np.float64)


def _apart(share: float, n: int, m: int) -> float:
    """Of no overlap at all: the exact probability of one order of the groups among all, two-sided."""
    if share == 0.5:
        return 1.0
    return min(1.0, 2.0 * math.exp(math.lgamma(n + 1) + math.lgamma(m + 1) - math.lgamma(n + m + 1)))
