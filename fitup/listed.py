"""The joints of one photo as a joint list tells them, each with its own kind, plates, wire and limit."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

from fitup.errors import FitupError, UsageError
from fitup.inspection import Inspection, inspect_target, limit_of
from fitup.job import Job, JobJoint, joint_key
from fitup.joints import inspect_joints
from fitup.photo import Photo, open_photo
from fitup.scale import TargetSighting, find_targets
from fitup.targets import named_targets

__all__ = ["ListedInspection", "inspect_listed", "joints_by_photo"]


@dataclass(frozen=True, kw_only=True, eq=False)
class ListedInspection:
    """One joint of a photo: what was measured, or why nothing was; a strip of no joint has a name only."""

    name: str
    joint: JobJoint | None
    inspection: Inspection | None
    fault: FitupError | None


def joints_by_photo(job: Job, photo_name: str) -> tuple[JobJoint, ...]:
    """The joints at which the list names this photo."""
    key = joint_key(photo_name)
    return tuple(one for one in job.joints if key in map(joint_key, one.photos))


def inspect_listed(
    path: str | os.PathLike[str], joints: Sequence[JobJoint], *, by_strips: bool = False
) -> tuple[ListedInspection, ...]:
    """Inspect joints of the photo at `path`, each by its own settings.

    All of `joints` are told of; with `by_strips` only those of them whose strips lie in the photo, and every
    strip in it must belong to one of them.

    Raises as `inspect` where the photo cannot be opened or shows no strip; UsageError where strips do not
    tell which joint is which.
    """
    for one in joints:
        limit_of(one.settings)
    if len(joints) == 1 and not joints[0].settings.strips and not by_strips:
        return _beside_any_strip(path, joints[0])
    if not by_strips:
        _check_told_apart(joints)
    first = joints[0].settings
    photo = open_photo(path, first.photo_limits)
    expected = 1 if by_strips else sum(len(one.settings.strips) for one in joints)
    sightings = find_targets(photo, expected, first.lens_of(photo))
    there = _there(photo, sightings, joints) if by_strips else joints
    wanted = sum(len(one.settings.strips) for one in there)
    if by_strips and len(sightings) < wanted:  # a strip on the other plate may show on a finer picture only
        sightings = find_targets(photo, wanted, first.lens_of(photo))
    strays = _strays(sightings, there) if by_strips else []
    return (*(_one(photo, sightings, one) for one in there), *strays)


def _beside_any_strip(path: str | os.PathLike[str], joint: JobJoint) -> tuple[ListedInspection, ...]:
    """A joint that the list gives no strip: whatever strip lies in the photo lies beside it."""
    found = inspect_joints(path, joint.settings)
    return tuple(
        ListedInspection(
            name=joint.name if len(found) == 1 else f"{joint.name}, {one.name}",
            joint=joint,
            inspection=one.inspection,
            fault=one.fault,
        )
        for one in found
    )


def _check_told_apart(joints: Sequence[JobJoint]) -> None:
    of_strip: dict[int, JobJoint] = {}
    for one in joints:
        if not one.settings.strips:
            raise UsageError(
                f"joint {one.name} has no strip in the list, so that it cannot be told from the others in "
                f"this photo: write its strips, or name it with its strip (--joint {one.name}=11)."
            )
        for number in one.settings.strips:
            other = of_strip.setdefault(number, one)
            if other is not one:
                raise UsageError(
                    f"strip {number} belongs to joint {other.name} and to joint {one.name}: name one of them."
                )


def _there(
    photo: Photo, sightings: Sequence[TargetSighting], joints: Sequence[JobJoint]
) -> tuple[JobJoint, ...]:
    """Joints with a strip in the photo, in the list's order."""
    numbers = sorted(seen.layout.strip_number for seen in sightings)
    there = tuple(one for one in joints if set(one.settings.strips) & set(numbers))
    if not there:
        shown = ("strip " if len(numbers) == 1 else "strips ") + ", ".join(map(str, numbers))
        raise UsageError(
            f"{photo.name} shows {shown}, which the list gives to no joint: name the joint (--joint J3), or "
            "write its strips or its photos into the list."
        )
    _check_told_apart(there)
    return there


def _strays(sightings: Sequence[TargetSighting], there: Sequence[JobJoint]) -> list[ListedInspection]:
    """Strips in the photo that the list gives to no joint."""
    known = {number for one in there for number in one.settings.strips}
    numbers = sorted(seen.layout.strip_number for seen in sightings)
    return [
        ListedInspection(
            name=f"strip {number}",
            joint=None,
            inspection=None,
            fault=UsageError(
                f"strip {number} lies in the photo, and the list gives it to no joint: write it into the "
                "list, or name the joints that are meant (--joint)."
            ),
        )
        for number in numbers
        if number not in known
    ]


def _one(photo: Photo, sightings: Sequence[TargetSighting], joint: JobJoint) -> ListedInspection:
    try:
        targets = named_targets(sightings, joint.settings, joint.name)
        inspection = inspect_target(
            photo, targets.first, joint.settings, targets.other, elsewhere=targets.elsewhere
        )
    except FitupError as fault:
        return ListedInspection(name=joint.name, joint=joint, inspection=None, fault=fault)
    return ListedInspection(name=joint.name, joint=joint, inspection=inspection, fault=None)
