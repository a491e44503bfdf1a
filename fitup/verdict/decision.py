"""Within, over or doubtful: the decision at each station under measurement uncertainty.

Source: JCGM 106:2012 (conformance probability) and ISO 14253-1:2017 (default 95 %, guard band 1.645 u on
either side of the limit; both quoted second-hand). The true gap given a reading g with standard uncertainty u
is taken as normal, N(g, u²).

One thing is added, because a gap cannot be negative: conformance is counted over true gaps of 0 and more,

    P(within) = (Φ((L - g)/u) - Φ(-g/u)) / (1 - Φ(-g/u)).

That lowers P(within), so it is on the safe side. For `over` it would act the other way: with u far above L
nearly all of the half-line lies above L, and a reading that says nothing would prove a wide gap. `over`
therefore rests on the normal that is not cut, 1 - Φ((L - g)/u). Both states are then never easier to reach
than by ISO 14253-1, and a larger u only ever turns within or over into doubtful.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError

__all__ = ["DecisionRule", "StationState", "decide", "probability_within"]

# A picometre: below it a reading counts as exact, which also keeps the quotients finite.
_EXACT_U_MM = 1e-9
# Beyond this many u the complementary error function comes near the end of float64; a series goes on.
_TAIL = 25.0

_erfc = np.frompyfunc(math.erfc, 1, 1)


class StationState(StrEnum):
    """What a station's gap is against the limit."""

    WITHIN = "within"
    OVER = "over"
    DOUBTFUL = "doubtful"
    UNSEEN = "unseen"


@dataclass(frozen=True, kw_only=True)
class DecisionRule:
    """How sure a statement must be.

    Raises
    ------
    UsageError
        When the probability is not above 0.5 and below 1.
    """

    conformance_probability: float = 0.95
    """Probability that `within`, and likewise `over`, must reach; the ISO 14253-1:2017 default is 0.95."""
    simple_acceptance: bool = False
    """True: the reading alone decides and uncertainty is left out (up to half of the statements at the limit
    are then wrong, JCGM 106:2012 8.2); there is no doubtful."""

    def __post_init__(self) -> None:
        if not 0.5 < self.conformance_probability < 1:  # also false for NaN
            raise UsageError(
                "the conformance probability must be above 0.5 and below 1, "
                f"not {self.conformance_probability:g}."
            )

    @property
    def sentence(self) -> str:
        """The rule in words, for the record."""
        if self.simple_acceptance:
            return "simple acceptance: the reading alone decides"
        percent = f"{100 * self.conformance_probability:.6g} %"
        return f"within or over where at least {percent} probable, else doubtful (ISO 14253-1, JCGM 106)"


def decide(
    gap_mm: NDArray[np.float64], u_mm: NDArray[np.float64], limit_mm: float, rule: DecisionRule
) -> tuple[StationState, ...]:
    """Judge every station.

    Parameters
    ----------
    gap_mm, u_mm : (N,) float64
        Gap and its standard uncertainty [mm], NaN where unseen.
    limit_mm : float
        Widest gap allowed [mm]; a gap equal to it is within.
    rule : DecisionRule
        Probability asked for, or simple acceptance.

    Returns
    -------
    tuple of N StationState
    """
    if rule.simple_acceptance:
        within, over = gap_mm <= limit_mm, gap_mm > limit_mm
    else:
        p_within, p_over = _probabilities(gap_mm, u_mm, limit_mm)
        within, over = p_within >= rule.conformance_probability, p_over >= rule.conformance_probability
    states = np.full(np.shape(gap_mm), StationState.DOUBTFUL, dtype=object)
    states[within] = StationState.WITHIN
    states[over] = StationState.OVER
    states[~np.isfinite(gap_mm)] = StationState.UNSEEN
    return tuple(states)


def probability_within(
    gap_mm: NDArray[np.float64], u_mm: NDArray[np.float64], limit_mm: float
) -> NDArray[np.float64]:
    """P(0 <= true gap <= limit | true gap >= 0) for N(gap, u²), shape (N,); NaN where unseen."""
    p_within, _ = _probabilities(gap_mm, u_mm, limit_mm)
    return np.where(np.isfinite(gap_mm), p_within, np.nan)


def _probabilities(
    gap_mm: NDArray[np.float64], u_mm: NDArray[np.float64], limit_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """P(within) of the normal cut at zero, and P(over) of the whole normal, where the gap was seen."""
    exact = u_mm <= _EXACT_U_MM
    u_or_one = np.where(exact, 1.0, u_mm)
    log_above_limit = _log_upper_tail((limit_mm - gap_mm) / u_or_one)
    log_above_zero = _log_upper_tail(-gap_mm / u_or_one)
    # 1 - P(above limit) / P(above zero), through logarithms: both tails are tiny for readings below zero.
    p_within = -np.expm1(np.minimum(log_above_limit - log_above_zero, 0.0))
    p_over = np.exp(log_above_limit)
    p_within = np.where(exact, np.where(gap_mm <= limit_mm, 1.0, 0.0), p_within)
    p_over = np.where(exact, np.where(gap_mm > limit_mm, 1.0, 0.0), p_over)
    return p_within, p_over


def _log_upper_tail(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """log(1 - Φ(z)), also where 1 - Φ(z) is below the smallest float64."""
    near = np.minimum(z, _TAIL)
    log_near = np.log(0.5 * np.asarray(_erfc(near / math.sqrt(2.0)), dtype=np.float64))
    far = np.maximum(z, _TAIL)
    inverse_square = far**-2.0
    # Asymptotic series of the normal tail (Abramowitz and Stegun 26.2.12); the next term is below 1e-9.
    series = 1 - inverse_square * (1 - inverse_square * (3 - 15 * inverse_square))
    log_far = -0.5 * far**2 - np.log(far * math.sqrt(2 * math.pi)) + np.log(series)
    return np.where(z > _TAIL, log_far, log_near)
