"""The chance of a sound weld against the gap: a logistic model, its intervals by profile likelihood.

Model: log odds of a sound weld = a + b · gap. With some hundred welds, few of which are not sound, the
largest likelihood overstates the slope, and has no maximum at all where no gap is shared by sound and other
welds (separation). So the likelihood is that of Firth, penalised by half the logarithm of its information's
determinant (Biometrika 80, 1993), and intervals come from its profile (Heinze, Schemper: Statistics in
Medicine 21, 2002; both from memory): of a chance at a gap, and of the gap at a chance, they hold all values
that lower twice the log likelihood by no more than chi-square with one degree of freedom allows, 3.84 for
95 %. Read across and read down they are the same band. They may reach to infinity, and are then told so.
`plain=True` leaves the penalty out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from fitup.study.recurring_shares import CONFIDENCE

__all__ = ["GapInterval", "OutcomeModel", "chance_interval", "fit_outcomes", "gap_interval"]

Array64 = NDArray[np.float64]

_MOST_STEPS = 200
_SAME = 1e-9
_LARGEST_STEP = 2.0
# Log odds beyond this say nothing that a person could tell from certainty.
_LARGEST_LOGIT = 30.0
_STEEPEST = 1e6
_FURTHEST_RANGES = 20.0
# Quantile of chi-square with one degree of freedom: the square of the normal's.
_ALLOWED = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2) ** 2


@dataclass(frozen=True, kw_only=True, eq=False)
class OutcomeModel:
    """A fitted line of log odds, `intercept + slope_per_mm · gap`, and the data it is of."""

    gap_mm: Array64
    sound: NDArray[np.bool_]
    plain: bool
    intercept: float
    slope_per_mm: float
    log_likelihood: float
    """Its largest value, penalty and all."""

    def chance(self, gap_mm: Array64 | float) -> Array64:
        """Estimated chance of a sound weld at gaps [mm]."""
        return _logistic(self.intercept + self.slope_per_mm * np.asarray(gap_mm, float))

    def gap_at(self, chance: float) -> float:
        """Estimated gap [mm] at which the chance is this; NaN where it does not depend on the gap."""
        if self.slope_per_mm == 0.0:
            return math.nan
        return (_logit(chance) - self.intercept) / self.slope_per_mm

    @property
    def separated(self) -> bool:
        """Whether all welds up to some gap were sound and none beyond it."""
        return bool(self.gap_mm[self.sound].max() <= self.gap_mm[~self.sound].min())


@dataclass(frozen=True, kw_only=True)
class GapInterval:
    """The 95 % interval of a gap [mm]; −inf or inf where the data set no bound on that side."""

    low_mm: float
    high_mm: float

    @property
    def bounded(self) -> bool:
        """Whether both bounds are set by the data."""
        return math.isfinite(self.low_mm) and math.isfinite(self.high_mm)


def fit_outcomes(gap_mm: Array64, sound: NDArray[np.bool_], *, plain: bool = False) -> OutcomeModel:
    """Fit the line by Newton's method.

    Parameters
    ----------
    gap_mm, sound : (N,) gap before welding [mm], and whether the weld was sound; some sound and some not
    plain : without the penalty, which needs data that are not separated

    Raises
    ------
    ValueError
        When all welds are sound or none is, all gaps are the same, or a plain fit has no end.
    """
    gap, won = np.asarray(gap_mm, float), np.asarray(sound, bool)
    if won.all() or not won.any() or np.ptp(gap) == 0.0:
        raise ValueError("a line needs sound and other welds, at different gaps")
    centre, scale = float(gap.mean()), float(gap.std())
    x = (gap - centre) / scale
    beta = _newton(x, won, plain=plain)
    return OutcomeModel(
        gap_mm=gap,
        sound=won,
        plain=plain,
        intercept=float(beta[0] - beta[1] * centre / scale),
        slope_per_mm=float(beta[1] / scale),
        log_likelihood=_likelihood(beta[0] + beta[1] * x, gap, won, plain=plain),
    )


def gap_interval(model: OutcomeModel, chance: float) -> GapInterval:
    """The 95 % interval of the gap at which a weld is sound with this chance.

    Only lines that fall with the gap are looked at: no wider gap is easier to weld. Data that agree with a
    line that is level set no bound on one side at least.
    """
    reach = _FURTHEST_RANGES * float(np.ptp(model.gap_mm))
    middle, logit = model.gap_at(chance), _logit(chance)
    if not (model.slope_per_mm < 0.0 and math.isfinite(middle)):
        return GapInterval(low_mm=-math.inf, high_mm=math.inf)

    def excess(gap_mm: float) -> float:
        return _deviance(model, gap_mm, logit, falling=True) - _ALLOWED

    low, high = (_bound(excess, middle, middle + far) for far in (-reach, reach))
    return GapInterval(low_mm=low, high_mm=high)


def chance_interval(model: OutcomeModel, gap_mm: float) -> tuple[float, float]:
    """The 95 % interval of the chance of a sound weld at one gap [mm]."""
    middle = float(np.clip(model.intercept + model.slope_per_mm * gap_mm, -_LARGEST_LOGIT, _LARGEST_LOGIT))

    def excess(logit: float) -> float:
        return _deviance(model, gap_mm, logit, falling=False) - _ALLOWED

    low, high = (_bound(excess, middle, far * 2 * _LARGEST_LOGIT) for far in (-1, 1))
    return float(_logistic(low)), float(_logistic(high))


def _newton(x: Array64, won: NDArray[np.bool_], *, plain: bool) -> Array64:
    """Intercept and slope over a gap that is centred and scaled."""
    design = np.column_stack([np.ones(len(x)), x])
    beta = np.array([_logit((won.sum() + 0.5) / (len(won) + 1.0)), 0.0])
    for _ in range(_MOST_STEPS):
        p = _logistic(design @ beta)
        weight = p * (1 - p)
        information = (design * weight[:, None]).T @ design
        residual = won - p
        if not plain:
            leverage = weight * np.einsum("ij,jk,ik->i", design, np.linalg.inv(information), design)
            residual = residual + leverage * (0.5 - p)
        step = np.linalg.solve(information, design.T @ residual)
        largest = float(np.abs(step).max())
        beta = beta + step * min(1.0, _LARGEST_STEP / max(largest, _LARGEST_STEP))
        if largest < _SAME:
            break
        if plain and float(np.abs(beta).max()) > _LARGEST_LOGIT:
            raise ValueError("the data are separated: a plain fit has no end")
    return np.asarray(beta)


def _deviance(model: OutcomeModel, gap_mm: float, logit: float, *, falling: bool) -> float:
    """Twice what the log likelihood loses where the line must pass through a point."""
    scale = float(np.abs(model.gap_mm - gap_mm).max())
    x = (model.gap_mm - gap_mm) / scale
    guess = model.slope_per_mm * scale
    slope = _best_slope(x, model.sound, logit, guess, falling=falling, plain=model.plain)
    lost = model.log_likelihood - _likelihood(logit + slope * x, model.gap_mm, model.sound, plain=model.plain)
    return 2.0 * lost


def _best_slope(
    x: Array64, won: NDArray[np.bool_], logit: float, guess: float, *, falling: bool, plain: bool
) -> float:
    """The slope of the best line through (0, logit): Fisher's scoring, kept in a bracket that closes."""
    low, high = -_STEEPEST, 0.0 if falling else _STEEPEST
    slope = min(guess, -1e-3) if falling else guess
    for _ in range(_MOST_STEPS):
        p = _logistic(logit + slope * x)
        weight = p * (1 - p)
        score = float(x @ (won - p)) + (0.0 if plain else _pull(x, p, weight))
        low, high = (slope, high) if score > 0 else (low, slope)
        curve = float((x * x) @ weight)
        fresh = slope + score / curve if curve > 1e-12 else math.nan
        if not low < fresh < high:
            fresh = (low + high) / 2
        if abs(fresh - slope) < _SAME * (1.0 + abs(slope)):
            return fresh
        slope = fresh
    return slope


def _pull(x: Array64, p: Array64, weight: Array64) -> float:
    """Derivative of the penalty by the slope."""
    s0, s1, s2 = (float(weight @ x**power) for power in range(3))
    t = weight * (1 - 2 * p) * x
    t0, t1, t2 = (float(t @ x**power) for power in range(3))
    determinant = s0 * s2 - s1 * s1
    if determinant <= 0.0:  # so steep that nothing is left of it
        return 0.0
    return 0.5 * (t0 * s2 + s0 * t2 - 2 * s1 * t1) / determinant


def _likelihood(logit: Array64, gap_mm: Array64, won: NDArray[np.bool_], *, plain: bool) -> float:
    """Log likelihood, penalised unless plain; the penalty's own scale falls out of every difference."""
    value = -float(np.sum(np.logaddexp(0.0, np.where(won, -logit, logit))))
    if plain:
        return value
    p = _logistic(logit)
    weight = p * (1 - p)
    total = float(weight.sum())
    if total <= 0.0:
        return -math.inf
    mean = float(weight @ gap_mm) / total
    spread = float(weight @ (gap_mm - mean) ** 2)
    return value + 0.5 * math.log(total * spread) if spread > 0.0 else -math.inf


def _bound(excess: Callable[[float], float], inside: float, far: float) -> float:
    """Where `excess` turns positive between a place inside and one far off; ±inf where it does not."""
    if excess(far) <= 0.0:
        return math.copysign(math.inf, far - inside)
    low, f_low, step = inside, -_ALLOWED, (far - inside) / 2**12
    while (f_high := excess(min(inside + step, far, key=lambda at: abs(at - inside)))) <= 0.0:
        low, f_low, step = inside + step, f_high, 2 * step
    high = min(inside + step, far, key=lambda at: abs(at - inside))
    for _ in range(_MOST_STEPS):  # regula falsi after Illinois
        at = (low * f_high - high * f_low) / (f_high - f_low) if math.isfinite(f_high) else (low + high) / 2
        value = excess(at)
        if abs(value) < 1e-6 or abs(high - low) < 1e-9 * abs(far - inside):
            return at
        if value <= 0.0:
            low, f_low, f_high = at, value, f_high / 2
        else:
            high, f_high, f_low = at, value, f_low / 2
    return (low + high) / 2


def _logistic(logit: Array64 | float) -> Array64:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * np.asarray(logit, float))))


def _logit(chance: float) -> float:
    return math.log(chance / (1.0 - chance))
