"""What the phone did to the light: tone curve and sharpening, read from the print's edges in the same photo.

A phone encodes light (IEC 61966-2-1), bends the curve for contrast and sharpens. Fitting edges in such pixels
reads a dark gap too narrow, the unsafe direction. An edge blurred by optics alone is antisymmetric in linear
light; a wrong tone curve skews it and sharpening adds lobes, so the shape of a black and white edge tells
both without trusting any printed width (the idea of radiometric calibration from edges of a single picture:
Lin, Gu, Yamazaki and Shum, CVPR 2004).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_model import edge_step
from fitup.photo import linear_to_srgb, srgb_to_linear

__all__ = [
    "PLAIN_RESPONSE",
    "CameraResponse",
    "contrast_curve",
    "estimate_response",
    "sharpened",
    "sound_edges",
]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

FIT_RESIDUAL = 0.012  # rms of the pooled edge (display-encoded, 0..1) up to which the model is believed
U_GAP_MODELLED_PX = 0.15  # what tone and sharpening still cost a gap once modelled
U_GAP_PLAIN_PX = 0.30  # and when only the standard curve is undone
K_RANGE = (-0.25, 0.75)  # strength of a phone's S-shaped curve (from memory: 0 to 0.5)
_REACH_PX = 6.0
_FINE_PX = 0.2  # the model is drawn this fine and interpolated
# What bilinear sampling at all phases adds: a triangle one pixel to either side.
_BILINEAR = np.maximum(1 - np.abs(np.arange(-4, 5)) * _FINE_PX, 0)
_BILINEAR = _BILINEAR / _BILINEAR.sum()
_BILINEAR_SIGMA_PX = float(np.sqrt(1 / 6))
_TAPS = 12
_START = np.array([0.0, 0.0, 0.15, 0.3, np.log(1.2)])  # shift, log blur ratio, k, amount, log radius
_PRIOR_SD = np.array([10.0, 10.0, 0.25, 0.5, 0.4])


@dataclass(frozen=True, kw_only=True)
class CameraResponse:
    """Tone curve and sharpening of one photo.

    `contrast` is the strength of the S-shaped curve laid over the sRGB encoding, `amount` and `radius_px` are
    those of the unsharp mask, `blur_px` the blur's sigma at the print as sampled, `residual` the misfit (rms,
    display-encoded). `u_gap_px` is the standard uncertainty that remains on a gap.
    """

    contrast: float
    amount: float
    radius_px: float
    blur_px: float
    residual: float
    modelled: bool
    u_gap_px: float
    paper_white: float = float("nan")  # linear light of the print's paper, NaN where it was not seen
    paper_slope_per_mm: float = float("nan")  # its relative change towards the joint, NaN where not seen
    note: str = ""

    def to_linear(self, profiles: Array) -> Array:
        """Undo sharpening across the joint, then the tone curve: (N, M) encoded 0..1 → linear light."""
        if self.amount > 0:
            padded = np.pad(profiles, ((0, 0), (_TAPS, _TAPS)), mode="edge")
            windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _TAPS + 1, axis=1)
            profiles = windows @ self._unsharpening
        table = self._table
        position = np.clip(profiles, 0, 1) * np.float32(len(table) - 1)
        index = np.minimum(position.astype(np.int32), len(table) - 2)
        part = position - index
        return np.asarray(table[index] * (1 - part) + table[index + 1] * part)

    def curve(self, encoded: Array64) -> Array64:
        """Linear light of even areas, whose value no sharpening has changed."""
        return np.interp(encoded, np.linspace(0, 1, len(self._table)), self._table)

    @cached_property
    def _unsharpening(self) -> Array:
        """Taps of the inverse of 1 + a (1 - G): a smoothing filter, so noise does not grow."""
        frequency = np.fft.fftfreq(64)
        gauss = np.exp(-2 * (np.pi * self.radius_px * frequency) ** 2)
        taps = np.fft.ifft(1 / (1 + self.amount * (1 - gauss))).real
        taps = np.roll(taps, _TAPS)[: 2 * _TAPS + 1]
        return np.asarray(taps / taps.sum(), dtype=np.float32)

    @cached_property
    def _table(self) -> Array:
        curve = np.linspace(0, 1, 4097)
        encoded = contrast_curve(curve, self.contrast)
        inverse = np.interp(np.linspace(0, 1, 2049), encoded, curve)
        return np.asarray(srgb_to_linear(inverse), dtype=np.float32)


PLAIN_RESPONSE = CameraResponse(
    contrast=0.0,
    amount=0.0,
    radius_px=1.0,
    blur_px=1.2,
    residual=float("nan"),
    modelled=False,
    u_gap_px=U_GAP_PLAIN_PX,
    note="The phone's tone curve could not be read from the print's edges: the standard one was undone.",
)


def contrast_curve(encoded: Array64, k: float) -> Array64:
    """S-shaped curve laid over the encoded value: a blend with the smooth step 3v² - 2v³."""
    v = np.clip(encoded, 0, 1)
    return np.asarray((1 - k) * v + k * v * v * (3 - 2 * v))


def sharpened(values: Array64, step_px: float, amount: float, radius_px: float) -> Array64:
    """Unsharp mask along the last axis of values sampled every `step_px`: v + a (v - Gauss(v))."""
    reach = int(np.ceil(3.5 * radius_px / step_px))
    offsets = np.arange(-reach, reach + 1) * step_px
    gauss = np.exp(-0.5 * (offsets / radius_px) ** 2)
    padded = np.concatenate([np.full(reach, values[0]), values, np.full(reach, values[-1])])
    return np.asarray(values + amount * (values - np.convolve(padded, gauss / gauss.sum(), "valid")))


def estimate_response(offsets_px: Array64, profiles: Array, blur_guess_px: float) -> CameraResponse:
    """Fit tone curve, sharpening and blur to profiles across the print's edges.

    Parameters
    ----------
    offsets_px : (M,) distance from the expected edge [px], even steps
    profiles : (E, M) display-encoded grey, 0..1, running from black to white
    blur_guess_px : starting value of the blur

    Returns PLAIN_RESPONSE, with its larger uncertainty, where the edges do not follow the model.
    """
    pooled = _pooled_edge(offsets_px, profiles)
    if pooled is None:
        return PLAIN_RESPONSE
    x, edge = pooled
    if not np.isfinite(blur_guess_px):
        blur_guess_px = PLAIN_RESPONSE.blur_px
    theta, residual = _fit(x, edge, blur_guess_px)
    optical, radius = blur_guess_px * float(np.exp(theta[1])), float(np.exp(theta[4]))
    k, amount = float(theta[2]), float(theta[3])
    white = float(np.median(edge[-max(len(edge) // 8, 1) :]))
    if not (residual < FIT_RESIDUAL and _possible(k, amount, radius)):
        return replace(PLAIN_RESPONSE, paper_white=_linear_level(white, 0.0))
    return CameraResponse(
        contrast=k,
        amount=amount,
        radius_px=radius,
        blur_px=float(np.hypot(optical, _BILINEAR_SIGMA_PX)),
        residual=residual,
        modelled=True,
        u_gap_px=U_GAP_MODELLED_PX,
        paper_white=_linear_level(white, k),
    )


def _possible(k: float, amount: float, radius: float) -> bool:
    """Whether a phone can have this curve and sharpening; at a bound the fit only ran out of room."""
    inside = (K_RANGE[0] < k < K_RANGE[1]) and (amount < 2) and (0.4 < radius < 4)
    return bool(inside)


def sound_edges(offsets: Array64, profiles: Array) -> tuple[Array64, Array64, Array64, Array64]:
    """Profiles (K, M) of edges with sound contrast, their black and white, and where they pass half, (K,).

    Encoded values; the places [px] are NaN for an edge that does not pass half of its contrast.
    """
    tail = max(round(2.5 / float(offsets[1] - offsets[0])), 2)
    black = np.median(profiles[:, :tail], axis=1).astype(np.float64)
    white = np.median(profiles[:, -tail:], axis=1).astype(np.float64)
    good = (white - black > 0.25) & (white < 0.985) & np.isfinite(profiles).all(axis=1)
    p, black, white = profiles[good].astype(np.float64), black[good], white[good]
    return p, black, white, _half_level(offsets, (p - black[:, None]) / (white - black)[:, None])


def _pooled_edge(offsets: Array64, profiles: Array) -> tuple[Array64, Array64] | None:
    """One edge from many: each moved to its own half level, scaled to common levels, binned by step.

    Returns the mean position and the mean value of each bin.
    """
    step = float(offsets[1] - offsets[0])
    p, black, white, shift = sound_edges(offsets, profiles)
    if len(p) < 8:
        return None
    share = (p - black[:, None]) / (white - black)[:, None]
    keep = np.isfinite(shift) & (np.abs(shift - np.median(shift)) < 1.5)
    if keep.sum() < 8:
        return None
    x = (offsets - shift[keep, None]).ravel()
    values = share[keep].ravel() * float(np.median(white - black)) + float(np.median(black))
    index = np.floor((x + _REACH_PX) / step).astype(np.intp)
    bins = round(2 * _REACH_PX / step)
    inside = (index >= 0) & (index < bins)
    count = np.bincount(index[inside], minlength=bins)
    if (count < 4).any():
        return None
    centre = np.bincount(index[inside], x[inside], bins) / count
    return centre, np.bincount(index[inside], values[inside], bins) / count


def _half_level(offsets: Array64, share: Array64) -> Array64:
    """Return where each profile passes one half, nearest to the expected edge; NaN where it does not."""
    above = share > 0.5
    crossing = ~above[:, :-1] & above[:, 1:]
    distance = np.where(crossing, np.abs(offsets[:-1]), np.inf)
    index = distance.argmin(axis=1)
    rows = np.arange(len(share))
    low, high = share[rows, index], share[rows, index + 1]
    part = (0.5 - low) / np.where(high == low, 1, high - low)
    at = offsets[index] + part * (offsets[1] - offsets[0])
    return np.where(np.isfinite(distance.min(axis=1)), at, np.nan)


def _model(theta: Array64, x: Array64, blur: float, black: float, white: float) -> Array64:
    shift, log_ratio, k, amount, log_radius = theta
    sigma = blur * np.exp(log_ratio)
    low, high = _linear_level(black, k), _linear_level(white, k)
    fine = np.arange(-_REACH_PX - 1, _REACH_PX + 1 + _FINE_PX / 2, _FINE_PX)
    light = low + (high - low) * edge_step(np.clip((fine - shift) / sigma, -8, 8))
    encoded = contrast_curve(np.asarray(linear_to_srgb(light)), k)
    picture = sharpened(encoded, _FINE_PX, amount, float(np.exp(log_radius)))
    padded = np.pad(picture, len(_BILINEAR) // 2, mode="edge")
    return np.asarray(np.interp(x, fine, np.convolve(padded, _BILINEAR, "valid")))


def _linear_level(encoded: float, k: float) -> float:
    v = encoded
    for _ in range(6):  # Newton; the curve is steeper than 1 - |k| everywhere
        v -= ((1 - k) * v + k * v * v * (3 - 2 * v) - encoded) / (1 - k + 6 * k * v * (1 - v) + 1e-9)
    return float(srgb_to_linear(np.asarray(min(max(v, 0.0), 1.0))))


def _fit(x: Array64, edge: Array64, blur: float) -> tuple[Array64, float]:
    """Gauss-Newton with priors and halved steps; returns the parameters and the rms misfit."""
    tail = max(len(x) // 8, 1)
    black, white = float(edge[:tail].mean()), float(edge[-tail:].mean())
    sigma = 0.0015  # display-encoded; what pooled edges of sound prints scatter by
    theta = _START.copy()

    def misfit(values: Array64) -> Array64:
        off = (_model(values, x, blur, black, white) - edge) / sigma
        return np.concatenate([off, (values - _START) / _PRIOR_SD])

    r = misfit(theta)
    for _ in range(12):
        jacobian = np.stack([(misfit(theta + d) - r) / 1e-4 for d in np.eye(5) * 1e-4], axis=1)
        step = -np.linalg.solve(jacobian.T @ jacobian + 1e-6 * np.eye(5), jacobian.T @ r)
        step = np.clip(step, -0.4, 0.4)
        for fraction in (1.0, 0.3, 0.1):
            trial = np.clip(theta + fraction * step, [-2, -1, -0.3, 0, -1], [2, 1, 1, 2, 1.4])
            new = misfit(trial)
            if new @ new < r @ r:
                break
        else:
            break
        done = r @ r - new @ new < 1e-2 * (r @ r)
        theta, r = trial, new
        if done:
            break
    return theta, float(np.sqrt(np.mean(r[:-5] ** 2)) * sigma)
