"""Confidence intervals of sums and differences of mean squares, by the modified large sample method.

Graybill and Wang (1980) for sums; Ting, Burdick, Graybill, Jeyaratnam and Lu (1990) where mean squares are
subtracted; both as Burdick, Borror and Montgomery, "Design and Analysis of Gauge R&R Studies" (2005), use
them. Formulas from memory; `tests/study/test_intervals.py` proves their coverage. Ratios of components have
generalized intervals (Hamada and Weerahandi 2000), drawn from a fixed seed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.study.quantiles import chi2_quantile, f_quantile

__all__ = ["Term", "generalized_interval", "interval_of"]

_DRAWS = 40_000
_SEED = 20_05


@dataclass(frozen=True, kw_only=True)
class Term:
    """One mean square with its coefficient in a variance component."""

    coefficient: float
    ms: float
    df: int

    @property
    def value(self) -> float:
        """What it adds."""
        return self.coefficient * self.ms


def interval_of(terms: Sequence[Term], confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided interval of the expectation of the sum of `terms`, not below 0.

    Exact for a single term (chi-square).
    """
    added = [term for term in terms if term.coefficient > 0]
    taken = [term for term in terms if term.coefficient < 0]
    estimate = sum(term.value for term in terms)
    tail = (1.0 - confidence) / 2.0
    low = estimate - math.sqrt(max(_below(added, taken, tail), 0.0))
    high = estimate + math.sqrt(max(_above(added, taken, tail), 0.0))
    return max(low, 0.0), max(high, 0.0)


def generalized_interval(
    rows: Sequence[tuple[float, int]],
    of: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    confidence: float = 0.95,
) -> tuple[float, float]:
    """Two-sided generalized interval of any function of expected mean squares.

    Parameters
    ----------
    rows : mean square and degrees of freedom, R of them
    of : takes (R, draws) possible expected mean squares, gives (draws,) values
    """
    random = np.random.default_rng(_SEED)
    drawn = np.stack([ms * df / random.chisquare(df, _DRAWS) for ms, df in rows])
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(of(drawn), (tail, 1.0 - tail))
    return float(low), float(high)


def _below(added: Sequence[Term], taken: Sequence[Term], tail: float) -> float:
    """Square of how far the interval reaches below the estimate."""
    G = [1.0 - 1.0 / f_quantile(1.0 - tail, t.df, math.inf) for t in added]
    H = [1.0 / f_quantile(tail, t.df, math.inf) - 1.0 for t in taken]
    total = sum((g * t.value) ** 2 for g, t in zip(G, added, strict=True))
    total += sum((h * t.value) ** 2 for h, t in zip(H, taken, strict=True))
    for g, a in zip(G, added, strict=True):
        for h, b in zip(H, taken, strict=True):
            F = f_quantile(1.0 - tail, a.df, b.df)
            cross = ((F - 1.0) ** 2 - (g * F) ** 2 - h**2) / F
            total += cross * a.value * abs(b.value)
    if taken:
        total += _pairs(added, G, tail)
    return total


def _above(added: Sequence[Term], taken: Sequence[Term], tail: float) -> float:
    """The same above it."""
    H = [1.0 / f_quantile(tail, t.df, math.inf) - 1.0 for t in added]
    G = [1.0 - 1.0 / f_quantile(1.0 - tail, t.df, math.inf) for t in taken]
    total = sum((h * t.value) ** 2 for h, t in zip(H, added, strict=True))
    total += sum((g * t.value) ** 2 for g, t in zip(G, taken, strict=True))
    for h, a in zip(H, added, strict=True):
        for g, b in zip(G, taken, strict=True):
            F = f_quantile(tail, a.df, b.df)
            cross = ((1.0 - F) ** 2 - (h * F) ** 2 - g**2) / F
            total += cross * a.value * abs(b.value)
    if added and taken:
        total += _pairs(taken, G, tail)
    return total


def _pairs(terms: Sequence[Term], G: Sequence[float], tail: float) -> float:
    """What pairs of terms of one sign add, where terms of the other sign are there too."""
    total = 0.0
    for i in range(len(terms)):
        for j in range(i + 1, len(terms)):
            m, n = terms[i].df, terms[j].df
            both = (1.0 - (m + n) / chi2_quantile(1.0 - tail, m + n)) ** 2 * (m + n) ** 2 / (m * n)
            part = (both - G[i] ** 2 * m / n - G[j] ** 2 * n / m) / (len(terms) - 1)
            total += part * abs(terms[i].value * terms[j].value)
    return total
