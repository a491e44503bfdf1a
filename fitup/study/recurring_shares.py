"""Shares counted: their intervals, and how likely a count is by chance. SciPy is loaded inside functions."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CONFIDENCE", "binomial_tail", "clopper_pearson", "fisher_exact"]

Array64 = NDArray[np.float64]

CONFIDENCE = 0.95
"""Of every interval, and one less the chance of any wrong finding."""

# Beyond so many standard deviations nothing is left of a hypergeometric tail in float64.
_TAIL_SD = 10


def clopper_pearson(count: ArrayLike, of: ArrayLike) -> tuple[Array64, Array64]:
    """Exact 95 % interval of a share that was counted, `count` of `of`; (0, 1) where nothing was.

    It covers the true share in 95 % of cases at least (Clopper, Pearson: Biometrika 26, 1934; from memory).
    """
    from scipy.special import betaincinv

    k, n = np.broadcast_arrays(np.asarray(count, float), np.asarray(of, float))
    tail = (1.0 - CONFIDENCE) / 2.0
    low, high = np.zeros(k.shape), np.ones(k.shape)
    some, not_all = k > 0, k < n
    low[some] = betaincinv(k[some], (n - k)[some] + 1.0, tail)
    high[not_all] = betaincinv(k[not_all] + 1.0, (n - k)[not_all], 1.0 - tail)
    return low, high


def binomial_tail(count: ArrayLike, of: ArrayLike, share: ArrayLike) -> Array64:
    """Probability that at least `count` of `of` are so, each with the probability `share`.

    Where the probabilities differ from one to the next, their mean gives no less than the truth for counts of
    one more than expected (Hoeffding, Annals of Mathematical Statistics 27, 1956; from memory).
    """
    from scipy.special import betainc

    k, n, p = np.broadcast_arrays(np.asarray(count, float), np.asarray(of, float), np.asarray(share, float))
    tail = np.ones(k.shape)
    some = k > 0
    tail[some] = betainc(k[some], (n - k)[some] + 1.0, p[some])
    return tail


def fisher_exact(count: ArrayLike, of: ArrayLike, other: ArrayLike, of_other: ArrayLike) -> Array64:
    """Probability, by chance alone, of two shares as different as these, or more.

    The shares are `count` of `of` and `other` of `of_other`. Fisher's exact test, two-sided by doubling the
    smaller tail; 1 where one side has none.
    """
    from scipy.special import gammaln

    a, n, b, m = np.broadcast_arrays(*(np.asarray(one, float) for one in (count, of, other, of_other)))
    more = a * m >= b * n  # the tail is that of the side with the larger share
    a, n, b, m = np.where(more, (a, n, b, m), (b, m, a, n))
    total, opened = n + m, a + b
    if total.size == 0:
        return np.ones(a.shape)

    def choose(top: Array64, part: Array64) -> Array64:
        return np.asarray(gammaln(top + 1) - gammaln(part + 1) - gammaln(top - part + 1))

    first = np.exp(choose(n, a) + choose(m, b) - choose(total, opened))
    variance = n * m * opened * (total - opened) / np.maximum(total, 1.0) ** 2 / np.maximum(total - 1, 1.0)
    steps = np.arange(int(_TAIL_SD * np.sqrt(variance.max())) + 30)
    x = a[..., None] + steps
    ratio = (
        (opened[..., None] - x)
        * (n[..., None] - x)
        / ((x + 1) * np.maximum((m - b)[..., None] + steps + 1, 1))
    )
    terms = np.cumprod(np.maximum(ratio, 0.0), axis=-1)
    tail = first * (1.0 + terms.sum(axis=-1))
    return np.where((n == 0) | (m == 0), 1.0, np.minimum(1.0, 2.0 * tail))
