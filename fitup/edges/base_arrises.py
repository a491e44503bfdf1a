"""One arris and a base without one: the gap of tee, inside corner and lap from one photo of one target.

Two rounds: all stations are fitted with a curve of the base's light (`base_model.py`); their profiles, laid
over each other, tell which curves are likely and how far the base lies (`base_shape.py`); the next round fits
with what was told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises, joined
from fitup.edges.arris_model import RIGHT, WIDTH
from fitup.edges.arris_start import running_median
from fitup.edges.arrises_result import Arrises
from fitup.edges.band import Band
from fitup.edges.base_light import BaseLights, M
from fitup.edges.base_model import WIDER, BaseModel
from fitup.edges.base_rises import mean_rises, width_classes
from fitup.edges.base_shape import BaseShape, Lens, first_shape, told_shape
from fitup.edges.base_start import BaseStart, base_start, base_weights
from fitup.edges.joint_light import spread_of
from fitup.edges.lap_light import lap_reading
from fitup.edges.section import Section

__all__ = ["find_arris_and_base"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

CORE_MM = 2.6  # the arris is looked for this near to the line
RIM_MM = 0.02  # an arris rounded by 0.05 mm seems to end about so much before its sharp place
LEAST_TANGENT = 0.25  # below 14 degrees above the base the curves mean nothing; such views are gated anyway
# Gaps from the arris to where the light has risen by half, and the logarithm's scatter over all curves.
HALF, U_HALF = 1.5, 0.31
EVERY, MANY_STATIONS = 3, 90  # the first fit takes every third of so many
FIRST_ITERATIONS, ITERATIONS = 5, 4  # the last begins where the first and its neighbours ended
LEAST_WIDE = 8
FIRST_BLUR_SD, LAST_BLUR_SD = 0.3, 0.05  # relative
FLOOR, FLOOR_SD = 0.12, 0.12  # dark of the gap as a share of the base's light, before the photo has told
LEAST_FLOOR_SD = 0.04
PALEST = 0.25  # a brighter floor is no dark of a gap, even where it is so along the whole joint
WIDE = 3.0  # gap over blur from which a station tells the floor by itself
LIT, HALF_LIT = 0.20, 0.08  # floor above the photo's usual one, as a share of the base's light
JUMP_MM, JUMP_STRETCH = 0.12, 40  # off the arris' line over so many stations to either side
PALER = 0.9  # than usual
NOISE_FLOOR = 1e-3
LIGHT_STRETCH = 80  # stations to either side over which the open base's light changes little
OTHER_LIGHT = 1.5  # times as bright, or as dark, as there: the fit took something else for the open base
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

    def at(self, pick: NDArray[np.intp]) -> _Sight:
        """The picked stations."""
        return replace(
            self,
            profiles=self.profiles[pick],
            clipped=self.clipped[pick],
            start=self.start.at(pick),
            sheet_px=self.sheet_px[pick],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Known:
    """What a fit takes for given: the shape of the rise, floor over the base's light, blur (sd relative)."""

    shape: BaseShape
    floor: float
    floor_sd: float
    blur_px: float
    blur_sd: float


def find_arris_and_base(
    band: Band,
    linear: Array,
    section: Section,
    *,
    print_blur_px: float,
    paper_white: float = float("nan"),
) -> Arrises:
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
    fit, known, lit = _rounds(sight, print_blur_px)
    fit, doubt = _again(sight, fit, known, ~lit)
    width, u_width = _widths(fit, known.shape, flank, paper_white)
    near, far = fit.near_px, fit.near_px + width + sight.rim_px
    near, far = (-far, -near) if turn else (near, far)
    gap = (width + sight.rim_px) * band.sample_mm
    plates = np.maximum(fit.levels[:, [0, 2]].min(axis=1), 1e-3)
    return Arrises(
        band=band,
        near_mm=near * band.sample_mm,
        far_mm=far * band.sample_mm,
        gap_mm=gap,
        variance_parts_mm2={k: v * band.sample_mm**2 for k, v in fit.variance_parts.items()},
        fit=fit,
        misfit_mm=np.zeros((len(gap), 2)),
        glint_mm=np.zeros((len(gap), 2)),
        face_far=np.full(len(gap), not turn),
        lit=lit,
        section=section,
        contrast=np.abs(fit.dip) / plates,
        blur_px=known.blur_px,
        u_base_mm=np.hypot(u_width, doubt) * band.sample_mm,
    )


def _widths(
    fit: ArrisFit, shape: BaseShape, sheet_px: Array64, paper_white: float
) -> tuple[Array64, Array64]:
    """Widths (N,) and the standard uncertainty of where the base lies in them [px]."""
    if np.isfinite(sheet_px).all():
        factor, u_other = lap_reading(fit.levels[:, 0], fit.levels[:, 2], paper_white)
    else:
        factor, u_other = np.ones(len(sheet_px)), np.full(len(sheet_px), shape.u_along)
    width = fit.width_px * factor
    return width, width * np.hypot(shape.u_relative, u_other)


def _rounds(sight: _Sight, print_blur_px: float) -> tuple[ArrisFit, _Known, NDArray[np.bool_]]:
    """Fit some stations, ask the shape, fit all; gives the last fit, what it knew, and what is lit."""
    known = _Known(
        shape=first_shape(sight.lights),
        floor=FLOOR,
        floor_sd=FLOOR_SD,
        blur_px=print_blur_px,
        blur_sd=FIRST_BLUR_SD,
    )
    stations = np.arange(len(sight.sheet_px))
    asked = stations[:: EVERY if len(stations) >= MANY_STATIONS else 1]
    few = sight.at(asked)
    begun = _start_parameters(few.start, print_blur_px)
    first = _fit(few, begun, few.start.right, known, FIRST_ITERATIONS)
    known = _told(few, first, begun[:, WIDTH], known)
    theta = np.stack([np.interp(stations, asked, column) for column in first.parameters.T], axis=1)
    theta[:, WIDTH] *= known.shape.stretch
    fit = _fit(sight, theta, np.maximum(theta[:, RIGHT], 0.5 * sight.start.right), known)
    return fit, known, _lit(sight, fit, known.floor)


def _again(
    sight: _Sight, fit: ArrisFit, known: _Known, usable: NDArray[np.bool_]
) -> tuple[ArrisFit, Array64]:
    """Fit stations anew that found another open base than the joint around them; doubt (N,) [px] of all.

    Under a lap's sheet the mirrored end face and the sky over it make two rises: either may be taken for the
    base. Stations begun from their neighbours come to the same one; the gap may still lie between both.
    """
    doubt = np.zeros(len(fit.width_px))
    usual = np.maximum(running_median(fit.levels[:, 2], LIGHT_STRETCH), 1e-3)
    odd = usable & _other_light(fit.levels[:, 2], usual)
    pick, rest = np.flatnonzero(odd), np.flatnonzero(usable & ~odd)
    if not len(pick) or not len(rest):
        return fit, doubt
    theta = fit.parameters[pick].copy()
    theta[:, WIDTH] = np.interp(pick, rest, fit.width_px[rest])
    theta[:, RIGHT] = usual[pick]
    few = sight.at(pick)
    anew = _fit(few, theta, np.maximum(theta[:, RIGHT], 0.5 * few.start.right), known)
    alike = ~_other_light(anew.levels[:, 2], usual[pick])
    doubt[pick] = np.abs(anew.width_px - fit.width_px[pick]) / np.sqrt(12)
    return fit.replaced(pick, anew, alike), doubt


def _other_light(light: Array64, usual: Array64) -> NDArray[np.bool_]:
    return np.asarray(np.abs(np.log(np.maximum(light, 1e-3) / usual)) > np.log(OTHER_LIGHT))


def _told(sight: _Sight, fit: ArrisFit, begun_px: Array64, known: _Known) -> _Known:
    """What a first fit tells of blur, floor and the base's shape."""
    lit = _lit(sight, fit, known.floor)
    wide = (fit.width_px > WIDE * fit.blur_px) & ~lit
    if wide.sum() >= LEAST_WIDE:
        shares = (fit.levels[:, 1] / _open_light(sight, fit))[wide]
        known = replace(
            known,
            floor=min(float(np.median(shares)), PALEST),
            floor_sd=max(LEAST_FLOOR_SD, 1.5 * spread_of(shares)),
            blur_px=float(np.median(fit.blur_px[wide])),
            blur_sd=LAST_BLUR_SD,
        )
    rises = mean_rises(sight.x, sight.profiles, fit, ~lit, sight.sheet_px)
    widened = float(np.median((fit.width_px / begun_px)[~lit])) if not lit.all() else 1.0
    lens = Lens(blur_px=known.blur_px, rim_px=sight.rim_px, sample_mm=sight.sample_mm)
    return replace(known, shape=told_shape(rises, sight.lights, lens, before=(1 / widened, U_HALF)))


def _start_parameters(start: BaseStart, blur_px: float) -> Array64:
    width = np.maximum((start.half - start.near) / HALF, 0.5)
    columns = [start.near, width, start.left, start.floor, start.right, start.floor, 0 * width]
    return np.stack([*columns, np.full_like(width, np.log(blur_px))], axis=1)


def _priors(light: Array64, known: _Known) -> ArrisPriors:
    still = np.zeros_like(light)
    return ArrisPriors(
        floor=known.floor * light,
        floor_sd=np.maximum(known.floor_sd * light, 1e-3),
        face=still,
        face_sd=still + 1e-3,
        band_px=still,
        band_sd_px=still + 1e-3,
        log_blur=still + np.log(known.blur_px),
        log_blur_sd=still + known.blur_sd,
    )


def _fit(
    sight: _Sight, theta: Array64, light: Array64, known: _Known, iterations: int = ITERATIONS
) -> ArrisFit:
    """All stations, in classes of about the same height of the face above the gap."""
    typical = width_classes(theta[:, WIDTH], sight.sheet_px)
    weights = base_weights(
        sight.x, sight.profiles, sight.clipped, sight.start, theta[:, WIDTH], sight.sheet_px
    )
    priors = _priors(light, known)
    parts: list[tuple[NDArray[np.intp], ArrisFit]] = []
    for width in np.unique(typical):
        pick = np.flatnonzero(typical == width)
        height = float(np.median(sight.sheet_px[pick])) / width
        curve, wider = (known.shape.curve(sight.lights, h) for h in (height, height / WIDER))
        model = BaseModel.of(M, curve, wider, width_px=float(width), rim_px=sight.rim_px)
        some = _fit_alike(sight.at(pick), theta[pick], weights[pick], priors.at(pick), model, iterations)
        parts.append((pick, some))
    return joined(parts)


def _fit_alike(
    sight: _Sight,
    theta: Array64,
    weights: Array,
    priors: ArrisPriors,
    model: BaseModel,
    iterations: int,
) -> ArrisFit:
    """Stations under one model; only samples that count in one of them are looked at."""
    counting = np.flatnonzero(weights.any(axis=0))
    used = slice(counting[0], counting[-1] + 1) if len(counting) else slice(None)
    x, profiles, weights = sight.x[used], sight.profiles[:, used], weights[:, used]
    fit = fit_arrises(x, profiles, weights, theta, priors, iterations=iterations, slot=model)
    return replace(fit, noise=_noise(x, profiles, weights, fit, model))


def _noise(x: Array64, profiles: Array, weights: Array, fit: ArrisFit, model: BaseModel) -> Array64:
    """Residual standard deviation (N,) about the arris, where the plate is told from the dark.

    What the base mirrors farther out, lamps and all, is no reason to doubt that there is a gap.
    """
    until = fit.near_px + 2 * fit.blur_px
    some = slice(0, int(np.searchsorted(x, until.max())) + 1)
    light = model.evaluate(x[some].astype(np.float32), fit.parameters.astype(np.float32))
    own = weights[:, some] * (x[some] < until[:, None])
    squares = (own * (profiles[:, some] - light) ** 2).sum(axis=1)
    return np.asarray(
        np.maximum(np.sqrt(squares / np.maximum(own.sum(axis=1), 1.0)), NOISE_FLOOR), np.float64
    )


def _open_light(sight: _Sight, fit: ArrisFit) -> Array64:
    """Light of the base far in front of the gap (N,)."""
    return np.asarray(np.maximum(fit.levels[:, 2], 0.5 * sight.start.right))


def _lit(sight: _Sight, fit: ArrisFit, floor: float) -> NDArray[np.bool_]:
    """Stations lit from behind: strongly so, and those beside them that are so at all.

    Light through the opening leaves a dark stripe beside the base, which is then taken for a narrow gap: the
    floor seems bright, or the arris to jump towards the base and the gap to be less dark there.
    """
    excess = running_median(fit.levels[:, 1] / _open_light(sight, fit) - floor, 2)
    jump = (fit.near_px - running_median(fit.near_px, JUMP_STRETCH)) * sight.sample_mm
    dark = np.abs(fit.dip) / np.maximum(fit.levels[:, 0], 1e-3)
    paler = dark < PALER * running_median(dark, JUMP_STRETCH)
    strong = sight.start.lit | (excess > LIT) | ((jump > JUMP_MM) & paler)
    weak = strong | (excess > HALF_LIT) | (jump > JUMP_MM / 2)
    lit = strong.copy()
    for _ in range(len(lit)):
        wider = lit | (weak & _beside(lit))
        if (wider == lit).all():
            break
        lit = wider
    for _ in range(LIT_RIM * bool(lit.any())):
        lit = lit | _beside(lit)
    return np.asarray(lit)


def _beside(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    out = np.zeros_like(flags)
    out[1:] |= flags[:-1]
    out[:-1] |= flags[1:]
    return out
