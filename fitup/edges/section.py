"""What a kind of joint shows across its opening plane: how wide the flanks are and which faces are seen.

Across a butt joint lie plate, gap, plate; the camera may see the cut face of one of them in the gap. Other
kinds differ in three things only. A flank can be a *land*, which ends after some millimetres. The face seen
in the gap can be deep, the base under a standing plate or the other sheet of a lap, and then gets its light
through the gap alone. And the gap can be bounded by such a face instead of by an arris.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.joint import JointKind, JointSetup, TargetOn

__all__ = ["Section", "butt_section", "section_of"]

Array64 = NDArray[np.float64]

UNKNOWN_SHEET_MM, UNKNOWN_SHEET_SD_MM = 1.5, 0.75  # thin sheet, when nobody says how thin
# Plates stand to each other as drawn within 2.5 degrees (common practice, no source), rectangular.
U_ANGLE_DEG = 2.5 / np.sqrt(3)
STEEP_TANGENT = 0.47  # 25 degrees: beyond, the near plate hides the floor and the arrises' shape matters
STEEP_CORNER_TANGENT = 0.58  # 30 degrees off the bisector
STEEPEST_TANGENT = 2.2  # 65 degrees, for joints that can only be seen from aside


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """The view across the opening plane at N stations.

    `tangent` (N,) of the view angle across, positive where the camera stands beyond the gap, `u_tangent` its
    standard uncertainty. `near_flank_mm`
    and `far_flank_mm` (N,) are the seen widths of the flanks, infinite for plates. `face_depth_mm` and its
    standard uncertainty `u_face_depth_mm` say how deep the cut face seen in the gap goes. `slot` is True
    where the face seen there is lit through the gap alone, whatever its depth; `near_is_base` and
    `far_is_base` where the gap is bounded by a face that continues on both sides of the opening plane,
    without an arris. The far arris lies `far_depth_mm` below the plane; `u_turn_rad` is the standard
    uncertainty of the plane's turn about the joint, `land_turn_rad` the angle of an open corner's lands to
    the opening's normal.
    """

    kind: JointKind
    tangent: Array64
    near_flank_mm: Array64
    far_flank_mm: Array64
    face_depth_mm: float
    u_face_depth_mm: float
    sheet_mm: float | None
    steepest_tangent: float = STEEP_TANGENT
    far_depth_mm: float = 0.0
    u_turn_rad: float = 0.0
    land_turn_rad: float = 0.0
    slot: bool = False
    near_is_base: bool = False
    far_is_base: bool = False
    u_tangent: float = 0.0

    @property
    def near_view_rad(self) -> Array64:
        """(N,) angle between the view and the flank before the gap."""
        return self._turned_by(+1)

    @property
    def far_view_rad(self) -> Array64:
        """(N,) angle between the view and the flank behind the gap."""
        return self._turned_by(-1)

    def _turned_by(self, side: int) -> Array64:
        aside = np.arctan(self.tangent)
        if self.kind is JointKind.CORNER_FULL_OPEN:
            return np.asarray(self.land_turn_rad + side * aside)
        return np.asarray(np.pi / 2 - np.abs(aside))

    @property
    def in_plate_plane(self) -> bool:
        """True between plates that lie in one plane."""
        return self.kind in (JointKind.BUTT, JointKind.SEAM)

    @property
    def shows_end_face(self) -> bool:
        """True where the far plate's end face fills what is seen of the gap."""
        return self.slot and not (self.near_is_base or self.far_is_base)

    @property
    def lands(self) -> int:
        """How many of the flanks are lands whose light falls off towards the gap."""
        if self.shows_end_face or self.near_is_base or self.far_is_base:
            return 0
        return sum(bool(np.isfinite(flank).any()) for flank in (self.near_flank_mm, self.far_flank_mm))

    @property
    def between_lands(self) -> bool:
        """True where a flank ends within the band."""
        return bool(np.isfinite(self.near_flank_mm).any() or np.isfinite(self.far_flank_mm).any())


def butt_section(tangent: Array64, sheet_mm: float | None, u_tangent: float = 0.0) -> Section:
    """Plates in one plane; the cut face that is seen is as deep as the sheet is thick."""
    plates = np.full_like(tangent, np.inf)
    depth, u_depth = (sheet_mm, 0.0) if sheet_mm else (UNKNOWN_SHEET_MM, UNKNOWN_SHEET_SD_MM)
    return Section(
        kind=JointKind.BUTT,
        tangent=tangent,
        near_flank_mm=plates,
        far_flank_mm=plates,
        face_depth_mm=depth,
        u_face_depth_mm=u_depth,
        sheet_mm=sheet_mm,
        u_tangent=u_tangent,
    )


def section_of(
    setup: JointSetup,
    tangent: Array64,
    sheet_mm: float | None,
    angle_deg: tuple[float, float] | None = None,
    *,
    u_tangent: float = 0.0,
) -> Section:
    """Section of any kind of joint; kinds other than butt and seam need the sheet's thickness.

    `angle_deg` is a measured included angle and its standard uncertainty, instead of the one in `setup`;
    `u_tangent` is the tangent's.
    """
    if setup.opens_in_plate_plane or sheet_mm is None:
        return butt_section(tangent, sheet_mm, u_tangent)
    plate = np.full_like(tangent, np.inf)
    land = np.full_like(tangent, sheet_mm)
    near, far, depth, slot = plate, plate, 0.0, True
    near_is_base = far_is_base = False
    far_depth, turn, u_turn = 0.0, 0.0, float(np.radians(U_ANGLE_DEG))
    if setup.kind is JointKind.CORNER_FULL_OPEN:
        angle, u_angle = angle_deg or (setup.included_angle_deg, U_ANGLE_DEG)
        turn, u_turn = (float(value) for value in np.radians(((180.0 - angle) / 2, u_angle / 2)))
        near = sheet_mm * (np.sin(turn) + tangent * np.cos(turn))
        far = sheet_mm * (np.sin(turn) - tangent * np.cos(turn))
        slot = False
    elif setup.kind is JointKind.CORNER_HALF_OPEN:
        far = land
        far_depth = setup.overlap_mm or sheet_mm / 2
        depth, slot = far_depth, False
    elif setup.kind is JointKind.CORNER_FLUSH:
        near = land
    elif setup.kind is JointKind.EDGE:
        near, far = land, land
    elif setup.place is TargetOn.UPPER:
        near, far_is_base = land, True
    elif setup.place is TargetOn.LOWER:
        far, near_is_base = land, True
    else:
        far_is_base, near_is_base = setup.place is TargetOn.STANDING, setup.place is TargetOn.BASE
    return Section(
        kind=setup.kind,
        tangent=tangent,
        near_flank_mm=near,
        far_flank_mm=far,
        face_depth_mm=depth,
        u_face_depth_mm=0.0,
        sheet_mm=sheet_mm,
        far_depth_mm=far_depth,
        steepest_tangent=(
            STEEP_CORNER_TANGENT if setup.kind is JointKind.CORNER_FULL_OPEN else STEEPEST_TANGENT
        ),
        u_turn_rad=u_turn,
        land_turn_rad=turn,
        slot=slot,
        near_is_base=near_is_base,
        far_is_base=far_is_base,
        u_tangent=u_tangent,
    )
