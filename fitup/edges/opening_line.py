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
from fitup.scale import PlaneFrame, ScaleMap

__all__ = ["lay_opening"]

Array64 = NDArray[np.float64]

USUAL_HALF_GAP_MM = 0.2
_UPWARD = (TargetOn.BASE, TargetOn.LOWER)


def lay_opening(
    scale: ScaleMap, line: JointLine, setup: JointSetup, sheet_mm: float
) -> tuple[ScaleMap, JointLine]:
    """Map of the opening plane, and the joint's line in it; both as given where the plates' plane opens."""
    turn = _turn(setup)
    if turn == 0.0:
        return scale, line
    depth = _depth_mm(setup, sheet_mm)
    foot = line.xy_mm - depth * scale.view_tangents(line.xy_mm)
    origin, along = _straight(foot)
    square = np.array([-along[1], along[0], 0.0])
    below = 0.0 if setup.kind is not JointKind.CORNER_FULL_OPEN else -sheet_mm
    frame = PlaneFrame(
        origin_mm=np.array([*origin, below]),
        along=np.array([*along, 0.0]),
        across=np.cos(turn) * square - np.sin(turn) * np.eye(3)[2],
    )
    opening = scale.onto(frame)
    seen = opening.to_mm(scale.to_px(line.xy_mm))
    laid = line_along(seen, evidence=line.evidence, rival=line.rival, given=line.given_by_person)
    return opening, laid


def _turn(setup: JointSetup) -> float:
    """Angle [rad] by which the opening plane is turned down from the plate's plane about the joint."""
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        return float(np.radians((180.0 - setup.included_angle_deg) / 2))
    if setup.place in _UPWARD:
        return -np.pi / 2
    upright = setup.kind in (JointKind.CORNER_FLUSH, JointKind.EDGE) or setup.place is TargetOn.UPPER
    return np.pi / 2 if upright else 0.0


def _depth_mm(setup: JointSetup, sheet_mm: float) -> float:
    """How deep below the plate's plane the middle of the gap lies."""
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        return sheet_mm
    return 0.0 if setup.place in _UPWARD else sheet_mm + USUAL_HALF_GAP_MM


def _straight(points: Array64) -> tuple[Array64, Array64]:
    """Foot of the datum mark on the straight line through points (P, 2), and its direction along x."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    along = along * np.sign(along[0])
    return middle - (middle @ along) * along, along
