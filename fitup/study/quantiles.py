"""Quantiles and tail probabilities of F, t and chi-square; SciPy is loaded inside the functions.

SciPy comes with scikit-image in any case; it is slow to load and stays off the road from photo to verdict.
"""

from __future__ import annotations

import math

__all__ = ["chi2_quantile", "chi2_tail", "f_quantile", "f_tail", "t_quantile", "t_tail"]


def f_quantile(share: float, df: float, df_below: float) -> float:
    """The value below which `share` of F(df, df_below) lies; `df_below` may be infinite."""
    from scipy.special import fdtri

    if math.isinf(df_below):
        return chi2_quantile(share, df) / df
    return float(fdtri(df, df_below, share))


def f_tail(value: float, df: float, df_below: float) -> float:
    """Probability that F(df, df_below) is at least `value`."""
    from scipy.special import fdtrc

    return 0.0 if math.isinf(value) else float(fdtrc(df, df_below, max(value, 0.0)))


def t_quantile(share: float, df: float) -> float:
    """The value below which `share` of Student's t with `df` degrees of freedom lies."""
    from scipy.special import stdtrit

    return float(stdtrit(df, share))


def t_tail(value: float, df: float) -> float:
    """Probability that |t| with `df` degrees of freedom is at least |value|."""
    from scipy.special import stdtr

    return 0.0 if math.isinf(value) else float(2.0 * stdtr(df, -abs(value)))


def chi2_quantile(share: float, df: float) -> float:
    """The value below which `share` of chi-square with `df` degrees of freedom lies."""
    from scipy.special import chdtri

    return float(chdtri(df, 1.0 - share))


def chi2_tail(value: float, df: float) -> float:
    """Probability that chi-square with `df` degrees of freedom is at least `value`."""
    from scipy.special import chdtrc

    return float(chdtrc(df, value))
