"""Start reading here: one photo of one joint, from the file to the verdict.

photo → scale → edges → profile → verdict; what is kept of it (evidence) is the next step's business.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fitup.edges import (
    Arrises,
    CameraResponse,
    JointLine,
    find_arrises,
    find_joint,
    lay_opening,
    read_response,
    section_of,
    straighten,
)
from fitup.errors import UsageError
from fitup.joint import JointSetup
from fitup.photo import Photo, PhotoLimits, open_photo
from fitup.profile import ARRIS_RADIUS_MM, GapProfile, measure_gap
from fitup.scale import PrintRecord, ScaleMap, TargetSighting, find_target, scale_map
from fitup.verdict import DecisionRule, JointVerdict, Limit, Sheet, Wire, fillable_gap, judge

__all__ = ["Inspection", "InspectionSettings", "inspect", "inspect_target", "limit_of"]


@dataclass(frozen=True, kw_only=True, eq=False)
class InspectionSettings:
    """All that a person says about a joint; with the photo, enough to measure again.

    `points_px` (K, 2) are two or more image points on the joint; `from_mm` and `to_mm` bound the stretch that
    is looked at, in mm from the datum mark (the target's length by default).

    Raises UsageError where the joint's shape is described wrongly, or lacks the sheet's thickness.
    """

    wire: Wire
    sheet: Sheet | None = None
    arris_radius_mm: float = ARRIS_RADIUS_MM
    joint_kind: str = "butt"
    target_on: str | None = None
    included_angle_deg: float = 90.0
    overlap_mm: float | None = None
    procedure_limit_mm: float | None = None
    bridge_factor: float = 1.0
    decision: DecisionRule = field(default_factory=DecisionRule)
    print_record: PrintRecord | None = None
    target_thickness_mm: float | None = None
    points_px: NDArray[np.float64] | None = None
    from_mm: float | None = None
    to_mm: float | None = None
    photo_limits: PhotoLimits = field(default_factory=PhotoLimits)

    def __post_init__(self) -> None:
        setup = self.setup
        if self.sheet is None and not setup.opens_in_plate_plane:
            raise UsageError(f"a {setup.kind} joint needs the sheet's thickness: give it (--sheet 1.5mm).")

    @property
    def setup(self) -> JointSetup:
        """The joint's shape; UsageError where its words do not go together."""
        return JointSetup.of(self.joint_kind, self.target_on, self.included_angle_deg, self.overlap_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Inspection:
    """One photo of one joint, each stage's result."""

    settings: InspectionSettings
    photo: Photo
    scale: ScaleMap
    line: JointLine
    response: CameraResponse
    arrises: Arrises
    profile: GapProfile
    limit: Limit
    verdict: JointVerdict


def inspect(path: str | os.PathLike[str], settings: InspectionSettings) -> Inspection:
    """Measure the gap along the joint in the photo at `path` and judge it.

    Raises PhotoError for a file that is no sound photo, RetakeError for a photo in which the joint cannot be
    measured, UsageError for settings that cannot be used.
    """
    limit_of(settings)  # settings that cannot be used are told before the photo is opened
    photo = open_photo(path, settings.photo_limits)
    return inspect_target(photo, find_target(photo), settings)


def inspect_target(photo: Photo, sighting: TargetSighting, settings: InspectionSettings) -> Inspection:
    """Measure and judge the joint beside one of the targets in an opened photo; raises as `inspect`."""
    limit, setup = limit_of(settings), settings.setup
    sheet_mm = settings.sheet.thickness_mm if settings.sheet else None
    scale = scale_map(
        photo,
        sighting,
        print_record=settings.print_record,
        thickness_mm=settings.target_thickness_mm,
    )
    line = find_joint(
        photo,
        scale,
        setup,
        points_px=settings.points_px,
        from_mm=settings.from_mm,
        to_mm=settings.to_mm,
        sheet_mm=sheet_mm,
    )
    if sheet_mm is not None:
        scale, line = lay_opening(scale, line, setup, sheet_mm)
    response = read_response(photo, scale)
    band = straighten(photo, scale, line)
    arrises = find_arrises(
        band,
        response.to_linear(band.profiles),
        section_of(setup, (scale.view_tangents(band.xy_mm) * band.normal).sum(axis=1), sheet_mm),
        print_blur_px=_print_blur(scale, response),
    )
    profile = measure_gap(scale, arrises, response, arris_radius_mm=settings.arris_radius_mm)
    return Inspection(
        settings=settings,
        photo=photo,
        scale=scale,
        line=line,
        response=response,
        arrises=arrises,
        profile=profile,
        limit=limit,
        verdict=judge(profile, limit, settings.decision),
    )


def limit_of(settings: InspectionSettings) -> Limit:
    """Return the widest gap that may be left, by the settings' rules."""
    return fillable_gap(
        settings.wire,
        settings.joint_kind,
        procedure_limit_mm=settings.procedure_limit_mm,
        bridge_factor=settings.bridge_factor,
    )


def _print_blur(scale: ScaleMap, response: CameraResponse) -> float:
    """Blur of the print's edges [px]: from their shape, else their plain spread, else a phone's usual one."""
    measured = np.isfinite(scale.print_blur_px) and not response.modelled
    return scale.print_blur_px if measured else response.blur_px
