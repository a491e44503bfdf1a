"""Which targets of a photo count for a joint, and what they make of it: one plate's map or two plates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

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

__all__ = ["JointTargets", "named_targets", "pair_of", "target_scale", "targets_of"]

LEAST_AGAINST = 0.7  # cosine of the angle between one strip and the other turned round
ANGLE_OFF_DEG = 20.0  # plates stand otherwise than said by more than that: other plates, or another kind


@dataclass(frozen=True, kw_only=True, eq=False)
class JointTargets:
    """Targets of a photo: the joint's first, the one on its other plate, and those elsewhere."""

    first: TargetSighting
    other: TargetSighting | None = None
    elsewhere: tuple[TargetSighting, ...] = ()


def targets_of(photo: Photo, settings: InspectionSettings) -> JointTargets:
    """Return the target, and the one on the other plate where it is wanted or of use.

    Raises as `find_target`, and RetakeError where a strip that was named, or a second one, is not there.
    """
    lens = settings.lens_of(photo)
    if settings.strips:
        return named_targets(find_targets(photo, len(settings.strips), lens), settings)
    if settings.setup.opens_in_plate_plane and not settings.two_targets:
        return JointTargets(first=find_target(photo, lens))
    seen = find_targets(photo, 2 if settings.two_targets else 1, lens)[:2]
    return _both(seen, settings)


def named_targets(
    sightings: Sequence[TargetSighting], settings: InspectionSettings, joint: str = ""
) -> JointTargets:
    """The targets with the numbers of the joint's own strips, of all that a photo shows.

    Raises RetakeError where none is there, UsageError where they lie end to end along several photos.
    """
    strips = settings.strips
    of_joint = f" of joint {joint}" if joint else ""
    pair = settings.two_targets or not settings.setup.opens_in_plate_plane
    if len(strips) > (2 if pair else 1):
        raise UsageError(
            f"strips {strips[0]} to {strips[-1]}{of_joint} lie end to end: inspect all of its photos "
            "together with `fitup seam`."
        )
    own = [seen for seen in sightings if seen.layout.strip_number in strips]
    if not own:
        raise RetakeError(
            "no such strip",
            f"Strip {strips[0]}{of_joint} was not found in the photo.",
            "Photograph it with the whole strip in the frame, or name the strip that lies there.",
        )
    elsewhere = tuple(seen for seen in sightings if seen.layout.strip_number not in strips)
    return replace(_both(own, settings), elsewhere=elsewhere)


def _both(seen: Sequence[TargetSighting], settings: InspectionSettings) -> JointTargets:
    """One target or two, that of the lower number first."""
    if settings.two_targets and len(seen) < 2:
        raise RetakeError(
            "second target not found",
            "Only one target was found in the photo, and two were announced.",
            "Lay a target of its own number on each plate and photograph both whole, not from the side.",
        )
    first, *others = sorted(seen, key=lambda sighting: sighting.layout.strip_number)
    return JointTargets(first=first, other=others[0] if others else None)


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
