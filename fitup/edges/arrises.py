"""From the straightened band to both arrises at every station.

Start values come from half levels and from the missing light; the blur is pooled over the photo's own wide
stretches; then all stations are fitted together (`arris.py`). Profiles are turned so that the plate whose cut
face the camera sees is always on the right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.edges.arris_model import FACE, RIGHT, WIDTH, profile_model
from fitup.edges.band import Band

__all__ = ["Arrises", "find_arrises"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

PULL = 0.35  # of the core: how far from the line the gap's middle may lie
CORE_MM = 2.6  # the gap's middle is looked for this near to the line
FLANK_PX = 12.0  # plate taken into the fit on either side
DARK_FLOOR, DARK_FLOOR_SD = 0.015, 0.02  # light from a deep slot as a share of the plates' (prior)
# Light from a cut face as a share of its plate's: little falls into a joint (prior, ± as much).
FACE_SHARE = 0.15
FACE_SHARE_LEAST_SD = 0.04
LIT_SD = 10.0  # a floor lit from below can have any level
UNKNOWN_SHEET_MM, UNKNOWN_SHEET_SD_MM = 1.5, 0.75  # thin sheet, when nobody says how thin
KNOWN_BAND_SD_PX = 0.3
BLUR_SD = 0.10  # of the print's blur as a guess at the joint's (relative)
POOLED_BLUR_SD = 0.04  # the joint's own pooled blur varies along it about so much (relative)
FACE_STRETCH = 10  # stations to either side that decide together whether the cut face shines
FACE_ODDS = 1.0  # the plainer reading, that the visible edge is the arris, wins a draw
BAD_FIT = 2.5  # residual over the photo's usual one from which a station is fitted again
LINE_STRETCH = 10  # stations to either side that tell where the line runs
STRAY_PX = 1.5  # off that line
NARROW = 3.5  # gap over blur sigma up to which grain can be taken for the gap
WIDE = 5.0  # gap over blur sigma from which a station tells the blur by itself


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrises:
    """Both arrises of N stations in the joint frame [mm] with what the fit says of itself.

    `misfit_mm` (N, 2) is what the fitted edges leave unexplained around either arris, pooled over neighbours
    so that noise does not count, divided by the edge's slope. `face_far` (N,): True where the far plate's cut
    face is the visible one. `lit` (N,): the floor is brighter than the plates. `tangent` (N,): tangent of the
    view angle across the joint. `contrast` (N,): dip of the fitted profile as a share of the plate. `blur_px`
    is the pooled blur, `fit` the raw result in px.
    """

    band: Band
    near_mm: Array64
    far_mm: Array64
    gap_mm: Array64
    variance_parts_mm2: dict[str, Array64]
    fit: ArrisFit
    misfit_mm: Array64  # (N, 2) displacement that would explain the shape misfit at near and far arris
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
    weights = _weights(x, clipped, start.near, start.far + band_px)
    counting = np.flatnonzero(weights.any(axis=0))
    used = slice(counting[0], counting[-1] + 1) if len(counting) else slice(None)
    data = _Data(x=x[used], profiles=turned[:, used], weights=weights[:, used])
    fit, choice, blur = _fit(data, start, band_px, band_sd_px, thickness / band.sample_mm, print_blur_px)
    parts = fit.variance_parts | {"face": fit.variance_parts["face"] + choice}
    near, far = fit.near_px, fit.far_px
    near, far = np.where(face_far, near, -far), np.where(face_far, far, -near)
    plates = np.maximum(fit.levels[:, [0, 2]].min(axis=1), 1e-3)
    return Arrises(
        band=band,
        near_mm=near * band.sample_mm,
        far_mm=far * band.sample_mm,
        gap_mm=fit.width_px * band.sample_mm,
        variance_parts_mm2={k: v * band.sample_mm**2 for k, v in parts.items()},
        fit=fit,
        misfit_mm=_shape_misfit(data, fit) * band.sample_mm,
        face_far=face_far,
        lit=start.lit,
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

    def at(self, pick: NDArray[np.intp]) -> _Start:
        return _Start(**{name: getattr(self, name)[pick] for name in self.__dataclass_fields__})


def _start(x: Array64, profiles: Array, blur_px: float, core_px: float) -> _Start:
    """Half-level crossings on either side of the bar, on profiles smoothed over a few stations."""
    smooth = cv2.blur(profiles, (3, 5), borderType=cv2.BORDER_REPLICATE).astype(np.float64)
    outer = np.abs(x) > core_px
    left = np.median(smooth[:, outer & (x < 0)], axis=1)
    right = np.median(smooth[:, outer & (x > 0)], axis=1)
    side = np.clip((x + core_px) / (2 * core_px), 0, 1)
    base = left[:, None] + (right - left)[:, None] * side
    core = np.abs(x) <= core_px
    pull = np.exp(-0.5 * (x / (PULL * core_px)) ** 2)  # the line was found with care: stay near it
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


def _majority(flags: NDArray[np.bool_], reach: int = 20) -> NDArray[np.bool_]:
    """Smooth a flag along the joint: a stretch is lit from behind, not a tack that shines."""
    return _smooth_along(flags.astype(np.float64), reach) > 0.5


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


def _weights(x: Array64, clipped: Array, near: Array64, far: Array64) -> Array:
    """Samples from a flank before the near to a flank behind the far arris; burnt-out ones do not count."""
    window = (x >= near[:, None] - FLANK_PX) & (x <= far[:, None] + FLANK_PX)
    return np.where(clipped > 0.2, 0, window).astype(np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Data:
    """Samples and their weights, (N, M)."""

    x: Array64
    profiles: Array
    weights: Array

    def at(self, pick: NDArray[np.intp]) -> _Data:
        return _Data(x=self.x, profiles=self.profiles[pick], weights=self.weights[pick])

    def fit(self, theta: Array64, priors: ArrisPriors, iterations: int) -> ArrisFit:
        return fit_arrises(self.x, self.profiles, self.weights, theta, priors, iterations=iterations)


def _fit(
    data: _Data,
    start: _Start,
    band_px: Array64,
    band_sd_px: Array64,
    depth_px: float,
    print_blur_px: float,
) -> tuple[ArrisFit, Array64, float]:
    """Pool blur and floor over the wide stretches, then fit all stations with them.

    Returns the fit, the variance that the choice of the cut face's side leaves [px²], and the blur [px].
    """
    plate = np.minimum(start.left, start.right)
    share = FACE_SHARE * _sky(start, depth_px)
    light = _Light(
        floor=DARK_FLOOR * plate,
        floor_sd=np.where(start.lit, LIT_SD, DARK_FLOOR_SD * plate),
        # Lit from below, the face's light lies anywhere between none and the floor's.
        face=np.where(start.lit, start.floor / 2, share * start.right),
        face_sd=np.where(start.lit, start.floor / np.sqrt(12), (share + FACE_SHARE_LEAST_SD) * start.right),
    )
    blur, blur_sd = print_blur_px, BLUR_SD
    wide = (start.far - start.near > WIDE * print_blur_px) & (np.abs(start.floor - plate) > 0.3 * plate)
    if wide.sum() >= 8:
        pick = np.flatnonzero(wide)[:: max(1, int(wide.sum()) // 80)]
        free = _priors(replace(light, floor_sd=LIT_SD + 0 * plate), band_px, band_sd_px, blur, 0.5).at(pick)
        first, _ = _both_faces(data.at(pick), start.at(pick), free, iterations=5)
        blur = float(np.median(first.blur_px))
        blur_sd = max(POOLED_BLUR_SD, 1.5 * _spread(np.log(first.blur_px)) / np.sqrt(len(pick) / 8))
        light = _pooled_light(light, first, start, pick)
    priors = _priors(light, band_px, band_sd_px, blur, blur_sd)
    fit, choice = _both_faces(data, start, priors, iterations=6)
    return _rescue(data, priors, fit), choice, blur


def _spread(values: Array64) -> float:
    """Robust standard deviation (scaled median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Light:
    """Expected levels of floor and cut face, (N,), linear light."""

    floor: Array64
    floor_sd: Array64
    face: Array64
    face_sd: Array64


def _sky(start: _Start, depth_px: float) -> Array64:
    """Share of the open sky that lights a cut face: little in a slot much deeper than wide."""
    width = np.maximum(start.far - start.near, 0.5)
    return np.asarray(np.minimum(2 * width / (width + depth_px), 1.0))


def _pooled_light(light: _Light, fit: ArrisFit, start: _Start, pick: NDArray[np.intp]) -> _Light:
    """What the wide stretches say of floor and cut face, for the narrow ones, where they cannot be told."""
    plate = np.maximum(np.minimum(start.left, start.right), 1e-3)
    right = np.maximum(start.right, 1e-3)
    dark = ~start.lit[pick]
    floor = (fit.levels[:, 1] / plate[pick])[dark]
    if len(floor) >= 8:
        middle = float(np.median(floor))
        spread = max(0.02, 0.5 * middle, 1.5 * _spread(floor))
        floor_sd = np.where(start.lit, LIT_SD, spread * plate)
        light = replace(light, floor=middle * plate, floor_sd=floor_sd)
    glowing = fit.levels[:, 1][~dark]
    if len(glowing) >= 8:  # whatever shines through the gap is one lamp or one bright bench
        middle = float(np.median(glowing))
        spread = max(0.05 * middle, 1.5 * _spread(glowing))
        light = replace(
            light,
            floor=np.where(start.lit, middle, light.floor),
            floor_sd=np.where(start.lit, spread, light.floor_sd),
        )
    # The face's level scatters by its own texture and by the fits; only the first part is a prior.
    told = dark & (fit.face_sd < 0.2 * right[pick])
    if told.sum() >= 8:
        share, own = (fit.levels[:, 3] / right[pick])[told], (fit.face_sd / right[pick])[told]
        texture = np.sqrt(max(_spread(share) ** 2 - float(np.median(own)) ** 2, 0.05**2))
        face = np.where(start.lit, light.face, float(np.median(share)) * right)
        light = replace(light, face=face, face_sd=np.where(start.lit, light.face_sd, texture * right))
    return light


def _priors(light: _Light, band_px: Array64, band_sd_px: Array64, blur: float, blur_sd: float) -> ArrisPriors:
    return ArrisPriors(
        floor=light.floor,
        floor_sd=np.maximum(light.floor_sd, 1e-3),
        face=light.face,
        face_sd=np.maximum(light.face_sd, 1e-3),
        band_px=band_px,
        band_sd_px=band_sd_px,
        log_blur=np.full_like(band_px, np.log(blur)),
        log_blur_sd=np.full_like(band_px, blur_sd),
    )


def _both_faces(
    data: _Data, start: _Start, priors: ArrisPriors, *, iterations: int
) -> tuple[ArrisFit, Array64]:
    """Fit the visible half level as the arris and, where that fits better, as the cut face's lower end.

    Gives the better reading of each stretch, and the variance [px²] that is left where both fit about as
    well: p (1 - p) (difference of widths)², p from the difference of the misfits. A face shines or not over a
    stretch, so that neighbours decide together, and every third station is enough to ask.
    """
    dark_start = _theta(start, priors)
    dark = data.fit(dark_start, priors, iterations)
    stations = np.arange(len(dark_start))
    if priors.band_px.max() < 1.0:
        return dark, np.zeros(len(stations))
    bright_start = dark_start.copy()
    bright_start[:, WIDTH] += priors.band_px
    bright_start[:, FACE] = 0.8 * bright_start[:, RIGHT]
    asked = stations[:: min(3, max(len(stations) // 10, 1))]
    bright = data.at(asked).fit(bright_start[asked], priors.at(asked), iterations)
    # Residuals hang together along the profile, so that fewer of them speak for themselves.
    odds = (bright.misfit - dark.misfit[asked]) / (2 * max(dark.grain_factor, bright.grain_factor) ** 2)
    # In a slot narrower than the blur nothing shines but the plates themselves.
    slot = (start.far - start.near < NARROW * np.exp(priors.log_blur))[asked]
    odds = np.where(slot, 20.0, np.clip(odds, -20, 20))
    odds = np.interp(stations, asked, _smooth_along(odds, FACE_STRETCH // 3))
    apart = np.interp(stations, asked, dark.width_px[asked] - bright.width_px)
    share = 1 / (1 + np.exp(odds))
    shining = np.flatnonzero(odds < -FACE_ODDS)
    if len(shining):
        other = data.at(shining).fit(bright_start[shining], priors.at(shining), iterations)
        dark = dark.replaced(shining, other, np.ones(len(shining), bool))
    return dark, share * (1 - share) * apart**2


def _smooth_along(values: Array64, reach: int) -> Array64:
    """Mean over 2 reach + 1 stations."""
    row = np.ascontiguousarray(values, np.float64)[None, :]
    return np.asarray(cv2.blur(row, (2 * reach + 1, 1), borderType=cv2.BORDER_REPLICATE)[0])


def _rescue(data: _Data, priors: ArrisPriors, fit: ArrisFit) -> ArrisFit:
    """Fit again, started from their neighbours, the stations that fit badly or strayed off the line.

    Beside a hairline a line of grain can fit better than the gap itself; so a narrow station that strayed is
    held to the line of its neighbours.
    """
    centre = fit.near_px + fit.width_px / 2
    usual = _running_median(centre, LINE_STRETCH)
    stray = (np.abs(centre - usual) > STRAY_PX) & (fit.width_px < NARROW * fit.blur_px)
    bad = fit.noise > BAD_FIT * np.median(fit.noise)
    good = np.flatnonzero(~(stray | bad))
    if len(good) == len(centre) or len(good) < 4:
        return fit
    for again, held in ((np.flatnonzero(bad & ~stray), False), (np.flatnonzero(stray), True)):
        if len(again) == 0:
            continue
        theta = np.stack([np.interp(again, good, column[good]) for column in fit.parameters.T], axis=1)
        near = usual[again] - theta[:, WIDTH] / 2
        theta[:, 0] = near if held else theta[:, 0]
        chosen = replace(priors.at(again), near_px=near if held else None)
        other = data.at(again).fit(theta, chosen, 6)
        fit = fit.replaced(again, other, (other.misfit < fit.misfit[again]) | held)
    return fit


def _running_median(values: Array64, reach: int) -> Array64:
    padded = np.pad(values, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.median(windows, axis=1))


def _shape_misfit(data: _Data, fit: ArrisFit, reach: int = 3, stations: int = 10) -> Array64:
    """Residual around either edge, pooled along the joint, as a displacement of that edge [px], (N, 2)."""
    residual = data.profiles - profile_model(data.x, fit.parameters)
    offsets = np.arange(-reach, reach + 1)
    out = np.empty((len(residual), 2))
    for side, edge in enumerate((fit.near_px, fit.far_px)):
        columns = np.rint(edge - data.x[0]).astype(np.intp)[:, None] + offsets
        inside = (columns >= 0) & (columns < len(data.x))
        around = np.take_along_axis(residual, np.clip(columns, 0, len(data.x) - 1), axis=1) * inside
        pooled = cv2.blur(around.astype(np.float64), (1, 2 * stations + 1), borderType=cv2.BORDER_REPLICATE)
        slope = np.maximum(fit.slope_scale[:, side], 1e-3)
        out[:, side] = np.sqrt(np.mean(pooled**2, axis=1)) / slope
    return out


def _theta(start: _Start, priors: ArrisPriors) -> Array64:
    """Starting parameters; a narrow gap starts from its missing light, not from its blurred half levels."""
    near, far = start.near, start.far
    plate = (start.left + start.right) / 2
    narrow = far - near < NARROW * np.exp(priors.log_blur)
    floor = np.where(narrow & ~start.lit, priors.floor, start.floor)
    by_light = start.deficit / np.maximum(np.abs(plate - floor), 1e-3)
    width = np.where(narrow, np.clip(by_light, 0.05, far - near), far - near)
    face = np.where(priors.band_px > 0.3, priors.face, floor)
    columns = [(near + far - width) / 2, width, start.left, floor, start.right, face]
    return np.stack([*columns, priors.band_px, priors.log_blur], axis=1)
