"""Where a rounded arris seems to end when its other face is turned away from the camera.

At the inner arris of an open corner, or the lower arris of a standing plate, the camera sees the flank
under an angle γ and nothing of the face behind it. The rim of radius r turns from the flank's light into the
dark of the gap and ends at its own outline. Between virtual sharp arris and outline lie, square to the view,

    r (sin γ + cos γ - 1),      and to where the rim begins:      r sin γ

(circle touching both faces of a square edge). A rim that shines like its flank moves the edge to the first
place, a dark one to the second, and one that glints even nearer to the virtual arris. Metal mirrors, and what
the rim mirrors is mostly the dark of the gap: rendered corners in several lights, two sets of them, showed
the edge at 0.6 to 0.8 r. What a rim mirrors is not known from one photo, so that the standard uncertainty is
that of a rectangle from the arris to where the rim begins (JCGM 100:2008, 4.3.7), and a radius 40 % off is
possible besides. Before a base the rim mirrors the open base, which is brighter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises
from fitup.joint import JointKind
from fitup.profile.arris_shading import ArrisShading, u_radius_mm

__all__ = ["turned_arris_shading"]

Array64 = NDArray[np.float64]

DARK_SHARE = 0.9
DARK_SHARE_OVER_BASE = 0.3


def turned_arris_shading(arrises: Arrises, radius_mm: float) -> ArrisShading:
    """Displacement of both arrises away from the gap; none where a base, not an arris, bounds it."""
    section = arrises.section
    dark = DARK_SHARE_OVER_BASE if section.near_is_base or section.far_is_base else DARK_SHARE
    half_open = section.kind is JointKind.CORNER_HALF_OPEN
    near, u_near = _displacement(section.near_view_rad, dark, both_seen=half_open)
    far, u_far = _displacement(section.far_view_rad, dark, both_seen=section.shows_end_face)
    near, u_near = (np.where(section.near_is_base, 0.0, value) for value in (near, u_near))
    far, u_far = (np.where(section.far_is_base, 0.0, value) for value in (far, u_far))
    u_gap = np.hypot(u_radius_mm(radius_mm) * (near + far), radius_mm * np.hypot(u_near, u_far))
    return ArrisShading(near_mm=radius_mm * near, far_mm=radius_mm * far, u_gap_mm=u_gap)


def _displacement(view_rad: Array64, dark: float, *, both_seen: bool) -> tuple[Array64, Array64]:
    """Displacement and the standard uncertainty of where on the rim the edge is, in radii.

    Of an arris of which both faces are seen the rim lies between them, and the edge anywhere on it.
    """
    begin = np.sin(view_rad)
    if both_seen:
        end = -np.cos(view_rad)
        return (begin + end) / 2, (begin - end) / np.sqrt(12)
    outline = np.sin(view_rad) + np.cos(view_rad) - 1
    return dark * begin + (1 - dark) * outline, begin / np.sqrt(12)
