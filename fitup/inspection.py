"""Start reading here: one photo of one joint, from the file to the verdict.

photo → scale → edges → profile → verdict; what is kept of it (evidence) is the next step's business.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges import (
    Arrises,
    CameraResponse,
    JointLine,
    find_arrises,
    find_joint,
    find_lands,
    lay_opening,
    read_response,
    section_of,
    straighten,
)
from fitup.errors import RetakeError, UsageError
from fitup.joint import JointSetup
from fitup.photo import Photo, PhotoLimits, open_photo
from fitup.profile import ARRIS_RADIUS_MM, GapProfile, JointShape, measure_gap, with_second_target
from fitup.scale import (
    PrintRecord,
    ScaleMap,
    TargetPair,
    TargetSighting,
    bundle,
    find_target,
    find_targets,
    scale_map,
)
from fitup.verdict import DecisionRule, JointVerdict, Limit, Sheet, Wire, fillable_gap, judge

__all__ = ["Inspection", "InspectionSettings", "inspect", "inspect_target", "limit_of", "target_scale"]


@dataclass(frozen=True, kw_only=True, eq=False)
class InspectionSettings:
    """All that a person says about a joint; with the photo, enough to measure again.

    `points_px` (K, 2) are two or more image points on the joint; `from_mm` and `to_mm` bound the stretch that
    is looked at, in mm from the datum mark (the target's length by default). With `two_targets` a second one
    must lie on the other plate; where one is seen there it is used anyhow, but for butt joints and seams.
    `one_sheet` says that both were cut from one print. The lower strip number is the first target.

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
    two_targets: bool = False
    one_sheet: bool = False
    points_px: NDArray[np.float64] | None = None
    from_mm: float | None = None
    to_mm: float | None = None
    photo_limits: PhotoLimits = field(default_factory=PhotoLimits)

    def __post_init__(self) -> None:
        setup = self.setup
        if self.sheet is None and not setup.opens_in_plate_plane:
            raise UsageError(f"a {setup.kind} joint needs the sheet's thickness: give it (--sheet 1.5mm).")

    @property
    def part_only(self) -> bool:
        """Whether only a part of the joint was asked for."""
        return self.points_px is not None or self.from_mm is not None or self.to_mm is not None

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
    shape: JointShape
    limit: Limit
    verdict: JointVerdict


def inspect(path: str | os.PathLike[str], settings: InspectionSettings) -> Inspection:
    """Measure the gap along the joint in the photo at `path` and judge it.

    Raises PhotoError for a file that is no sound photo, RetakeError for a photo in which the joint cannot be
    measured, UsageError for settings that cannot be used.
    """
    limit_of(settings)  # settings that cannot be used are told before the photo is opened
    photo = open_photo(path, settings.photo_limits)
    first, *others = _targets(photo, settings)
    return inspect_target(photo, first, settings, *others)


def inspect_target(
    photo: Photo,
    sighting: TargetSighting,
    settings: InspectionSettings,
    other: TargetSighting | None = None,
    *,
    elsewhere: tuple[TargetSighting, ...] = (),
) -> Inspection:
    """Measure and judge the joint beside one target in an opened photo, with another on the other plate.

    No joint is looked for where targets lie `elsewhere`. Raises as `inspect`.
    """
    limit, setup = limit_of(settings), settings.setup
    sheet_mm = settings.sheet.thickness_mm if settings.sheet else None
    pair = None if other is None else _pair(photo, sighting, other, settings)
    scale = pair.first if pair else target_scale(photo, sighting, settings)
    line = find_joint(
        photo,
        scale,
        setup,
        points_px=settings.points_px,
        from_mm=settings.from_mm,
        to_mm=settings.to_mm,
        sheet_mm=sheet_mm,
        others=elsewhere if other is None else (other, *elsewhere),
    )
    angle = (pair.included_angle_deg, pair.u_included_angle_deg) if pair else None
    if sheet_mm is not None:
        scale, line = lay_opening(scale, line, setup, sheet_mm, angle)
    response = read_response(photo, scale)
    band = straighten(photo, scale, line)
    linear = response.to_linear(band.profiles)
    arrises = find_arrises(
        band,
        linear,
        section_of(setup, (scale.view_tangents(band.xy_mm) * band.normal).sum(axis=1), sheet_mm, angle),
        print_blur_px=_print_blur(scale, response),
    )
    profile = measure_gap(scale, arrises, response, arris_radius_mm=settings.arris_radius_mm)
    shape = JointShape()
    if pair is not None:
        profile, shape = with_second_target(profile, arrises, pair, scale.frame, sheet_mm or 0.0)
    lands = find_lands(arrises, linear)
    shape = replace(
        shape,
        near_land_mm=lands.near_mm if lands.near_expected else None,
        far_land_mm=lands.far_mm if lands.far_expected else None,
    )
    return Inspection(
        settings=settings,
        photo=photo,
        scale=scale,
        line=line,
        response=response,
        arrises=arrises,
        profile=profile,
        shape=shape,
        limit=limit,
        verdict=judge(profile, limit, settings.decision, part_only=settings.part_only),
    )


def _targets(photo: Photo, settings: InspectionSettings) -> tuple[TargetSighting, ...]:
    """Return the target, and the one on the other plate where it is wanted or of use."""
    if settings.setup.opens_in_plate_plane and not settings.two_targets:
        return (find_target(photo),)
    seen = find_targets(photo, expected=2 if settings.two_targets else 1)[:2]
    if settings.two_targets and len(seen) < 2:
        raise RetakeError(
            "second target not found",
            "Only one target was found in the photo, and two were announced.",
            "Lay a target of its own number on each plate and photograph both whole, not from the side.",
        )
    return tuple(sorted(seen, key=lambda sighting: sighting.layout.strip_number))


def target_scale(photo: Photo, sighting: TargetSighting, settings: InspectionSettings) -> ScaleMap:
    """Return the map of the plane of the plate on which a target lies."""
    return scale_map(
        photo,
        sighting,
        print_record=settings.print_record,
        thickness_mm=settings.target_thickness_mm,
    )


def _pair(
    photo: Photo, sighting: TargetSighting, other: TargetSighting, settings: InspectionSettings
) -> TargetPair:
    return bundle(
        photo,
        (sighting, other),
        print_records=(settings.print_record, settings.print_record),
        thicknesses_mm=(settings.target_thickness_mm, settings.target_thickness_mm),
        same_sheet=settings.one_sheet,
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
