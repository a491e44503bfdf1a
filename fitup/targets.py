"""Which targets of a photo count for a joint, and what they make of it: one plate's map or two plates."""

from __future__ import annotations

from fitup.errors import RetakeError, UsageError
from fitup.joint import JointKind, JointSetup, TargetOn
from fitup.photo import Photo
from fitup.scale import (
    ScaleMap,
    TargetPair,
    TargetSighting,
    bundle,
    find_target,
    find_targets,
    scale_map,
)
from fitup.settings import InspectionSettings

__all__ = ["pair_of", "target_scale", "targets_of"]

LEAST_AGAINST = 0.7  # cosine of the angle between one strip and the other turned round
ANGLE_OFF_DEG = 20.0  # plates stand otherwise than said by more than that: other plates, or another kind


def targets_of(photo: Photo, settings: InspectionSettings) -> tuple[TargetSighting, ...]:
    """Return the target, and the one on the other plate where it is wanted or of use."""
    if settings.setup.opens_in_plate_plane and not settings.two_targets:
        return (find_target(photo, settings.lens_of(photo)),)
    seen = find_targets(photo, 2 if settings.two_targets else 1, settings.lens_of(photo))[:2]
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


def pair_of(
    photo: Photo, sighting: TargetSighting, other: TargetSighting, settings: InspectionSettings
) -> TargetPair | None:
    """Both targets in one space; None for a second one that was not announced and belongs to another joint.

    Raises RetakeError where it was announced, UsageError for a lap's strips on each other's sheets.
    """
    pair = bundle(
        photo,
        (sighting, other),
        print_records=(settings.print_record, settings.print_record),
        thicknesses_mm=(settings.target_thickness_mm, settings.target_thickness_mm),
        same_sheet=settings.one_sheet,
    )
    if _on_both_plates(pair, settings.setup):
        _check_lap(pair, settings.setup)
        return pair
    if settings.two_targets:
        raise RetakeError(
            "targets of no one joint",
            f"The plates under the two targets do not lie as in a {settings.setup.kind} joint.",
            "Lay one on each plate with both joint arrows towards the joint, or give the right joint kind.",
        )
    return None


def _on_both_plates(pair: TargetPair, setup: JointSetup) -> bool:
    """Whether the strips run against each other, as arrows to one joint do, and the plates fold as said."""
    against = pair.second_in_first.rotation[0, 0] < -LEAST_AGAINST
    angle = pair.included_angle_deg
    if setup.opens_in_plate_plane or setup.kind is JointKind.LAP:
        return bool(against and angle > 180.0 - ANGLE_OFF_DEG)
    inside = setup.kind in (JointKind.TEE, JointKind.CORNER_INSIDE)
    return bool(
        against and pair.convex is not inside and abs(angle - setup.included_angle_deg) < ANGLE_OFF_DEG
    )


def _check_lap(pair: TargetPair, setup: JointSetup) -> None:
    """In a lap it can be seen which sheet is the upper one."""
    if setup.kind is not JointKind.LAP:
        return
    second_above = bool(pair.second_in_first.translation_mm[2] > 0)
    if second_above is not (setup.place is TargetOn.LOWER):
        right = TargetOn.LOWER if second_above else TargetOn.UPPER
        raise UsageError(
            f"the target of the lower number lies on the {right} sheet: give --target-on {right}."
        )
