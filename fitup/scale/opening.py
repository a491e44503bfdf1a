"""A plane in the target's space in which lengths are measured: the plates' own, or the one a joint opens in.

Cross-sections are told in (n, z): n away from the target along the plate, z towards the camera, from the
place of the near arris on the plate that carries the target; its body lies in -t <= z <= 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.joint import JointKind, JointSetup, TargetOn

__all__ = ["PlaneFrame", "PlateLine", "apparent_factor", "near_bound_mm", "opening_frame"]

Vector = NDArray[np.float64]

_Z = np.array([0.0, 0.0, 1.0])
_UPWARD = (TargetOn.BASE, TargetOn.LOWER)
_DOWNWARD = (JointKind.CORNER_FLUSH, JointKind.EDGE)


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneFrame:
    """Origin and two axes at right angles, (3,) each [mm], in the target frame with z = 0 on the plate.

    Raises ValueError for axes that are not of unit length and square to each other.
    """

    origin_mm: Vector
    along: Vector
    across: Vector

    def __post_init__(self) -> None:
        both = np.stack([self.along, self.across])
        if not np.allclose(both @ both.T, np.eye(2), atol=1e-9):
            raise ValueError("the axes of a plane must be of unit length and square to each other")

    @classmethod
    def plate(cls) -> PlaneFrame:
        """Return the plate's own plane: the target's x and y."""
        return cls(origin_mm=np.zeros(3), along=np.eye(3)[0], across=np.eye(3)[1])

    @property
    def matrix(self) -> Vector:
        """(3, 3) with along, across and origin in its columns."""
        return np.stack([self.along, self.across, self.origin_mm], axis=1)

    @property
    def axes(self) -> Vector:
        """(3, 3) with along, across and the plane's normal in its columns."""
        return np.stack([self.along, self.across, np.cross(self.along, self.across)], axis=1)

    def to_space(self, points_mm: Vector) -> Vector:
        """Points of the plane (..., 2) to the target's space (..., 3)."""
        return np.asarray(self.origin_mm + points_mm @ np.stack([self.along, self.across]))


@dataclass(frozen=True, kw_only=True, eq=False)
class PlateLine:
    """A straight line in the plate's plane: a point and a direction, (2,) each [mm], of any length and sense.

    Raises ValueError for a line without direction, or one that runs square to the strip: then it cannot be
    told which side of it lies away from the target.
    """

    point_mm: Vector
    direction: Vector

    def __post_init__(self) -> None:
        if not np.all(np.isfinite([self.point_mm, self.direction])) or abs(self.direction[0]) < 1e-9:
            raise ValueError("the line of an arris needs a direction that is not square to the strip")

    @property
    def along(self) -> Vector:
        """(3,) unit vector along the line, towards growing x."""
        unit = self.direction / np.hypot(*self.direction) * np.sign(self.direction[0])
        return np.array([*unit, 0.0])

    @property
    def away(self) -> Vector:
        """(3,) unit vector in the plate's plane, square to the line, away from the target."""
        x, y, _ = self.along
        return np.array([-y, x, 0.0])


def opening_frame(
    setup: JointSetup,
    near_line: PlateLine,
    thickness_mm: float,
    included_angle_deg: float | None = None,
) -> PlaneFrame:
    """Plane that a joint opens in: its origin on the near line's point, x along the joint, y across the gap.

    ======================  ==========================  ===================  ==============================
    kind, target on         near line                   origin (n, z)        across (n, z)
    ======================  ==========================  ===================  ==============================
    butt, seam              end of the plate            (0, 0)               (1, 0)
    corner-full-open        end of the plate            (0, -t)              (cos b, -sin b), inner arrises
    corner-half-open        end of the plate            (0, -overlap)        (1, 0)
    corner-flush            end of the plate            (0, 0)               (0, -1), gap from t to t + g
    tee, inside; standing   lower arris                 (0, 0)               (1, 0)
    tee, inside; base       foot of the standing face   (0, 0)               (0, 1)
    lap; upper              upper arris                 (0, 0)               (0, -1), gap from t to t + g
    lap; lower              foot of the upper end face  (0, 0)               (0, 1)
    edge                    end of the plate            (0, 0)               (0, -1), gap from t to t + g
    ======================  ==========================  ===================  ==============================

    b is half of what the included angle lacks to 180 degrees. A full-open corner's plates are of one
    thickness, so that the line between their inner arrises halves the angle of the V.

    Parameters
    ----------
    near_line : in the plane of the plate that carries the target
    thickness_mm : of the sheet
    included_angle_deg : a measured angle, instead of the one in `setup`
    """
    away = near_line.away
    origin = np.array([*near_line.point_mm, 0.0])
    across = away
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        angle = setup.included_angle_deg if included_angle_deg is None else included_angle_deg
        turn = np.radians((180.0 - angle) / 2)
        origin = origin - thickness_mm * _Z
        across = np.cos(turn) * away - np.sin(turn) * _Z
    elif setup.kind is JointKind.CORNER_HALF_OPEN:
        origin = origin - (thickness_mm / 2 if setup.overlap_mm is None else setup.overlap_mm) * _Z
    elif setup.kind in _DOWNWARD or setup.place is TargetOn.UPPER:
        across = -_Z
    elif setup.place in _UPWARD:
        across = _Z
    return PlaneFrame(origin_mm=origin, along=near_line.along, across=across)


def near_bound_mm(setup: JointSetup, thickness_mm: float) -> float:
    """Where in the opening plane, mm across, the gap begins: behind the land where that lies in the plane."""
    land = setup.kind in _DOWNWARD or setup.place is TargetOn.UPPER
    return thickness_mm if land else 0.0


def apparent_factor(frame: PlaneFrame, view_tangent: ArrayLike) -> Vector:
    """What a short gap in a plane seems to be in the plate's plane, as a share of its true width.

    cos b + sin b · tan of the view angle (...,), which is positive where the camera stands on the far side;
    for a camera far away against the gap. A check by hand, not the way to measure.
    """
    tangent = np.asarray(view_tangent, dtype=np.float64)
    level = float(np.hypot(*frame.across[:2])) * (1 if frame.across[:2] @ [0.0, 1.0] >= 0 else -1)
    return np.asarray(level - frame.across[2] * tangent)
