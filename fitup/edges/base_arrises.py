"""One arris and a base without one: the gap of tee, inside corner and lap from one photo of one target.

Two rounds: all stations are fitted with a curve of the base's light (`base_model.py`); their profiles, laid
over each other, tell which curves are likely and how far the base lies (`base_shape.py`); the next round fits
with what was told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises, joined
from fitup.edges.arrises_result import Arrises
from fitup.edges.band import Band
from fitup.edges.base_light import BaseLights, M
from fitup.edges.base_model import WIDER, BaseModel
from fitup.edges.base_rises import mean_rises, width_classes
from fitup.edges.base_shape import BaseShape, Lens, first_shape, told_shape
from fitup.edges.base_start import BaseStart, base_start, base_weights
from fitup.edges.joint_light import spread_of
from fitup.edges.section import Section

__all__ = ["find_arris_and_base"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

CORE_MM = 2.6  # the arris is looked for this near to the line
RIM_MM = 0.02  # an arris rounded by 0.05 mm seems to end about so much before its sharp place
LEAST_TANGENT = 0.25  # below 14 degrees above the base the curves mean nothing; such views are gated anyway
# Gaps from the arris to where the light has risen by half, and the logarithm's scatter over all curves.
HALF, U_HALF = 1.5, 0.31
ROUNDS = 2
ITERATIONS = 8
FIRST_BLUR_SD, LAST_BLUR_SD = 0.15, 0.05  # relative
FLOOR, FLOOR_SD = 0.12, 0.12  # dark of the gap as a share of the base's light, before the photo has told
LEAST_FLOOR_SD = 0.04
WIDE = 3.0  # gap over blur from which a station tells the floor by itself
LIT, HALF_LIT = 0.20, 0.08  # floor above the photo's usual one, as a share of the base's light
LIT_RIM = 3  # stations beside lit ones that the light spoils too


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sight:
    """What a round needs: samples (N, M), start, tangent and height of the face [px] (N,)."""

    x: Array64
    profiles: Array
    clipped: Array
    start: BaseStart
    lights: BaseLights
    sheet_px: Array64
    sample_mm: float

    @property
    def rim_px(self) -> float:
        return RIM_MM / self.sample_mm


def find_arris_and_base(band: Band, linear: Array, section: Section, *, print_blur_px: float) -> Arrises:
    """Fit the arris and the rise of the base's light at every station; parameters as of `find_arrises`.

    Of the result's two bounds one is the arris, the other the base, where the light says that it lies;
    `u_base_mm` is how well it says so, in common to all stations.
    """
    turn = section.near_is_base
    profiles, clipped = (band_side[:, ::-1] if turn else band_side for band_side in (linear, band.clipped))
    flank = (section.far_flank_mm if turn else section.near_flank_mm) / band.sample_mm
    x = band.n_mm / band.sample_mm
    start = base_start(x, profiles, CORE_MM / band.sample_mm, flank)
    sight = _Sight(
        x=x,
        profiles=np.ascontiguousarray(profiles, np.float32),
        clipped=clipped,
        start=start,
        lights=BaseLights.seen(max(round(float(np.median(np.abs(section.tangent))), 3), LEAST_TANGENT)),
        sheet_px=flank,
        sample_mm=band.sample_mm,
    )
    fit, shape, blur, lit = _rounds(sight, print_blur_px)
    near, far = fit.near_px, fit.far_px + sight.rim_px
    near, far = (-far, -near) if turn else (near, far)
    gap = (fit.width_px + sight.rim_px) * band.sample_mm
    plates = np.maximum(fit.levels[:, [0, 2]].min(axis=1), 1e-3)
    return Arrises(
        band=band,
        near_mm=near * band.sample_mm,
        far_mm=far * band.sample_mm,
        gap_mm=gap,
        variance_parts_mm2={k: v * band.sample_mm**2 for k, v in fit.variance_parts.items()},
        fit=fit,
        misfit_mm=np.zeros((len(gap), 2)),
        face_far=np.full(len(gap), not turn),
        lit=lit,
        section=section,
        contrast=np.abs(fit.dip) / plates,
        blur_px=blur,
        u_base_mm=np.hypot(shape.u_relative, shape.u_along) * fit.width_px * band.sample_mm,
    )


def _rounds(sight: _Sight, print_blur_px: float) -> tuple[ArrisFit, BaseShape, float, NDArray[np.bool_]]:
    """Fit, ask the shape, fit again; gives the last fit, the shape, the pooled blur and what is lit."""
    shape, blur, blur_sd = first_shape(sight.lights), print_blur_px, FIRST_BLUR_SD
    floor, floor_sd = FLOOR, FLOOR_SD
    theta = _start_parameters(sight.start, blur)
    begun = theta[:, 1].copy()
    open_light = sight.start.right
    for number in range(ROUNDS):
        fit = _fit(sight, theta, _priors(open_light, floor, floor_sd, blur, blur_sd), shape)
        open_light = np.maximum(fit.levels[:, 2], 0.5 * sight.start.right)
        lit = _lit(fit.levels[:, 1] / open_light - floor, sight.start.lit)
        wide = (fit.width_px > WIDE * fit.blur_px) & ~lit
        if wide.sum() >= 8:
            shares = fit.levels[wide, 1] / open_light[wide]
            floor, floor_sd = float(np.median(shares)), max(LEAST_FLOOR_SD, 1.5 * spread_of(shares))
            blur, blur_sd = float(np.median(fit.blur_px[wide])), LAST_BLUR_SD
        if number == ROUNDS - 1:
            break
        rises = mean_rises(sight.x, sight.profiles, fit, ~lit, sight.sheet_px)
        widened = float(np.median((fit.width_px / begun)[~lit])) if not lit.all() else 1.0
        lens = Lens(blur_px=blur, rim_px=sight.rim_px, sample_mm=sight.sample_mm)
        shape = told_shape(rises, sight.lights, lens, before=(1 / widened, U_HALF))
        theta = fit.parameters.copy()
        theta[:, 1] *= shape.stretch
    return fit, shape, blur, lit


def _start_parameters(start: BaseStart, blur_px: float) -> Array64:
    width = np.maximum((start.half - start.near) / HALF, 0.5)
    columns = [start.near, width, start.left, start.floor, start.right, start.floor, 0 * width]
    return np.stack([*columns, np.full_like(width, np.log(blur_px))], axis=1)


def _priors(light: Array64, floor: float, floor_sd: float, blur: float, blur_sd: float) -> ArrisPriors:
    still = np.zeros_like(light)
    return ArrisPriors(
        floor=floor * light,
        floor_sd=np.maximum(floor_sd * light, 1e-3),
        face=still,
        face_sd=still + 1e-3,
        band_px=still,
        band_sd_px=still + 1e-3,
        log_blur=still + np.log(blur),
        log_blur_sd=still + blur_sd,
    )


def _fit(sight: _Sight, theta: Array64, priors: ArrisPriors, shape: BaseShape) -> ArrisFit:
    """All stations, in classes of about the same height of the face above the gap."""
    typical = width_classes(theta[:, 1], sight.sheet_px)
    weights = base_weights(sight.x, sight.clipped, sight.start, theta[:, 1], sight.sheet_px)
    parts = []
    for width in np.unique(typical):
        pick = np.flatnonzero(typical == width)
        height = float(np.median(sight.sheet_px[pick])) / width
        curve, wider = (shape.curve(sight.lights, h) for h in (height, height / WIDER))
        model = BaseModel.of(M, curve, wider, width_px=float(width), rim_px=sight.rim_px)
        part = fit_arrises(
            sight.x,
            sight.profiles[pick],
            weights[pick],
            theta[pick],
            priors.at(pick),
            iterations=ITERATIONS,
            slot=model,
        )
        parts.append((pick, part))
    return joined(parts)


def _lit(excess: Array64, bright: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Stations lit from behind: strongly so, and those beside them that are so at all."""
    strong, weak = bright | (excess > LIT), bright | (excess > HALF_LIT)
    lit = strong.copy()
    for _ in range(len(lit)):
        wider = lit | (weak & _beside(lit))
        if (wider == lit).all():
            break
        lit = wider
    for _ in range(LIT_RIM * bool(lit.any())):
        lit = lit | _beside(lit)
    return lit


def _beside(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    out = np.zeros_like(flags)
    out[1:] |= flags[:-1]
    out[:-1] |= flags[1:]
    return out
