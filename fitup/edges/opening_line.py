"""From the line seen in the plate's plane to the same line in the plane that the joint opens in.

The search sees the gap of a corner, tee, lap or edge joint where its rays meet the plate's plane. How deep it
lies below that plane follows from the kind and the sheet; a wrong depth of δ moves the opening plane by about
δ against a camera 200 mm away, which leaves the scale right to some thousandths.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.edges.joint_line import JointLine, line_along
from fitup.joint import JointKind, JointSetup, TargetOn
from fitup.scale import PlateLine, ScaleMap, opening_frame

__all__ = ["lay_opening"]

Array64 = NDArray[np.float64]

USUAL_HALF_GAP_MM = 0.2
_UPWARD = (TargetOn.BASE, TargetOn.LOWER)


def lay_opening(
    scale: ScaleMap,
    line: JointLine,
    setup: JointSetup,
    sheet_mm: float,
    angle_deg: tuple[float, float] | None = None,
) -> tuple[ScaleMap, JointLine]:
    """Map of the opening plane, and the joint's line in it; both as given where the plates' plane opens.

    `angle_deg` is a measured included angle and its standard uncertainty, instead of the one in `setup`.
    """
    if setup.opens_in_plate_plane or setup.kind is JointKind.CORNER_HALF_OPEN:
        return scale, line
    depth = _depth_mm(setup, sheet_mm)
    foot = line.xy_mm - depth * scale.view_tangents(line.xy_mm)
    opening = scale.onto(opening_frame(setup, _straight(foot), sheet_mm, angle_deg[0] if angle_deg else None))
    seen = opening.to_mm(scale.to_px(line.xy_mm))
    laid = line_along(seen, evidence=line.evidence, rival=line.rival, given=line.given_by_person)
    return opening, laid


def _depth_mm(setup: JointSetup, sheet_mm: float) -> float:
    """How deep below the plate's plane the middle of the gap lies."""
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        return sheet_mm
    return 0.0 if setup.place in _UPWARD else sheet_mm + USUAL_HALF_GAP_MM


def _straight(points: Array64) -> PlateLine:
    """Return the straight line through points (P, 2), from the foot of the datum mark along x."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    along = along * np.sign(along[0])
    return PlateLine(point_mm=middle - (middle @ along) * along, direction=along)
