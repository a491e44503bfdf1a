"""From the straightened band to both arrises at every station.

Start values come from half levels and from the missing light; the blur is pooled over the photo's own wide
stretches; then all stations are fitted together (`arris.py`). Profiles are turned so that the plate whose cut
face the camera sees is always on the right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.edges.arris_model import FACE, RIGHT, WIDTH, ProfileModel, profile_model
from fitup.edges.arris_start import (
    CLEAR_BLURS,
    NARROW,
    Start,
    flattened,
    running_median,
    sample_weights,
    shortened_flanks,
    smooth_along,
    start_parameters,
    start_values,
)
from fitup.edges.arrises_result import Arrises
from fitup.edges.band import Band
from fitup.edges.base_arrises import find_arris_and_base
from fitup.edges.end_face import fit_end_face
from fitup.edges.end_face_model import EndFace
from fitup.edges.glints import glints
from fitup.edges.joint_light import FACE_OPEN_SD, LIT_SD, Light, expected_light, pooled_light, spread_of
from fitup.edges.section import Section

__all__ = ["find_arrises"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

CORE_MM = 2.6  # the gap's middle is looked for this near to the line
KNOWN_BAND_SD_PX = 0.3
BLUR_SD = 0.10  # of the print's blur as a guess at the joint's (relative)
POOLED_BLUR_SD = 0.04  # the joint's own pooled blur varies along it about so much (relative)
FACE_STRETCH = 10  # stations to either side that decide together whether the cut face shines
FACE_ODDS = 1.0  # the plainer reading, that the visible edge is the arris, wins a draw
BAD_FIT = 2.5  # residual over the photo's usual one from which a station is fitted again
LINE_STRETCH = 10  # stations to either side that tell where the line runs
STRAY_PX = 1.5  # off that line
UNEVEN, EVEN_SHARE = 0.1, 0.6  # residual over the dip, and what must be left of it, to leave plate out
BESIDE_PX = 3.0  # of plate beyond a blurred edge
ASKED = 20  # stations that tell the light of the cut face
MISFIT_STRETCH = 10  # stations to either side that tell the edges' shape together
# Of what is left unexplained at an edge, that moves it. The fit has already moved the edges as far as that
# explains anything, so what is left has another shape; by the errors of rendered joints it is half, or more.
MISFIT_SHARE = 0.6
WIDE = 5.0  # gap over blur sigma from which a station tells the blur by itself


def find_arrises(
    band: Band,
    linear: Array,
    section: Section,
    *,
    print_blur_px: float,
    paper_white: float = float("nan"),
) -> Arrises:
    """Fit both arrises at every station of the band.

    Parameters
    ----------
    linear : (N, M) the band's profiles in linear light
    section : what this kind of joint shows across its opening plane, seen from where the camera stands
    print_blur_px : blur of the printed target's edges, a first guess at the joint's
    paper_white : light of the print's paper beside the joint, linear; NaN where it is not known
    """
    if section.near_is_base or section.far_is_base:
        return find_arris_and_base(
            band, linear, section, print_blur_px=print_blur_px, paper_white=paper_white
        )
    face_far = section.tangent <= 0
    turned = np.where(face_far[:, None], linear, linear[:, ::-1])
    clipped = np.where(face_far[:, None], band.clipped, band.clipped[:, ::-1])
    x = band.n_mm / band.sample_mm
    flanks = _turned_flanks(section, face_far, band.sample_mm)
    seen = _Seen(
        x=x, profiles=turned, clipped=clipped, flanks=flanks, sample_mm=band.sample_mm, blur_px=print_blur_px
    )
    if section.shows_end_face:
        data, start, fit, choice, blur = _fit_end_face(seen, section)
    else:
        data, start, fit, choice, blur = _fit_plates(seen, section)
    parts = fit.variance_parts | {"face": fit.variance_parts["face"] + choice}
    misfit = _shape_misfit(data, fit)
    glint = np.zeros_like(misfit) if data.lands else glints(data.x, data.profiles, fit, MISFIT_STRETCH)
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
        misfit_mm=np.hypot(MISFIT_SHARE * misfit, glint) * band.sample_mm,
        glint_mm=np.where(face_far[:, None], glint, glint[:, ::-1]) * band.sample_mm,
        face_far=face_far,
        lit=start.lit,
        section=section,
        contrast=np.abs(fit.dip) / plates,
        blur_px=blur,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """Profiles (N, M), turned so that the seen face is on the right, with what is known of the view."""

    x: Array64
    profiles: Array
    clipped: Array
    flanks: tuple[Array64, Array64]
    sample_mm: float
    blur_px: float


_Found: TypeAlias = "tuple[_Data, Start, ArrisFit, Array64, float]"


def _fit_plates(seen: _Seen, section: Section) -> _Found:
    """Plates or lands on both sides, and at most a thin band of one cut face between them."""
    x, blur_px, turned = seen.x, seen.blur_px, seen.profiles
    flanks = seen.flanks
    start = start_values(x, turned, blur_px, CORE_MM / seen.sample_mm, flanks)
    if section.between_lands:
        flanks = shortened_flanks(x, turned, start, flanks, blur_px)
        turned = flattened(x, turned, start, flanks, blur_px)
    slope = np.abs(section.tangent) / seen.sample_mm
    band_px = section.face_depth_mm * slope
    band_sd_px = np.hypot(section.u_face_depth_mm * slope, np.minimum(KNOWN_BAND_SD_PX, 0.2 * band_px))
    band_sd_px = np.hypot(band_sd_px, section.face_depth_mm * section.u_tangent / seen.sample_mm)
    weights = sample_weights(x, seen.clipped, start.near, start.far + band_px, flanks, blur_px)
    counting = np.flatnonzero(weights.any(axis=0))
    used = slice(counting[0], counting[-1] + 1) if len(counting) else slice(None)
    data = _Data(x=x[used], profiles=turned[:, used], weights=weights[:, used], lands=section.between_lands)
    depth_px = section.face_depth_mm / seen.sample_mm
    return data, start, *_fit(data, start, band_px, band_sd_px, depth_px, blur_px)


def _fit_end_face(seen: _Seen, section: Section) -> _Found:
    """The far plate's end face fills the gap, lit through the gap alone."""
    model = EndFace.matte(float(np.median(section.tangent)))
    fit, start, weights = fit_end_face(
        seen.x, seen.profiles, seen.clipped, model, seen.flanks, seen.sample_mm, seen.blur_px
    )
    data = _Data(x=seen.x, profiles=seen.profiles, weights=weights, slot=model, lands=True)
    return data, start, fit, np.zeros(len(start.near)), seen.blur_px


def _turned_flanks(
    section: Section, face_far: NDArray[np.bool_], sample_mm: float
) -> tuple[Array64, Array64]:
    """Seen widths of the left and the right flank [px] in profiles turned to have the seen face right."""
    near, far = section.near_flank_mm / sample_mm, section.far_flank_mm / sample_mm
    return np.where(face_far, near, far), np.where(face_far, far, near)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Data:
    """Samples and their weights, (N, M)."""

    x: Array64
    profiles: Array
    weights: Array
    slot: ProfileModel | None = None
    lands: bool = False

    def at(self, pick: NDArray[np.intp]) -> _Data:
        return replace(self, profiles=self.profiles[pick], weights=self.weights[pick])

    def fit(self, theta: Array64, priors: ArrisPriors, iterations: int) -> ArrisFit:
        return fit_arrises(
            self.x, self.profiles, self.weights, theta, priors, iterations=iterations, slot=self.slot
        )


def _fit(
    data: _Data,
    start: Start,
    band_px: Array64,
    band_sd_px: Array64,
    depth_px: float,
    print_blur_px: float,
) -> tuple[ArrisFit, Array64, float]:
    """Pool blur and floor over the wide stretches, then fit all stations with them.

    Returns the fit, the variance that the choice of the cut face's side leaves [px²], and the blur [px].
    """
    light = expected_light(start, depth_px)
    blur, blur_sd = print_blur_px, BLUR_SD
    plate = np.minimum(start.left, start.right)
    wide = (start.far - start.near > WIDE * print_blur_px) & (np.abs(start.floor - plate) > 0.3 * plate)
    if wide.sum() >= 8:
        pick = np.flatnonzero(wide)[:: max(1, int(wide.sum()) // 80)]
        # A land's light rises from the gap on, which looks like blur: there the print's counts.
        loose = BLUR_SD if data.lands else 0.5
        free = _priors(replace(light, floor_sd=LIT_SD + 0 * plate), band_px, band_sd_px, blur, loose).at(pick)
        first, _ = _both_faces(data.at(pick), start.at(pick), free, iterations=5)
        light = _told_light(data, start, light, free, first, pick)
        if not data.lands:
            blur = float(np.median(first.blur_px))
            blur_sd = max(POOLED_BLUR_SD, 1.5 * spread_of(np.log(first.blur_px)) / np.sqrt(len(pick) / 8))
    priors = _priors(light, band_px, band_sd_px, blur, blur_sd)
    fit, choice = _both_faces(data, start, priors, iterations=6)
    fit = _beside_gap(data, priors, _rescue(data, priors, fit))
    # Where all faces are darker or brighter than thought, the prior pulls all stations alike.
    choice = choice + fit.variance_parts["face"] * light.common_face**2
    return fit, choice, blur


def _told_light(
    data: _Data, start: Start, light: Light, priors: ArrisPriors, fit: ArrisFit, pick: NDArray[np.intp]
) -> Light:
    """Light of floor and faces as the wide stretches show it, some of them asked without prejudice.

    Where a face is hardly wider than the blur, an expectation at every station would drown what they say.
    """
    some = np.arange(0, len(pick), max(len(pick) // ASKED, 1))
    open_sd = np.where(start.lit[pick], priors.face_sd, FACE_OPEN_SD * start.right[pick])
    again = data.at(pick[some]).fit(fit.parameters[some], replace(priors, face_sd=open_sd).at(some), 4)
    return pooled_light(light, start, fit, pick, again, pick[some])


def _priors(light: Light, band_px: Array64, band_sd_px: Array64, blur: float, blur_sd: float) -> ArrisPriors:
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
    data: _Data, start: Start, priors: ArrisPriors, *, iterations: int
) -> tuple[ArrisFit, Array64]:
    """Fit the visible half level as the arris and, where that fits better, as the cut face's lower end.

    Gives the better reading of each stretch, and the variance [px²] that is left where both fit about as
    well: p (1 - p) (difference of widths)², p from the difference of the misfits. A face shines or not over a
    stretch, so that neighbours decide together, and every third station is enough to ask.
    """
    dark_start = start_parameters(start, priors)
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
    odds = np.interp(stations, asked, smooth_along(odds, FACE_STRETCH // 3))
    apart = np.interp(stations, asked, dark.width_px[asked] - bright.width_px)
    share = 1 / (1 + np.exp(odds))
    shining = np.flatnonzero(odds < -FACE_ODDS)
    if len(shining):
        other = data.at(shining).fit(bright_start[shining], priors.at(shining), iterations)
        dark = dark.replaced(shining, other, np.ones(len(shining), bool))
    return dark, share * (1 - share) * apart**2


def _rescue(data: _Data, priors: ArrisPriors, fit: ArrisFit) -> ArrisFit:
    """Fit again, started from their neighbours, the stations that fit badly or strayed off the line.

    Beside a hairline a line of grain can fit better than the gap itself; so a narrow station that strayed is
    held to the line of its neighbours.
    """
    centre = fit.near_px + fit.width_px / 2
    usual = running_median(centre, LINE_STRETCH)
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


def _beside_gap(data: _Data, priors: ArrisPriors, fit: ArrisFit) -> ArrisFit:
    """Fit again, with the plates right beside the gap alone, where they are uneven a little farther out.

    Strokes of a deburring tool, a film's edge, a pen line: what lies half a millimetre off says nothing of
    the arris. Taken where that leaves much less unexplained, which mere noise does not, and where the gap
    comes to be no less like its neighbours.
    """
    uneven = np.flatnonzero(fit.noise > UNEVEN * np.abs(fit.dip))
    if data.lands or len(uneven) == 0:
        return fit
    reach = CLEAR_BLURS * fit.blur_px[uneven, None] + BESIDE_PX
    near, far = fit.near_px[uneven, None], fit.far_px[uneven, None]
    beside = (data.x >= near - reach) & (data.x <= far + reach)
    some = data.at(uneven)
    some = replace(some, weights=some.weights * beside)
    other = some.fit(fit.parameters[uneven], priors.at(uneven), 6)
    usual = running_median(fit.width_px, LINE_STRETCH)[uneven]
    strays = np.abs(other.width_px - usual) > np.abs(fit.width_px[uneven] - usual) + STRAY_PX / 3
    return fit.replaced(uneven, other, (other.noise < EVEN_SHARE * fit.noise[uneven]) & ~strays)


def _shape_misfit(data: _Data, fit: ArrisFit, reach: int = 3, stations: int = MISFIT_STRETCH) -> Array64:
    """Residual around either edge, pooled along the joint, as a displacement of that edge [px], (N, 2)."""
    model = data.slot.evaluate if data.slot else profile_model
    residual = data.profiles - model(data.x, fit.parameters)
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
