"""The record's part on how the plates of a joint lie to each other: opening plane, angle, step, lands."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["PlaneEntry", "SecondTargetEntry", "ShapeEntry"]

NotNegative = Annotated[float, Field(ge=0)]
Triple = tuple[float, float, float]
Lengths = tuple[float | None, ...]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class PlaneEntry(_Entry):
    """The plane that the joint opens in: a point and two unit vectors, along the joint and across the gap.

    In the frame of the first target with z = 0 on the plate that carries it, in mm. Places `near_mm` and
    `far_mm` of the profile and the scale's homography are told in this plane.
    """

    origin_mm: Triple
    along: Triple
    across: Triple


class SecondTargetEntry(_Entry):
    """The target on the other plate."""

    form: str
    strip_number: int


class ShapeEntry(_Entry):
    """How the plates lie to each other, as measured; null where the photo or the kind of joint does not tell.

    `step_mm` is the step between the plates (hi-lo) square to the opening plane, positive where the far plate
    stands out towards the camera. Lands are the cut faces beside the gap, `near` on the side of the first
    target; null all along where the joint has none there. All are in the order of the profile's stations.
    `notes` say what could not be measured in this photo, why, and what would help.
    """

    joint_kind: str
    gap_between: str
    opening_plane: PlaneEntry
    second_target: SecondTargetEntry | None
    one_sheet: bool
    included_angle_deg: float | None
    u_included_angle_deg: NotNegative | None
    step_mm: Lengths | None
    u_step_mm: Lengths | None
    near_side: str
    near_land_mm: Lengths | None
    far_side: str
    far_land_mm: Lengths | None
    notes: tuple[str, ...]
