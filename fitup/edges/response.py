"""What the phone did to the light: tone curve and sharpening, read from the print's edges in the same photo.

A phone encodes light (IEC 61966-2-1), bends the curve and sharpens. Fitting edges in such pixels reads a dark
gap too narrow, the unsafe direction. An edge blurred by optics alone is antisymmetric in linear light; a
wrong tone curve skews it and sharpening adds lobes, so the shape of a black and white edge tells both without
trusting any printed width (the idea of radiometric calibration from edges of a single picture: Lin, Gu,
Yamazaki and Shum, CVPR 2004). The curve has two parameters, an exponent and the strength of an S: the edges
tell no third one (a free toe changed nothing, measured as below).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.print_edge import REACH_PX, PrintEdge, contrast_curve, contrast_inverse, fit_print_edge
from fitup.photo import srgb_to_linear

__all__ = [
    "PLAIN_RESPONSE",
    "CameraResponse",
    "contrast_curve",
    "estimate_response",
    "sound_edges",
]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

# Rms of the pooled edge (display-encoded, 0..1) up to which the model is believed; of the 900 below, which no
# curve of the model draws exactly, the worst leaves 0.0026.
FIT_RESIDUAL = 0.006
# What tone and sharpening still cost a gap, as a share of the blur: a wrong curve moves an edge within its
# own width, and the more so, the less of the print's edge the model explains (times the residual). From drawn
# edges and gaps: tone curves of seven families (S, powers of 0.85 to 1.2, sine, parabola, gamma 1.9 to 2.5,
# shoulder, Bezier), sharpening of 0 to 1 over 0.8 to 2 px, a halo of up to 10 %, ink of 2.5 to 7 % of the
# paper, plates of a quarter to three quarters of it, floors of 0.5 to 4 %, gaps of 6 to 17 px. A gap's error
# over the blur's sigma as sampled: 0.115 rms, for blurs of 0.8 to 1.9 px alike; 0.098 with residuals below
# 0.0007, 0.139 with more than 0.0013. Both numbers are the likeliest for 420 of them. Photos of rendered butt
# joints, each against the same joint seen by other phones, scatter by 0.08 (some 320). A photo that was
# enlarged has a large blur, and its due. `tests/edges/test_response_families.py` draws a part of these anew.
U_GAP_MODELLED, U_GAP_RESIDUAL = 0.09, 60.0
# The same with only the standard curve undone: 0.23, 0.21, 0.20. What comes to it is stranger than these.
U_GAP_PLAIN = 0.25
# Within the bounds of the fit: at a bound it only ran out of room.
K_RANGE = (-0.49, 0.94)
EXPONENT_RANGE = (0.56, 1.8)
_TAPS = 12


@dataclass(frozen=True, kw_only=True)
class CameraResponse:
    """Tone curve and sharpening of one photo.

    `exponent` is that of the power laid over the sRGB encoding, `contrast` the strength of the S-shaped curve
    laid over that, `amount` and `radius_px` are those of the unsharp mask, `blur_px` the blur's sigma at the
    print as sampled, `residual` the misfit (rms, display-encoded). `u_gap_px` is the standard uncertainty
    that remains on a gap.
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
    exponent: float = 1.0  # 1: the sRGB encoding itself

    def to_linear(self, profiles: Array) -> Array:
        """Undo sharpening across the joint, then the tone curve: (N, M) encoded 0..1 → linear light."""
        index, part = _places(self._unsharpened(profiles), len(self._table))
        return np.asarray(self._table[index] * (1 - part) + self._table[index + 1] * part)

    def sampled_to_linear(self, profiles: Array) -> Array:
        """Linear light of profiles that were sampled bilinearly between pixels.

        Between two encoded pixels the light of their mean is not the mean of their light: with the tone curve
        g and encoded values e, what lies between is on average too dark by g'' e'² / 12 (a linear
        interpolation errs by half the bend times f (1 - f), whose mean over f is a sixth). With that put back
        the sampling is one more small blur, alike on both sides of an edge, and moves none.
        """
        encoded = self._unsharpened(profiles)
        slope = np.zeros_like(encoded)
        slope[:, 1:-1] = (encoded[:, 2:] - encoded[:, :-2]) / 2
        index, part = _places(encoded, len(self._table))
        light = self._table[index] * (1 - part) + self._table[index + 1] * part
        light += self._bend[index] * slope * slope / 12
        return np.asarray(light)

    def _unsharpened(self, profiles: Array) -> Array:
        if self.amount <= 0:
            return profiles
        taps = self._unsharpening[None]
        return np.asarray(cv2.filter2D(profiles, -1, taps, borderType=cv2.BORDER_REPLICATE), np.float32)

    def u_gap_px_at(self, blur_px: float) -> float:
        """Standard uncertainty of a gap [px] at this blur: a wrong curve moves a wider edge further."""
        return self.u_gap_px * max(blur_px / self.blur_px, 1.0)

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
        inverse = np.interp(np.linspace(0, 1, 2049), encoded, curve) ** (1 / self.exponent)
        return np.asarray(srgb_to_linear(inverse), dtype=np.float32)

    @cached_property
    def _bend(self) -> Array:
        """Second derivative of the inverse tone curve, over steps coarse enough not to see the table's."""
        coarse = np.linspace(0, 1, 65)
        bend = np.gradient(np.gradient(self.curve(coarse), coarse), coarse)
        return np.asarray(np.interp(np.linspace(0, 1, len(self._table)), coarse, bend), dtype=np.float32)


def _places(encoded: Array, size: int) -> tuple[NDArray[np.int32], Array]:
    """Entries of a table over 0..1 before encoded values, and how far on they lie towards the next."""
    place = np.clip(encoded, 0, 1) * np.float32(size - 1)
    index = np.minimum(place.astype(np.int32), size - 2)
    return index, np.asarray(place - index, np.float32)


PLAIN_RESPONSE = CameraResponse(
    contrast=0.0,
    amount=0.0,
    radius_px=1.0,
    blur_px=1.2,
    residual=float("nan"),
    modelled=False,
    u_gap_px=1.2 * U_GAP_PLAIN,
    note="The phone's tone curve could not be read from the print's edges: the standard one was undone.",
)


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
    found = fit_print_edge(x, edge, blur_guess_px)
    white = float(np.median(edge[-max(len(edge) // 8, 1) :]))
    if not (found.residual < FIT_RESIDUAL and _possible(found)):
        blur = max(blur_guess_px, PLAIN_RESPONSE.blur_px)
        return replace(PLAIN_RESPONSE, paper_white=_light(white, 0.0, 1.0), u_gap_px=U_GAP_PLAIN * blur)
    return CameraResponse(
        contrast=found.contrast,
        exponent=found.exponent,
        amount=found.amount,
        radius_px=found.radius_px,
        blur_px=found.blur_px,
        residual=found.residual,
        modelled=True,
        u_gap_px=float(np.hypot(U_GAP_MODELLED, U_GAP_RESIDUAL * found.residual)) * found.blur_px,
        paper_white=_light(white, found.contrast, found.exponent),
    )


def _light(encoded: float, k: float, exponent: float) -> float:
    return float(srgb_to_linear(contrast_inverse(np.asarray(encoded), k, exponent)))


def _possible(found: PrintEdge) -> bool:
    """Whether a phone can have this curve and sharpening."""
    curve = (K_RANGE[0] < found.contrast < K_RANGE[1]) and (
        EXPONENT_RANGE[0] < found.exponent < EXPONENT_RANGE[1]
    )
    return bool(curve and found.amount < 2 and 0.4 < found.radius_px < 4)


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
    index = np.floor((x + REACH_PX) / step).astype(np.intp)
    bins = round(2 * REACH_PX / step)
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
