"""Start reading here: one photo of one joint, from the file to the verdict.

photo → scale → edges → profile → verdict; what is kept of it (evidence) is the next step's business.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np

from fitup.edges import (
    Arrises,
    CameraResponse,
    JointLine,
    find_arrises,
    find_lands,
    lay_opening,
    read_response,
    section_of,
    straighten,
)
from fitup.joint import JointKind
from fitup.joint_course import find_course
from fitup.photo import Photo, open_photo
from fitup.profile import (
    GapProfile,
    JointShape,
    PhotoQuality,
    measure_gap,
    photo_quality,
    with_correction,
    with_lands,
    with_second_target,
)
from fitup.profile.ends import with_unseen_ends
from fitup.profile.joint_blame import blaming_print
from fitup.scale import ScaleMap, TargetPair, TargetSighting, u_view_tangents
from fitup.settings import InspectionSettings
from fitup.targets import pair_of, target_scale, targets_of
from fitup.verdict import JointVerdict, LandsToJudge, Limit, information_on, judge, lands_to_judge, limit_for

__all__ = [
    "Inspection",
    "InspectionSettings",
    "inspect",
    "inspect_target",
    "limit_of",
    "target_scale",
    "verdict_of",
]


@dataclass(frozen=True, kw_only=True, eq=False)
class Inspection:
    """One photo of one joint, each stage's result; `pair` are both targets, where the other plate has one."""

    settings: InspectionSettings
    photo: Photo
    scale: ScaleMap
    pair: TargetPair | None
    line: JointLine
    response: CameraResponse
    arrises: Arrises
    profile: GapProfile
    shape: JointShape
    quality: PhotoQuality
    limit: Limit
    verdict: JointVerdict


def inspect(path: str | os.PathLike[str], settings: InspectionSettings) -> Inspection:
    """Measure the gap along the joint in the photo at `path` and judge it.

    Raises PhotoError for a file that is no sound photo, RetakeError for a photo in which the joint cannot be
    measured, UsageError for settings that cannot be used.
    """
    limit_of(settings)  # settings that cannot be used are told before the photo is opened
    photo = open_photo(path, settings.photo_limits)
    targets = targets_of(photo, settings)
    return inspect_target(photo, targets.first, settings, targets.other, elsewhere=targets.elsewhere)


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
    sheet_mm = settings.opening_sheet.thickness_mm if settings.opening_sheet else None
    pair = None if other is None else pair_of(photo, sighting, other, settings)
    scale = pair.first if pair else target_scale(photo, sighting, settings)
    with blaming_print(photo, scale):
        line = find_course(photo, scale, settings, elsewhere if other is None else (other, *elsewhere))
    angle = (pair.included_angle_deg, pair.u_included_angle_deg) if pair else None
    if sheet_mm is not None:
        scale, line = lay_opening(scale, line, setup, sheet_mm, angle)
    response = read_response(photo, scale)
    band = straighten(photo, scale, line)
    linear = response.sampled_to_linear(band.profiles)
    tangent = (scale.view_tangents(band.xy_mm) * band.normal).sum(axis=1)
    middle = [len(tangent) // 2]
    u_tangent = float(u_view_tangents(scale, band.xy_mm[middle], band.normal[middle])[0])
    arrises = find_arrises(
        band,
        linear,
        section_of(setup, tangent, sheet_mm, angle, u_tangent=u_tangent),
        print_blur_px=_print_blur(scale, response),
        paper_white=response.paper_white,
    )
    lands = find_lands(arrises, linear)
    profile = measure_gap(
        scale,
        arrises,
        response,
        arris_radius_mm=settings.arris_radius_mm,
        lands=None if setup.kind is JointKind.LAP else lands,
    )
    shape = JointShape()
    if pair is not None:
        profile, shape = with_second_target(profile, arrises, pair, scale.frame, sheet_mm or 0.0)
    shape = with_lands(shape, lands, arrises, profile, scale)
    profile = with_correction(profile, settings.correction, photo.camera.phone)
    if settings.ends_mm != (None, None):
        start, end = settings.stretch_mm
        own_end = end if end is not None else sighting.layout.length_mm
        profile, shape = with_unseen_ends(profile, shape, start or 0.0, own_end)
    quality = photo_quality(
        photo,
        scale,
        arrises,
        response,
        profile,
        limit_mm=limit.limit_mm,
        probability=_probability(settings),
    )
    return Inspection(
        settings=settings,
        photo=photo,
        scale=scale,
        pair=pair,
        line=line,
        response=response,
        arrises=arrises,
        profile=profile,
        shape=shape,
        quality=quality,
        limit=limit,
        verdict=verdict_of(profile, settings, lands=lands_to_judge(shape, sheet_mm), quality=quality),
    )


def limit_of(settings: InspectionSettings) -> Limit:
    """Return the widest gap that may be left, by the settings' rules."""
    return limit_for(settings.case)


def verdict_of(
    profile: GapProfile,
    settings: InspectionSettings,
    *,
    lands: LandsToJudge | None = None,
    quality: PhotoQuality | None = None,
) -> JointVerdict:
    """Judge a profile by the settings' limit and rules.

    `lands` where the joint has some, `quality` where a single photo was measured.
    """
    rules, limit = settings.rules, limit_of(settings)
    verdict = judge(
        profile,
        limit,
        settings.deciding,
        rules.spot_rule,
        rules.seen_rule,
        part_only=settings.part_only,
        lands=lands,
        land_rule=rules.land_rule,
        quality=quality,
    )
    information = information_on(profile, settings.case, settings.deciding, limit)
    return replace(verdict, information=information)


def _probability(settings: InspectionSettings) -> float | None:
    """How sure a statement must be; None where readings alone decide."""
    rule = settings.decision or settings.rules.decision
    return None if rule.simple_acceptance else rule.conformance_probability


def _print_blur(scale: ScaleMap, response: CameraResponse) -> float:
    """Blur of the print's edges [px]: from their shape, else their plain spread, else a phone's usual one."""
    measured = np.isfinite(scale.print_blur_px) and not response.modelled
    return scale.print_blur_px if measured else response.blur_px
