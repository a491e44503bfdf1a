"""Where the light changes is not quite where a rounded arris ends: the correction and what it leaves open.

A sheared or cut arris is rounded by some hundredths of a millimetre. That rim, narrower than the photo's
blur, mirrors the surroundings at all slants at once and so has about their mean light B, while the plate has
its own light A. An edge fit between plate A and gap G then sees the edge displaced away from the gap by

    r_eff (A - B) / (A - G),   r_eff = 0.8 r

A bright plate makes the gap read too wide, a plate darker than its surroundings too narrow. The paper beside
the joint tells the mean light of the surroundings: it scatters all of it, so B = 0.47 paper white. Both
constants were found on the demo photos and an earlier rendering of them, path-traced in different light (0.7
to 0.9 and 0.44 to 0.47 serve them about equally well). They follow from geometry to that order, and no photo
outside these sets has tested them yet; r itself is not known in one photo. All three are in the budget (JCGM
100:2008, 3.2.3: correct what is known, state what is left).

One near lamp from the side breaks the rule: a rim that faces it shines about as brightly as the plate, and
then nothing is displaced. Such a lamp lights the paper unevenly across the joint. The more it does, the less
of the correction is made, and the truth lies anywhere between what is made and all of it; the surroundings
are less even, too, and their mean light less known.

But a plate that is darker than its surroundings does not mirror the lamp. If the lamp stands where it lights
the cut face that the camera sees, it lights the rims that the camera sees too: they are no darker than in
even light, and what such a gap reads too narrow is given back in full. How much brighter is not known.

Plate and paper can only be compared in linear light. Where the phone's response could not be read, the
correction is made, and may be wrong altogether.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises

__all__ = ["ARRIS_RADIUS_MM", "ArrisShading", "arris_shading", "u_radius_mm"]

Array64 = NDArray[np.float64]

ARRIS_RADIUS_MM = 0.05  # sheared or laser-cut thin sheet, edges broken lightly (common practice, no source)
_U_RADIUS = 0.4  # relative (common practice, no source)
_RIM = 0.8  # effective width of the rim in radii
_SURROUNDINGS = 0.47  # mean light mirrored by the rim, as a share of white paper's
# Relative, at either rim by itself: in even light, beside one near lamp, lit from below. The share of paper
# white that serves a rendered scene best is 0.45 with a scatter of 0.06 in 13 scenes without a lamp, 0.48
# with one of 0.13 in 19 with one: 0.19 and 0.38, as both rims of a scene are alike and count by themselves
# here. Stated is less without a lamp, where the best share takes up what is wrong for other reasons; with one
# a little more, for some lamps are worse than these.
_U_SURROUNDINGS, _U_SURROUNDINGS_LAMP, _U_SURROUNDINGS_LIT = 0.15, 0.42, 0.5
_LEAST_STEP = 0.25  # contrast between plate and gap, below which the formula is not stretched
# Relative change of the paper's light per mm across that speaks for a lamp as much as for even light. One
# lamp alone, half a metre off, makes about 0.004; the demo photos with a lamp have 0.0015, those without up
# to 0.001. From 0.001 to 0.0014, and a second to sixth power, serve them about equally well.
_UNEVEN_PER_MM = 0.0012
_FARTHEST = 1.0  # no displacement beyond the rim itself, in radii


@dataclass(frozen=True, kw_only=True, eq=False)
class ArrisShading:
    """Displacement of either arris away from the gap (N,) [mm] and the gap's standard uncertainty from it."""

    near_mm: Array64
    far_mm: Array64
    u_gap_mm: Array64


def arris_shading(
    arrises: Arrises,
    paper_white: float,
    radius_mm: float,
    *,
    paper_slope_per_mm: float = 0.0,
    linear: bool = True,
) -> ArrisShading:
    """Expected displacement of both arrises for a radius [mm].

    `paper_white` is the light of the print's paper (linear), `paper_slope_per_mm` its relative change across
    the joint; `linear` tells whether levels and paper white are truly linear light. Without a paper white
    (NaN) nothing is corrected and the uncertainty is that of the whole displacement.
    """
    levels = arrises.fit.levels
    left, floor, right, face = levels.T
    behind_right = np.where(arrises.fit.band_px > 1.0, face, floor)
    lamp = _lamp(paper_slope_per_mm)
    doubt = lamp if linear else 1.0
    turned = [
        _displacement(left, floor, paper_white, doubt),
        _displacement(right, behind_right, paper_white, doubt),
    ]
    if not np.isfinite(paper_white):
        nothing = np.zeros_like(left)
        u = np.full_like(left, _RIM * radius_mm / np.sqrt(3) * 2)
        return ArrisShading(near_mm=nothing, far_mm=nothing, u_gap_mm=u)
    (near, u_near), (far, u_far) = (np.where(arrises.face_far, turned[k], turned[1 - k]) for k in (0, 1))
    front = _front_lit(arrises, paper_slope_per_mm)
    near_lamp, far_lamp = (np.where(front & (shift < 0), 0.0, lamp) for shift in (near, far))
    left_out = near * near_lamp + far * far_lamp if linear else near + far
    # The two rims look to opposite sides, at different surroundings: independent.
    u_surroundings = np.hypot(u_near, u_far)
    # The truth lies between what is corrected and what is not: a rectangle (JCGM 100:2008, 4.3.7).
    u_light = np.hypot(u_surroundings, left_out / np.sqrt(3))
    u_radius = u_radius_mm(radius_mm)
    # Radius and light are both known badly, so that the product of their uncertainties counts as well.
    u = np.hypot(u_radius * (near + far), np.hypot(radius_mm, u_radius) * u_light)
    near, far = near * (1 - near_lamp), far * (1 - far_lamp)
    return ArrisShading(near_mm=radius_mm * near, far_mm=radius_mm * far, u_gap_mm=u)


def u_radius_mm(radius_mm: float) -> float:
    """Standard uncertainty [mm] of an arris radius [mm] that was assumed or told.

    A small radius is no better known than a usual one.
    """
    return _U_RADIUS * max(radius_mm, ARRIS_RADIUS_MM)


def _front_lit(arrises: Arrises, slope_per_mm: float) -> NDArray[np.bool_]:
    """Stations (N,) whose seen cut face looks to the side from which the paper is lit more brightly."""
    towards_near = slope_per_mm < 0  # less light towards the joint: the lamp stands on the print's side
    return np.asarray((arrises.fit.band_px > 1.0) & (arrises.face_far == towards_near))


def _lamp(slope_per_mm: float) -> float:
    """How much speaks for one near lamp, 0..1."""
    if not np.isfinite(slope_per_mm):
        return 0.0
    odds = (slope_per_mm / _UNEVEN_PER_MM) ** 4
    return odds / (1 + odds)


def _displacement(plate: Array64, gap: Array64, paper_white: float, lamp: float) -> tuple[Array64, Array64]:
    """Displacement and its uncertainty from the light on the rim, both in radii."""
    plate = np.maximum(plate, 1e-3)
    around = _SURROUNDINGS * paper_white
    step = plate - gap
    step = np.where(np.abs(step) < _LEAST_STEP * plate, np.copysign(_LEAST_STEP * plate, step), step)
    shift = np.clip(_RIM * (plate - around) / step, -_FARTHEST, _FARTHEST)
    # Lit from below, the rim mirrors now the dark sky line, now the bright face opposite: less is known.
    lit = gap > plate
    from_above = _U_SURROUNDINGS + (_U_SURROUNDINGS_LAMP - _U_SURROUNDINGS) * lamp
    u = np.abs(_RIM * np.where(lit, _U_SURROUNDINGS_LIT, from_above) * around / step)
    return shift, np.minimum(u, 0.6)
