"""From the straightened band to both arrises at every station.

Start values come from half levels and from the missing light; the blur is pooled over the photo's own wide
stretches; then all stations are fitted together (`arris.py`). Profiles are turned so that the plate whose cut
face the camera sees is always on the right.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.edges.band import Band

__all__ = ["Arrises", "find_arrises"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

CORE_MM = 2.6  # the gap's middle is looked for this near to the line
FLANK_PX = 12.0  # plate taken into the fit on either side
DARK_FLOOR, DARK_FLOOR_SD = 0.03, 0.03  # light from a deep slot as a share of the plates' (prior)
FACE_SHARE, FACE_SHARE_SD = 0.35, 0.35  # light from a cut face as a share of its plate's (prior)
UNKNOWN_SHEET_MM, UNKNOWN_SHEET_SD_MM = 1.5, 0.75  # thin sheet, when nobody says how thin
KNOWN_BAND_SD_PX = 0.3
BLUR_SD = 0.10  # of the print's blur as a guess at the joint's (relative)
POOLED_BLUR_SD = 0.04  # the joint's own pooled blur varies along it about so much (relative)
WIDE = 5.0  # gap over blur sigma from which a station tells the blur by itself


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrises:
    """Both arrises of N stations in the joint frame [mm] with what the fit says of itself.

    `face_far` (N,): True where the far plate's cut face is the visible one. `lit` (N,): the floor is brighter
    than the plates. `tangent` (N,): tangent of the view angle across the joint. `contrast` (N,): dip of the
    fitted profile as a share of the plate. `blur_px` is the pooled blur, `fit` the raw result in px.
    """

    band: Band
    near_mm: Array64
    far_mm: Array64
    gap_mm: Array64
    variance_parts_mm2: dict[str, Array64]
    fit: ArrisFit
    profiles: Array  # linear light, unturned
    face_far: NDArray[np.bool_]
    lit: NDArray[np.bool_]
    tangent: Array64
    contrast: Array64
    blur_px: float
    sheet_mm: float | None


def find_arrises(
    band: Band,
    linear: Array,
    tangent: Array64,
    *,
    sheet_mm: float | None,
    print_blur_px: float,
) -> Arrises:
    """Fit both arrises at every station of the band.

    Parameters
    ----------
    linear : (N, M) the band's profiles in linear light
    tangent : (N,) tangent of the view angle across the joint, positive where the camera stands beyond the gap
    sheet_mm : thickness of the plates, which gives the visible width of the cut face; None if unknown
    print_blur_px : blur of the printed target's edges, a first guess at the joint's
    """
    face_far = tangent <= 0
    turned = np.where(face_far[:, None], linear, linear[:, ::-1])
    clipped = np.where(face_far[:, None], band.clipped, band.clipped[:, ::-1])
    x = band.n_mm / band.sample_mm
    start = _start(x, turned, print_blur_px, CORE_MM / band.sample_mm)
    thickness, thickness_sd = (sheet_mm, 0.0) if sheet_mm else (UNKNOWN_SHEET_MM, UNKNOWN_SHEET_SD_MM)
    slope = np.abs(tangent) / band.sample_mm
    band_px = thickness * slope
    band_sd_px = np.hypot(thickness_sd * slope, np.minimum(KNOWN_BAND_SD_PX, 0.2 * band_px))
    fit, lit, blur = _fit(x, turned, clipped, start, band_px, band_sd_px, print_blur_px)
    near, far = fit.near_px, fit.far_px
    near, far = np.where(face_far, near, -far), np.where(face_far, far, -near)
    plates = np.maximum(fit.levels[:, [0, 2]].min(axis=1), 1e-3)
    return Arrises(
        band=band,
        near_mm=near * band.sample_mm,
        far_mm=far * band.sample_mm,
        gap_mm=fit.width_px * band.sample_mm,
        variance_parts_mm2={k: v * band.sample_mm**2 for k, v in fit.variance_parts.items()},
        fit=fit,
        profiles=linear,
        face_far=face_far,
        lit=lit,
        tangent=tangent,
        contrast=np.abs(fit.dip) / plates,
        blur_px=blur,
        sheet_mm=sheet_mm,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Start:
    near: Array64
    far: Array64
    left: Array64
    right: Array64
    floor: Array64
    lit: NDArray[np.bool_]
    deficit: Array64  # missing (or added) light, level times px


def _start(x: Array64, profiles: Array, blur_px: float, core_px: float) -> _Start:
    """Half-level crossings on either side of the bar, on profiles smoothed over a few stations."""
    smooth = cv2.blur(profiles, (3, 5), borderType=cv2.BORDER_REPLICATE).astype(np.float64)
    outer = np.abs(x) > core_px
    left = np.median(smooth[:, outer & (x < 0)], axis=1)
    right = np.median(smooth[:, outer & (x > 0)], axis=1)
    side = np.clip((x + core_px) / (2 * core_px), 0, 1)
    base = left[:, None] + (right - left)[:, None] * side
    core = np.abs(x) <= core_px
    pull = 1 - 0.15 * np.abs(x) / core_px
    below = np.where(core, (base - smooth) * pull, -np.inf)
    above = np.where(core, (smooth - base) * pull, -np.inf)
    lit = _majority(above.max(axis=1) > 1.5 * np.maximum(below.max(axis=1), 0.02 * base.mean(axis=1)))
    sign = np.where(lit, -1.0, 1.0)[:, None]
    depth = sign * (base - smooth)
    peak = np.where(lit, above.argmax(axis=1), below.argmax(axis=1))
    stations = np.arange(len(profiles))
    floor = smooth[stations, peak]
    columns = np.arange(len(x))
    level_left = sign * (smooth - (left + floor)[:, None] / 2)
    level_right = sign * (smooth - (right + floor)[:, None] / 2)
    near = _crossing(x, level_left, (columns < peak[:, None]) & (level_left > 0), from_left=False)
    far = _crossing(x, level_right, (columns > peak[:, None]) & (level_right > 0), from_left=True)
    inside = (x >= near[:, None] - 3 * blur_px) & (x <= far[:, None] + 3 * blur_px)
    deficit = np.where(inside, np.maximum(depth, 0), 0).sum(axis=1)
    return _Start(near=near, far=far, left=left, right=right, floor=floor, lit=lit, deficit=deficit)


def _majority(flags: NDArray[np.bool_], reach: int = 10) -> NDArray[np.bool_]:
    """Smooth a flag along the joint: a stretch is lit from behind, not a single station."""
    share = cv2.blur(flags.astype(np.float32)[None, :], (2 * reach + 1, 1))[0]
    return np.asarray(share > 0.5)


def _crossing(x: Array64, level: Array64, beyond: NDArray[np.bool_], *, from_left: bool) -> Array64:
    """Position where `level` passes zero, at the sample nearest to the bar that lies beyond it."""
    stations = np.arange(len(level))
    last = len(x) - 1
    index = beyond.argmax(axis=1) if from_left else last - beyond[:, ::-1].argmax(axis=1)
    index = np.clip(np.where(beyond.any(axis=1), index, last if from_left else 0), 1, last - 1)
    back = index - 1 if from_left else index + 1
    a, b = level[stations, index], level[stations, back]
    part = np.clip(a / np.where(a - b == 0, 1, a - b), 0, 1)
    return np.asarray(x[index] + part * (x[back] - x[index]))


def _fit(
    x: Array64,
    profiles: Array,
    clipped: Array,
    start: _Start,
    band_px: Array64,
    band_sd_px: Array64,
    print_blur_px: float,
) -> tuple[ArrisFit, NDArray[np.bool_], float]:
    """Pool blur and floor over the wide stretches, then fit all stations with them."""
    plate = np.minimum(start.left, start.right)
    floor, floor_sd = DARK_FLOOR * plate, DARK_FLOOR_SD * plate
    wide = (start.far - start.near > WIDE * print_blur_px) & (np.abs(start.floor - plate) > 0.3 * plate)
    blur, blur_sd = print_blur_px, BLUR_SD
    if wide.sum() >= 8:
        free = _priors(start, floor, 10 * plate, band_px, band_sd_px, blur, 0.5)
        pick = np.flatnonzero(wide)[:: max(1, int(wide.sum()) // 120)]
        first = _run(x, profiles, clipped, start, free, pick, iterations=4)
        blur = float(np.median(first.blur_px))
        blur_sd = max(POOLED_BLUR_SD, 1.5 * _spread(np.log(first.blur_px)) / np.sqrt(len(pick) / 8))
        share = first.levels[:, 1] / np.maximum(plate[pick], 1e-3)
        dark = share[~start.lit[pick]]
        if len(dark) >= 8:
            middle = float(np.median(dark))
            floor = middle * plate
            floor_sd = max(0.02, 0.5 * middle, 1.5 * _spread(dark)) * plate
    floor_sd = np.where(start.lit, 10.0, floor_sd)
    priors = _priors(start, floor, floor_sd, band_px, band_sd_px, blur, blur_sd)
    fit = _run(x, profiles, clipped, start, priors, np.arange(len(profiles)), iterations=6)
    return fit, start.lit, blur


def _spread(values: Array64) -> float:
    """Robust standard deviation (scaled median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _priors(
    start: _Start,
    floor: Array64,
    floor_sd: Array64,
    band_px: Array64,
    band_sd_px: Array64,
    blur: float,
    blur_sd: float,
) -> ArrisPriors:
    ones = np.ones_like(band_px)
    return ArrisPriors(
        floor=floor,
        floor_sd=np.maximum(floor_sd, 1e-3),
        face=FACE_SHARE * start.right,
        face_sd=np.maximum(FACE_SHARE_SD * start.right, 1e-3),
        band_px=band_px,
        band_sd_px=band_sd_px,
        log_blur=np.log(blur) * ones,
        log_blur_sd=blur_sd * ones,
    )


def _run(
    x: Array64,
    profiles: Array,
    clipped: Array,
    start: _Start,
    priors: ArrisPriors,
    pick: NDArray[np.intp],
    *,
    iterations: int,
) -> ArrisFit:
    """Fit the picked stations from the start in which the cut face is dark and the one in which it shines."""
    chosen = ArrisPriors(**{k: getattr(priors, k)[pick] for k in ArrisPriors.__dataclass_fields__})
    weights = _weights(x, clipped[pick], start.near[pick], start.far[pick] + chosen.band_px)
    return fit_arrises(
        x, profiles[pick], weights, _theta(start, chosen, pick), chosen, iterations=iterations
    )


def _weights(x: Array64, clipped: Array, near: Array64, far: Array64) -> Array:
    """Samples from a flank before the near to a flank behind the far arris; burnt-out ones do not count."""
    window = (x >= near[:, None] - FLANK_PX) & (x <= far[:, None] + FLANK_PX)
    return np.where(clipped > 0.2, 0, window).astype(np.float32)


def _theta(start: _Start, priors: ArrisPriors, pick: NDArray[np.intp]) -> Array64:
    """Starting parameters; a narrow gap starts from its missing light, not from its blurred half levels."""
    near, far = start.near[pick], start.far[pick]
    plate = (start.left[pick] + start.right[pick]) / 2
    blur = np.exp(priors.log_blur)
    narrow = far - near < 3.5 * blur
    floor = np.where(narrow & ~start.lit[pick], priors.floor, start.floor[pick])
    by_light = start.deficit[pick] / np.maximum(np.abs(plate - floor), 1e-3)
    width = np.where(narrow, np.clip(by_light, 0.05, far - near), far - near)
    middle = (near + far) / 2
    return np.stack(
        [
            middle - width / 2,
            width,
            start.left[pick],
            floor,
            start.right[pick],
            np.where(priors.band_px > 0.3, priors.face, floor),
            priors.band_px,
            priors.log_blur,
        ],
        axis=1,
    )
