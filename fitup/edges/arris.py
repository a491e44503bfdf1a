"""Both arrises at every station: batched least squares with priors, in linear light.

Across the joint the light is modelled as steps blurred by one Gaussian: plate, floor of the gap, the cut
face of the plate whose edge the camera looks at (its width follows from sheet thickness and view angle),
plate. All stations are solved together by Levenberg-Marquardt steps on small normal equations.

Two things make narrow gaps measurable, which a free fit cannot tell apart (the bound on the width grows as
blur^2.5/width^2): the blur is pooled over the photo, and the floor is expected to be dark.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import (
    BAND,
    FACE,
    FLOOR,
    LEFT,
    LOG_BLUR,
    NEAR,
    RIGHT,
    WIDTH,
    ProfileModel,
    evaluate,
    jacobian,
)

__all__ = ["ArrisFit", "ArrisPriors", "fit_arrises", "joined"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

_SQRT_2PI = float(np.sqrt(2 * np.pi))
_DIAGONAL = np.arange(8)
FREE = 6  # parameters that the samples of one station decide: two arrises, four levels
STILL = 2e-4  # px and linear light: steps end when none is that large
LEAST_DAMPING = 1e-3  # below, steps overshoot where the cut face is hardly told from plate or floor


@dataclass(frozen=True, kw_only=True, eq=False)
class ArrisPriors:
    """What is known before a station is looked at: means and standard deviations, each (N,).

    `floor` and `face` are levels in linear light, `band` the visible width of the cut face [px],
    `log_blur` the natural logarithm of the blur's sigma [px]. An infinite deviation means nothing is known,
    zero that the value is fixed.
    """

    floor: Array64
    floor_sd: Array64
    face: Array64
    face_sd: Array64
    band_px: Array64
    band_sd_px: Array64
    log_blur: Array64
    log_blur_sd: Array64
    near_px: Array64 | None = None  # where the near arris must be, when its neighbours tell
    near_sd_px: float = 0.5

    def at(self, pick: NDArray[np.intp]) -> ArrisPriors:
        """Priors of the picked stations."""
        arrays = {
            name: getattr(self, name)[pick]
            for name in self.__dataclass_fields__
            if isinstance(getattr(self, name), np.ndarray)
        }
        return replace(self, **arrays)


@dataclass(frozen=True, kw_only=True, eq=False)
class ArrisFit:
    """Result for N stations; positions in px along the cross profile.

    `variance_parts` splits the posterior variance of the width exactly: C (JᵀWJ/σ² + P) C = C, so each
    prior P_j and the noise contribute C_wj² P_j and (C JᵀWJ C)_ww/σ².
    """

    parameters: Array64  # (N, 8) in the order of PARAMETERS
    misfit: Array64  # minus twice the log posterior, up to a constant: smaller is better
    near_px: Array64
    width_px: Array64
    levels: Array64  # (N, 4) left, floor, right, face; linear light
    band_px: Array64
    blur_px: Array64
    noise: Array64  # residual standard deviation, linear light
    dip: Array64  # largest departure of the fitted profile from the nearer plate, linear light (signed)
    variance_parts: dict[str, Array64]  # "noise", "floor", "face", "band", "blur": px², each (N,)
    near_sd_px: Array64
    face_sd: Array64  # posterior standard deviation of the face's level
    slope_scale: Array64  # (N, 2) steepest slope of near and far edge, level per px
    grain_factor: float  # residuals of neighbouring samples hang together: noise counts this much more

    @property
    def far_px(self) -> Array64:
        """Position of the far arris [px], (N,)."""
        return self.near_px + self.width_px

    def replaced(self, pick: NDArray[np.intp], other: ArrisFit, better: NDArray[np.bool_]) -> ArrisFit:
        """Return this fit with those of the picked stations that are `better` taken from `other`."""
        source, place = np.flatnonzero(better), pick[better]

        def put(mine: Array64, theirs: Array64) -> Array64:
            merged = mine.copy()
            merged[place] = theirs[source]
            return merged

        arrays = {
            name: put(getattr(self, name), getattr(other, name))
            for name in self.__dataclass_fields__
            if name not in ("variance_parts", "grain_factor")
        }
        parts = {name: put(mine, other.variance_parts[name]) for name, mine in self.variance_parts.items()}
        return ArrisFit(**arrays, variance_parts=parts, grain_factor=self.grain_factor)


def joined(parts: list[tuple[NDArray[np.intp], ArrisFit]]) -> ArrisFit:
    """Return fits of some stations each, given with the stations' numbers, as one fit in their order."""
    order = np.argsort(np.concatenate([pick for pick, _ in parts]))
    fits = [fit for _, fit in parts]

    def put(arrays: list[Array64]) -> Array64:
        return np.asarray(np.concatenate(arrays)[order])

    names = [n for n in ArrisFit.__dataclass_fields__ if n not in ("variance_parts", "grain_factor")]
    arrays = {name: put([getattr(fit, name) for fit in fits]) for name in names}
    return ArrisFit(
        **arrays,
        variance_parts={k: put([fit.variance_parts[k] for fit in fits]) for k in fits[0].variance_parts},
        grain_factor=max(fit.grain_factor for fit in fits),
    )


def fit_arrises(
    x_px: Array64,
    profiles: Array,
    weights: Array,
    start: Array64,
    priors: ArrisPriors,
    *,
    noise_floor: float = 1e-3,
    iterations: int = 6,
    slot: ProfileModel | None = None,
) -> ArrisFit:
    """Fit all stations at once.

    Parameters
    ----------
    x_px : (M,) sample positions [px]
    profiles : (N, M) linear light
    weights : (N, M) 0..1, zero for samples that must not count
    start : (N, 8) starting values in the order of `PARAMETERS`
    priors : what is known beforehand
    noise_floor : smallest believed noise of a sample, linear light
    iterations : Levenberg-Marquardt steps; six leave less than a tenth of the stated deviation
    slot : the seen face's light falls off inwards as this says; None: one level over its whole band
    """
    x = x_px.astype(np.float32)
    y = profiles.astype(np.float32, copy=False)
    mean, precision = _stack(priors)
    theta = start.astype(np.float32).copy()
    damping = np.full(len(theta), 1e-2, np.float32)
    noise = _first_noise(y, noise_floor)
    state = _normal_equations(x, y, weights, theta, mean, slot)
    for step_number in range(iterations):
        trial = _bounded(theta + _solve(state, precision, noise, damping), theta)
        new = _normal_equations(x, y, weights, trial, mean, slot)
        better = new.cost(precision, noise) <= state.cost(precision, noise)
        moved = np.abs(trial - theta)[better, :BAND].max(initial=0.0)
        theta = np.where(better[:, None], trial, theta)
        damping = np.where(better, np.maximum(damping * 0.1, LEAST_DAMPING), damping * 10)
        state = _choose(better, new, state)
        if step_number in (1, 3):  # the residual is by now that of the picture, not of the start
            noise = np.maximum(state.residual_sd, noise_floor)
        elif moved < STILL:
            break
    return _result(x, y, weights, theta, state, precision, noise_floor, slot)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Equations:
    """What the samples say (not yet divided by their noise) and how far the parameters are off the priors."""

    squares: Array  # (N,)
    pull: Array  # (N, 8) derivatives times residuals
    information: Array  # (N, 8, 8)
    off: Array  # (N, 8)
    residual_sd: Array
    weight_sum: Array

    def cost(self, precision: Array, noise: Array) -> Array:
        """Return the squared misfit of samples and priors, (N,)."""
        return np.asarray(self.squares / noise**2 + np.einsum("nk,nk->n", precision, self.off * self.off))

    def total(self, precision: Array, noise: Array) -> Array:
        """Return the information of samples and priors, (N, 8, 8)."""
        whole = self.information / (noise**2)[:, None, None]
        whole[:, _DIAGONAL, _DIAGONAL] += precision
        return np.asarray(whole)


def _stack(priors: ArrisPriors) -> tuple[Array, Array]:
    """Means and precisions (N, 8); parameters without a prior get precision zero."""
    n = len(priors.floor)
    mean = np.zeros((n, 8), np.float32)
    precision = np.zeros((n, 8), np.float32)
    table = (
        (FLOOR, priors.floor, priors.floor_sd),
        (FACE, priors.face, priors.face_sd),
        (BAND, priors.band_px, priors.band_sd_px),
        (LOG_BLUR, priors.log_blur, priors.log_blur_sd),
    )
    for column, value, sd in table:
        mean[:, column] = value
        precision[:, column] = 1 / np.maximum(sd, 1e-4) ** 2
    if priors.near_px is not None:
        mean[:, NEAR], precision[:, NEAR] = priors.near_px, 1 / priors.near_sd_px**2
    # A whiff of prior keeps the equations regular where a plate is not in the window at all.
    mean[:, LEFT] = mean[:, RIGHT] = 0.3
    precision[:, [LEFT, RIGHT]] = 1e-2
    return mean, precision


def _normal_equations(
    x: Array, y: Array, weights: Array, theta: Array, mean: Array, slot: ProfileModel | None
) -> _Equations:
    model, derivative = jacobian(x, theta) if slot is None else slot.jacobian(x, theta)
    residual = y - model
    weighted = weights * residual
    counted = derivative * weights[:, None, :]
    squares = np.einsum("nm,nm->n", weighted, residual)
    weight_sum = weights.sum(axis=1)
    return _Equations(
        squares=squares,
        pull=np.asarray((derivative @ weighted[:, :, None])[:, :, 0], np.float32),
        information=np.asarray(counted @ derivative.transpose(0, 2, 1), np.float32),
        off=mean - theta,
        residual_sd=np.sqrt(squares / np.maximum(weight_sum - FREE, 1)),
        weight_sum=weight_sum,
    )


def _first_noise(y: Array, noise_floor: float) -> Array:
    """Noise that the first steps believe in: the scatter of neighbouring samples, not the start's misfit."""
    rough = np.median(np.abs(np.diff(y, axis=1)), axis=1) / 0.954
    return np.maximum(rough, noise_floor).astype(np.float32)


def _solve(state: _Equations, precision: Array, noise: Array, damping: Array) -> Array:
    damped = state.total(precision, noise).astype(np.float64)
    damped[:, _DIAGONAL, _DIAGONAL] *= 1 + damping[:, None]
    damped[:, _DIAGONAL, _DIAGONAL] += 1e-6
    gradient = (state.pull / (noise**2)[:, None] + precision * state.off).astype(np.float64)
    step = np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
    limit = np.array([1.5, 1.5, 0.5, 0.5, 0.5, 0.5, 1, 0.3])
    return np.asarray(np.clip(step, -limit, limit), np.float32)


def _bounded(theta: Array, previous: Array) -> Array:
    """Keep widths, bands and blur possible; a width is at most halved twice in a step, never negative."""
    theta = theta.copy()
    theta[:, WIDTH] = np.maximum(theta[:, WIDTH], np.minimum(0.25 * previous[:, WIDTH], 0.02))
    theta[:, WIDTH] = np.maximum(theta[:, WIDTH], 1e-3)
    theta[:, BAND] = np.maximum(theta[:, BAND], 0)
    theta[:, [FLOOR, FACE]] = np.maximum(theta[:, [FLOOR, FACE]], 0)  # there is no light below none
    theta[:, LOG_BLUR] = np.clip(theta[:, LOG_BLUR], np.log(0.3), np.log(8))
    return theta


def _choose(better: NDArray[np.bool_], new: _Equations, old: _Equations) -> _Equations:
    """Return the new equations with the old ones' in place where those were better: few."""
    worse = np.flatnonzero(~better)
    for name in _Equations.__dataclass_fields__:
        getattr(new, name)[worse] = getattr(old, name)[worse]
    return new


def _result(
    x: Array,
    y: Array,
    weights: Array,
    theta: Array,
    state: _Equations,
    precision: Array,
    noise_floor: float,
    slot: ProfileModel | None,
) -> ArrisFit:
    noise = np.maximum(state.residual_sd, noise_floor).astype(np.float64)
    whole = state.total(precision, np.asarray(noise, np.float32)).astype(np.float64)
    whole[:, _DIAGONAL, _DIAGONAL] += 1e-6  # a station of which no sample counts: nothing is known of it
    covariance = np.linalg.inv(whole)
    across = covariance[:, WIDTH, :]
    parts: dict[str, Array64] = {
        name: np.asarray(across[:, k] ** 2 * precision[:, k], np.float64)
        for name, k in (("floor", FLOOR), ("face", FACE), ("band", BAND), ("blur", LOG_BLUR))
    }
    parts["noise"] = np.einsum("nj,njk,nk->n", across, state.information, across) / noise**2
    t = theta.astype(np.float64)
    return ArrisFit(
        parameters=t,
        misfit=2 * state.weight_sum * np.log(noise) + (precision * state.off**2).sum(axis=1),
        near_px=t[:, NEAR],
        width_px=t[:, WIDTH],
        levels=t[:, [LEFT, FLOOR, RIGHT, FACE]],
        band_px=t[:, BAND],
        blur_px=np.exp(t[:, LOG_BLUR]),
        noise=noise,
        dip=_dip(t, slot),
        variance_parts=parts,
        near_sd_px=np.sqrt(np.maximum(covariance[:, NEAR, NEAR], 0)),
        face_sd=np.sqrt(np.maximum(covariance[:, FACE, FACE], 0)),
        slope_scale=np.abs(t[:, [FLOOR, FACE]] - t[:, [LEFT, RIGHT]])
        / (np.exp(t[:, LOG_BLUR, None]) * _SQRT_2PI),
        grain_factor=_grain_factor(y - _light(x, theta, slot), weights),
    )


def _grain_factor(residual: NDArray[np.floating], weights: Array, lags: int = 6) -> float:
    """Root of 1 + 2 Σρ_k: how much correlated residuals widen an estimate against white ones.

    The fit itself leaves a slight negative correlation, so a sum below zero counts as white.
    """
    r = residual * weights
    power = float((r * r).sum())
    if power <= 0:
        return 1.0
    total = sum(float((r[:, k:] * r[:, :-k]).sum()) / power for k in range(1, lags + 1))
    return float(np.sqrt(1 + 2 * max(total, 0.0)))


def _light(
    x: NDArray[np.floating], theta: NDArray[np.floating], slot: ProfileModel | None
) -> NDArray[np.floating]:
    return evaluate(x, theta)[0] if slot is None else slot.evaluate(x, theta)


def _dip(theta: Array64, slot: ProfileModel | None) -> Array64:
    """How far the fitted profile falls below (rises above: negative) the nearer plate inside the gap."""
    inside = theta[:, NEAR, None] + theta[:, WIDTH, None] * np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    light = _light(inside, theta, slot)
    plates = theta[:, [LEFT, RIGHT]]
    below = plates.min(axis=1) - light.min(axis=1)
    above = light.max(axis=1) - plates.max(axis=1)
    return np.asarray(np.where(below >= above, below, -above))
