"""Several joints in one photo: each is inspected by the strip beside it, and has a name.

Strips that lie beside the same joint, end to end or on both of its plates, are not counted twice: the best
seen one measures it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.errors import RetakeError, UsageError
from fitup.inspection import Inspection, InspectionSettings, inspect, inspect_target, limit_of
from fitup.photo import Photo, open_photo
from fitup.scale import TargetSighting, find_targets

__all__ = ["NamedInspection", "inspect_joints"]

SAME_JOINT_MM = 3.0  # two strips whose joints come this near everywhere lie beside one joint


@dataclass(frozen=True, kw_only=True, eq=False)
class NamedInspection:
    """One joint of a photo: its name, its strip's number, and what was measured or why nothing was."""

    name: str
    strip_number: int
    inspection: Inspection | None
    fault: RetakeError | None


def inspect_joints(
    path: str | os.PathLike[str], settings: InspectionSettings, names: Mapping[int, str] | None = None
) -> tuple[NamedInspection, ...]:
    """Inspect every joint of the photo at `path` that has a strip beside it, in order of the strips' numbers.

    Parameters
    ----------
    names : joint's name by strip number; only these joints are inspected then, and all of them are told
        of. Otherwise all joints are, named "strip 11" and so on: a strip beside which no joint is found is
        passed over unless it is the only one, and points on the joint mean that of the best seen strip.

    Raises as `inspect` where the photo cannot be opened, shows no strip or no joint; RetakeError where a
    named strip is not in the photo; UsageError for points on the joint where several joints are named.
    """
    limit_of(settings)
    names = names or {}
    if len(names) > 1 and settings.points_px is not None:
        raise UsageError("the points lie on one joint: name that joint alone with --joint and --points.")
    if not names and (settings.two_targets or not settings.setup.opens_in_plate_plane):
        # Two strips lie on the two plates of one joint then, more often than beside two.
        return (_whole(inspect(path, settings)),)
    photo = open_photo(path, settings.photo_limits)
    sightings = find_targets(photo, max(len(names), 1), settings.lens_of(photo))
    if names:
        return _named(photo, sightings, settings, names)
    if settings.points_px is not None:
        sightings = sightings[:1]
    tried = [_one(photo, seen, sightings, settings, "") for seen in sightings]
    found = _apart([one for one in tried if one.inspection is not None])
    if not found and tried[0].fault is not None:
        raise tried[0].fault
    return tuple(sorted(found, key=lambda one: one.strip_number))


def _whole(inspection: Inspection) -> NamedInspection:
    number = inspection.scale.sighting.layout.strip_number
    return NamedInspection(name=_usual_name(number), strip_number=number, inspection=inspection, fault=None)


def _usual_name(strip_number: int) -> str:
    return f"strip {strip_number}"


def _named(
    photo: Photo,
    sightings: Sequence[TargetSighting],
    settings: InspectionSettings,
    names: Mapping[int, str],
) -> tuple[NamedInspection, ...]:
    by_number = {seen.layout.strip_number: seen for seen in reversed(sightings)}
    missing = sorted(set(names) - set(by_number))
    if missing:
        raise RetakeError(
            "no such strip",
            f"Strip {missing[0]} of joint {names[missing[0]]} was not found in the photo.",
            "Photograph it with the whole strip in the frame, or name the strip that lies there.",
        )
    return tuple(
        _one(photo, by_number[number], sightings, settings, names[number]) for number in sorted(names)
    )


def _one(
    photo: Photo,
    sighting: TargetSighting,
    sightings: Sequence[TargetSighting],
    settings: InspectionSettings,
    name: str,
) -> NamedInspection:
    number = sighting.layout.strip_number
    elsewhere = tuple(other for other in sightings if other is not sighting)
    try:
        inspection, fault = inspect_target(photo, sighting, settings, elsewhere=elsewhere), None
    except RetakeError as error:
        inspection, fault = None, error
    return NamedInspection(
        name=name or _usual_name(number), strip_number=number, inspection=inspection, fault=fault
    )


def _apart(found: list[NamedInspection]) -> list[NamedInspection]:
    """Each joint once: of strips beside the same joint the first, which is the best seen."""
    kept: list[NamedInspection] = []
    for one in found:
        if not any(_same_joint(other, one) for other in kept):
            kept.append(one)
    return kept


def _same_joint(first: NamedInspection, other: NamedInspection) -> bool:
    """Whether the other's joint lies on the first's, or on its straight prolongation."""
    a, b = first.inspection, other.inspection
    assert a is not None
    assert b is not None
    points = a.scale.to_mm(b.scale.to_px(b.line.xy_mm))
    s = np.interp(points[:, 0], a.line.xy_mm[:, 0], a.line.s_mm)
    s += points[:, 0] - np.clip(points[:, 0], a.line.xy_mm[0, 0], a.line.xy_mm[-1, 0])
    on_line, normal = a.line.at(s)
    off = np.abs(((points - on_line) * normal).sum(axis=1))
    return bool(np.median(off) < SAME_JOINT_MM)
